using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>How directions are found.</summary>
/// <param name="Neighbours">The plane at a point is laid through about so many; 0 chooses by noise, see <see cref="EstimateNormals"/>.</param>
/// <param name="RadiusMm">The plane at a point is laid through all within this; 0 goes by number.</param>
/// <param name="KeepGiven">Keep the normals that the points came with, and estimate only missing ones.</param>
public sealed record EstimateNormalsParameters(int Neighbours = 0, double RadiusMm = 0, bool KeepGiven = true);

/// <summary>Gives every point a direction, out of the body.</summary>
/// <remarks>
/// Direction: <see cref="PlaneFit"/> over the points within a radius, r = r₁₆ √(k / 16), where r₁₆ is the distance to the 16th neighbour.
///   Left to choose, k is the first of 16, 32, 64, 128 for which, at half of the points, the smallest eigenvalue is under 0.15 of the
///   middle one: noise of σ then tilts the plane by about √12 σ / (r √k), 5 to 8 degrees at worst.
/// Sign: <see cref="NormalSigns"/>. Points that stay without direction (all neighbours on one line) have 0, 0, 0.
/// Given normals stay as they are, but are compared with their neighbours' and with the planes; see the findings.
/// Measures: estimated, given, unknown, neighbours, pieces, disagreeShare, outwardness (the least of any piece, 1 for a ball).
/// Cost: 4.5 µs a point and core, for given normals as well. Memory: the index and 100 bytes a point.
/// </remarks>
public static class EstimateNormals
{
    /// <summary>Share of given normals that may disagree with their surroundings before it is said.</summary>
    public const double DisagreeShare = 0.02;

    /// <summary>Below this, which side of a piece is out was a close decision.</summary>
    public const double CloseDecision = 0.1;

    internal const int FewestPoints = 3;

    private const string Step = "estimate normals";
    private const int PiecePoints = 1 << 12;
    private const int RadiusNeighbours = 16;
    private const int MostAutomatic = 128;
    private const double FlatEnough = 0.15;
    private const double CosineOfDisagreement = 0.5;

    /// <exception cref="PlanException">A parameter is out of its range.</exception>
    /// <exception cref="BadInputException">A coordinate is not finite, or there are too few points.</exception>
    public static CloudResult Apply(PointCloud cloud, EstimateNormalsParameters parameters, RunContext run)
    {
        Check(parameters);
        if (cloud.Count < FewestPoints)
            throw new BadInputException(Step, "points", FormattableString.Invariant($"{cloud.Count}"), "A surface needs at least three points, and a trustworthy one some thousand.");
        run.Report(Step, "index", 0);
        var index = PointIndex.Build(cloud, run);
        run.Report(Step, "neighbours", 0.1);
        var lists = NeighbourLists.Find(index, RadiusNeighbours, run);
        run.Report(Step, "planes", 0.4);
        var k = parameters.Neighbours > 0 ? parameters.Neighbours : parameters.RadiusMm > 0 ? 0 : Choose(index, lists, run);
        var normals = new PointNormals(index);
        var given = parameters.KeepGiven ? normals.TakeGiven() : 0;
        var reach = new Reach(index, lists, k, parameters.RadiusMm);
        // Before missing ones are filled in: those have no sign yet that could be compared.
        var disagree = CountDisagreeing(index, lists, normals, reach, run);
        FillIn(index, normals, reach, run);
        run.Report(Step, "signs", 0.7);
        var signs = NormalSigns.Settle(index, lists, normals, run);
        run.Report(Step, "signs", 1);
        return Told(index, normals, signs, given, k, disagree);
    }

    private static void Check(EstimateNormalsParameters p)
    {
        if (p.Neighbours != 0 && p.Neighbours is < 4 or > PointIndex.MostNeighbours)
            throw new PlanException(Step, null, "neighbours", FormattableString.Invariant($"{p.Neighbours}"), $"0, or 4 to {PointIndex.MostNeighbours}");
        if (!(p.RadiusMm >= 0) || !double.IsFinite(p.RadiusMm))
            throw new PlanException(Step, null, "radiusMm", FormattableString.Invariant($"{p.RadiusMm}"), "0 or a length in mm");
    }

    // One point of every leaf is asked: a sixteenth of all, spread evenly.
    private static int Choose(PointIndex index, NeighbourLists lists, RunContext run)
    {
        for (var k = RadiusNeighbours; ; k *= 2)
        {
            var reach = new Reach(index, lists, k, 0);
            var flatness = new float[index.LeafCount];
            Partition.Ranges(run, flatness.Length, 1 << 10, (_, from, to) =>
            {
                for (var leaf = from; leaf < to; leaf++)
                {
                    var plane = reach.Plane(index.Leaf(leaf).From);
                    flatness[leaf] = plane.Middle > 0 ? (float)(plane.Least / plane.Middle) : 1;
                }
            });
            if (k == MostAutomatic || k >= index.Count || PointSpacing.Percentile(flatness, 0.5) <= FlatEnough)
                return k;
        }
    }

    /// <summary>Given normals that stand across their plane or against their neighbours.</summary>
    private static int CountDisagreeing(PointIndex index, NeighbourLists lists, PointNormals normals, Reach reach, RunContext run)
    {
        var disagree = new int[Partition.Pieces(index.Count, PiecePoints)];
        Partition.Ranges(run, index.Count, PiecePoints, (piece, from, to) =>
        {
            for (var p = from; p < to; p++)
                if (normals.Given[p] && Disagrees(lists, normals, p, reach.Plane(p).Normal))
                    disagree[piece]++;
        });
        return disagree.Sum();
    }

    private static void FillIn(PointIndex index, PointNormals normals, Reach reach, RunContext run) =>
        Partition.Ranges(run, index.Count, PiecePoints, (_, from, to) =>
        {
            for (var p = from; p < to; p++)
                if (!normals.Given[p])
                    normals.Set(p, reach.Plane(p).Normal);
        });

    private static bool Disagrees(NeighbourLists lists, PointNormals normals, int p, Vec3 plane)
    {
        var own = normals[p];
        if (plane != Vec3.Zero && Math.Abs(Vec3.Dot(own, plane)) < CosineOfDisagreement)
            return true;
        return normals.StandsAgainst(p, lists.Of(p)[..Math.Min(PointSpacing.Neighbours, lists.K)]);
    }

    private static CloudResult Told(PointIndex index, PointNormals normals, NormalSigns.Outcome signs, int given, int k, int disagree)
    {
        var findings = new List<Finding>();
        var unknown = normals.CountUnknown();
        var disagreeShare = given == 0 ? 0 : disagree / (double)given;
        if (disagreeShare > DisagreeShare)
        {
            findings.Add(new(
                FindingCodes.NormalsInconsistent, Severity.Caution,
                FormattableString.Invariant($"{disagree} of {given} given normals ({disagreeShare:P1}) stand across the surface or against most of their neighbours."),
                "Estimate them anew (estimate-normals with keepGiven: false)."));
        }

        if (given < index.Count)
        {
            findings.Add(new(
                FindingCodes.NormalsEstimated, Severity.Note,
                FormattableString.Invariant($"The directions of {index.Count - given} points were estimated from their neighbours, in {signs.Pieces} connected pieces; {unknown} stay unknown."),
                "Look at the surface from all sides: a piece turned inside out shows as a hole."));
        }

        if (signs.Unsure is { } unsure)
        {
            findings.Add(new(
                FindingCodes.OrientationUnsure, Severity.Caution,
                FormattableString.Invariant($"Which side is out was a close decision for {signs.UnsurePieces} of {signs.Pieces} pieces (outwardness {signs.Outwardness:F3})."),
                "Look at the surface; turn it over with orient where it is wrong, or give points with normals.",
                new Place(PositionMm: unsure)));
        }

        if (signs.Inward is { } inward)
        {
            findings.Add(new(
                FindingCodes.NormalsInward, Severity.Caution,
                "The given normals point into the body: the surface would be inside out.",
                "Turn it over with orient, or estimate the normals anew (keepGiven: false).",
                new Place(PositionMm: inward)));
        }

        var effect = new StepEffect(Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["estimated"] = index.Count - given - unknown,
            ["given"] = given,
            ["unknown"] = unknown,
            ["neighbours"] = k,
            ["pieces"] = signs.Pieces,
            ["disagreeShare"] = disagreeShare,
            ["outwardness"] = signs.Outwardness,
        });
        return new(given == index.Count ? index.Cloud : normals.ToCloud(), effect, findings);
    }

    /// <summary>How far around each point the plane reaches.</summary>
    private readonly struct Reach(PointIndex index, NeighbourLists lists, int k, double radiusMm)
    {
        public FittedPlane Plane(int p)
        {
            var last = lists.Of(p);
            var squared = radiusMm > 0 ? radiusMm * radiusMm : lists.DistanceSquared(p, last[^1]) * k / last.Length;
            if (!(squared > 0))
                return default;
            // A little more, so that the farthest neighbour still has some weight.
            var within = (float)Math.Min(1.05 * squared, float.MaxValue);
            var fit = new PlaneFit(index, index.X[p], index.Y[p], index.Z[p], within);
            index.VisitLeaves(index.X[p], index.Y[p], index.Z[p], within, ref fit);
            return fit.Solve();
        }
    }
}
