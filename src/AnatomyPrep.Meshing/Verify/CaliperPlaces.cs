using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>A distance to be measured on a printed part with a caliper.</summary>
/// <param name="Name">Axis and number, such as X1.</param>
/// <param name="Axis">0, 1, 2: the axis of the model it runs along, within <see cref="CaliperPlaces.MostTiltDeg"/>.</param>
/// <param name="FromMm">Middle of one jaw, LPS; the other is opposite, at right angles to both jaws.</param>
/// <param name="LengthMm">Between the jaws, on the model.</param>
/// <param name="PlacementMm">How much the reading changes for jaws 2 mm aside or 3° askew.</param>
/// <param name="JawMm">The jaws must be at least this deep to reach both places.</param>
public sealed record CaliperDistance(string Name, int Axis, Vec3 FromMm, Vec3 ToMm, double LengthMm, double PlacementMm, double JawMm);

/// <summary>Chooses distances that a caliper can measure on a printed part of a model, and that a hand can hardly place wrongly.</summary>
/// <remarks>
/// Method (ours): points spread over the surface (<see cref="SurfaceSamples"/>) whose normal runs along an axis are one end; the other is where
///   the line through the part comes out, with a normal the other way. Each end is what a flat jaw of 6 mm touches: the highest of the surface
///   under it, by parallel rays and corners. A pair counts when both jaws lie free, can be reached from a side, and the length hardly changes as
///   the jaws are shifted and tilted; a tilt that makes it longer does not count, for a hand turns the caliper until the reading is smallest.
///   Of each axis the pair that tells most of the scale (length over uncertainty) comes first, then, of those that tell at least three tenths
///   as much, the one farthest from all pairs chosen so far.
/// Error of a length: rays every 1.5 mm miss at most 0.02 mm on a curve of 20 mm radius without corners between.
/// Depends on nothing but the mesh; same pairs on any number of threads. Cost: about 500 rays a candidate, 3,000 candidates; memory: the tree.
/// </remarks>
public static class CaliperPlaces
{
    public const double MostTiltDeg = 25;

    /// <summary>Fewer distances than this say nothing of an agreement.</summary>
    public const int Fewest = 3;

    private const int Samples = 3_000;
    private const double JawRadiusMm = 3;
    private const double RayStepMm = 1.5;
    private const double WindowMm = 4;
    private const double FreeMm = 8;
    private const double ShortestMm = 5;
    private const double LongestMm = 300;
    private const double ShiftMm = 2;
    private const double TiltDeg = 3;
    private const double ReadingMm = 0.03;
    private const double GoodShare = 0.3;
    private const double WorstPlacementMm = 0.3;
    private const int Sides = 12;

    // From a small caliper for the pocket to a large one with long jaws; common practice, no source.
    private static readonly double[] s_jawsMm = [20, 40, 65, 100];

    /// <param name="perAxis">How many along each of x, y and z.</param>
    /// <exception cref="CheckFailedException">Fewer than three such distances on the whole model.</exception>
    public static IReadOnlyList<CaliperDistance> Choose(Mesh model, int perAxis, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(perAxis, 1);
        run.Report("caliper", "looking for distances", 0);
        var points = SurfaceSamples.Spread(model, Samples, run, out var triangles);
        var tree = TriangleTree.Build(model, run);
        var pieceOf = Pieces.Label(model.Triangles, model.VertexCount, out _);
        var found = new Candidate?[points.Length];
        Partition.For(run, points.Length, i => found[i] = Try(points[i], triangles[i], pieceOf, tree));
        var chosen = Spread([.. found.OfType<Candidate>()], perAxis);
        run.Report("caliper", "looking for distances", 1);
        return chosen.Count >= Fewest
            ? chosen
            : throw new CheckFailedException("caliper distances", $"at least {Fewest} pairs of opposite places that a caliper reaches", $"{chosen.Count}");
    }

    private sealed record Candidate(int Axis, Vec3 FromMm, Vec3 ToMm, double LengthMm, double PlacementMm, double JawMm)
    {
        /// <summary>How well it tells a scale error: the length over what reading and placing leave unsure.</summary>
        public double Worth { get; } = LengthMm / Math.Sqrt((ReadingMm * ReadingMm) + (PlacementMm * PlacementMm));

        // A pair and the same pair turned about are one place.
        public double ApartFrom(CaliperDistance other) => Math.Min(
            Vec3.Distance(FromMm, other.FromMm) + Vec3.Distance(ToMm, other.ToMm),
            Vec3.Distance(FromMm, other.ToMm) + Vec3.Distance(ToMm, other.FromMm));
    }

    private static List<CaliperDistance> Spread(Candidate[] candidates, int perAxis)
    {
        var chosen = new List<CaliperDistance>();
        for (var rank = 0; rank < perAxis; rank++)
        {
            for (var axis = 0; axis < 3; axis++)
            {
                var own = candidates.Where(c => c.Axis == axis).ToArray();
                if (own.Length == 0)
                    continue;
                var best = own.Max(c => c.Worth);
                var next = rank == 0
                    ? own.MaxBy(c => c.Worth)!
                    : own.Where(c => c.Worth >= GoodShare * best).MaxBy(c => chosen.Min(c.ApartFrom))!;
                // Nearer than two jaws it is the same place again.
                if (chosen.Count == 0 || chosen.Min(next.ApartFrom) > 4 * JawRadiusMm)
                    chosen.Add(new($"{"XYZ"[axis]}{chosen.Count(c => c.Axis == axis) + 1}", axis, next.FromMm, next.ToMm, next.LengthMm, next.PlacementMm, next.JawMm));
            }
        }

        return [.. chosen.OrderBy(c => c.Axis).ThenBy(c => c.Name, StringComparer.Ordinal)];
    }

    /// <summary>The pair that begins at a point, or null where a caliper has no good place there.</summary>
    private static Candidate? Try(Vec3 point, int triangle, int[] pieceOf, TriangleTree tree)
    {
        var normal = TriangleNormal(tree.Mesh, triangle);
        var axis = Enumerable.Range(0, 3).MaxBy(a => Math.Abs(normal[a]));
        if (!RunsAlong(normal, axis) || Opposite(point, normal, tree) is not { } first)
            return null;
        // Both jaws lie at right angles to the mean of both normals; the other end is looked for again along it.
        var along = (normal - first.Normal).Normalized();
        if (!RunsAlong(along, axis) || Opposite(point, along, tree) is not { } opposite
            // Pieces that are printed loose have no distance between them.
            || pieceOf[opposite.Triangle] != pieceOf[triangle] || Jaws(point, opposite.Point, along, tree) is not { } at)
            return null;
        var length = at.From - at.To;
        if (length is < ShortestMm or > LongestMm || Placement(point, opposite.Point, along, length, tree) is not { } placement || placement > WorstPlacementMm)
            return null;
        // Along the axis, so that the same pair found from either end is the same.
        Vec3 from = point + (along * at.From), to = point + (along * at.To);
        return Reach(from, to, along, tree) is { } jaw ? along[axis] > 0 ? new(axis, from, to, length, placement, jaw) : new(axis, to, from, length, placement, jaw) : null;
    }

    private static bool RunsAlong(Vec3 direction, int axis) => Math.Abs(direction[axis]) > Math.Cos(MostTiltDeg * Math.PI / 180);

    /// <summary>Where the line into the part comes out for good, facing the other way, with air before both ends.</summary>
    private static (Vec3 Point, Vec3 Normal, int Triangle)? Opposite(Vec3 point, Vec3 normal, TriangleTree tree)
    {
        if (tree.FirstHit(point, normal, 1e-3, FreeMm, out _))
            return null;
        var hits = new List<RayHit>();
        tree.AllHits(point, -normal, 1e-3, LongestMm + FreeMm, hits);
        if (hits.Count == 0)
            return null;
        var last = hits[^1];
        var facing = TriangleNormal(tree.Mesh, last.Triangle);
        return !last.Entering && Vec3.Dot(facing, normal) < -Math.Cos(MostTiltDeg * Math.PI / 180) ? (point - (normal * last.DistanceMm), facing, last.Triangle) : null;
    }

    /// <summary>Where both jaws touch, along the direction from the first point; null where one finds nothing, or is not free.</summary>
    private static (double From, double To)? Jaws(Vec3 point, Vec3 opposite, Vec3 along, TriangleTree tree) =>
        Touch(point, along, tree) is { } near && Touch(opposite, -along, tree) is { } far
            ? (near, Vec3.Dot(opposite - point, along) - far)
            : null;

    /// <summary>Height above a point, in a direction, of the highest surface under a jaw there.</summary>
    private static double? Touch(Vec3 point, Vec3 up, TriangleTree tree)
    {
        var (across, along) = Sideways(up);
        var highest = double.NegativeInfinity;
        var steps = (int)(JawRadiusMm / RayStepMm);
        for (var i = -steps; i <= steps; i++)
        {
            for (var j = -steps; j <= steps; j++)
            {
                if ((i * i) + (j * j) > steps * steps)
                    continue;
                var start = point + (across * (i * RayStepMm)) + (along * (j * RayStepMm)) + (up * WindowMm);
                if (!tree.FirstHit(start, -up, 0, 2 * WindowMm, out var hit))
                    continue;
                // From within the part: something sticks out where the jaw would lie.
                if (!hit.Entering)
                    return null;
                highest = Math.Max(highest, WindowMm - hit.DistanceMm);
            }
        }

        highest = Math.Max(highest, HighestCorner(point, up, highest, tree));
        return double.IsFinite(highest) ? highest : null;
    }

    /// <summary>Highest corner of a triangle under the jaw: what rays pass by.</summary>
    private static double HighestCorner(Vec3 point, Vec3 up, double above, TriangleTree tree)
    {
        var reach = new Vec3(WindowMm, WindowMm, WindowMm);
        var near = new List<int>();
        tree.TrianglesNear(new(point - reach, point + reach), near);
        foreach (var t in near)
        {
            var (a, b, c) = tree.Mesh.Triangle(t);
            foreach (var v in (ReadOnlySpan<int>)[a, b, c])
            {
                var offset = tree.Mesh.Vertex(v) - point;
                var height = Vec3.Dot(offset, up);
                if (height > above && height < WindowMm && offset.LengthSquared - (height * height) <= JawRadiusMm * JawRadiusMm)
                    above = height;
            }
        }

        return above;
    }

    /// <summary>How much the length changes as the jaws are set aside, and by how much a tilt makes it shorter.</summary>
    private static double? Placement(Vec3 point, Vec3 opposite, Vec3 along, double length, TriangleTree tree)
    {
        var (u, v) = Sideways(along);
        var most = 0.0;
        foreach (var side in (ReadOnlySpan<Vec3>)[u, -u, v, -v])
        {
            if (Jaws(point + (side * ShiftMm), opposite + (side * ShiftMm), along, tree) is not { } shifted)
                return null;
            most = Math.Max(most, Math.Abs(shifted.From - shifted.To - length));
            var tilted = (along + (side * Math.Tan(TiltDeg * Math.PI / 180))).Normalized();
            // About the middle, as a hand turns it.
            var middle = (point + opposite) / 2;
            var half = Vec3.Distance(point, opposite) / 2;
            if (Jaws(middle + (tilted * half), middle - (tilted * half), tilted, tree) is not { } turned)
                return null;
            most = Math.Max(most, length - (turned.From - turned.To));
        }

        return most;
    }

    /// <summary>The shortest jaws that get to both places from some side with the beam clear of the part; null where none do.</summary>
    private static double? Reach(Vec3 from, Vec3 to, Vec3 along, TriangleTree tree)
    {
        const double behindMm = 1.5;
        Vec3 a = from + (along * behindMm), b = to - (along * behindMm);
        var (u, v) = Sideways(along);
        foreach (var jaw in s_jawsMm)
        {
            for (var side = 0; side < Sides; side++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * side / Sides);
                var aside = (u * c) + (v * s);
                if (!tree.FirstHit(a, aside, 0, jaw, out _) && !tree.FirstHit(b, aside, 0, jaw, out _) && !tree.FirstHit(a + (aside * jaw), b - a, 0, (b - a).Length, out _))
                    return jaw;
            }
        }

        return null;
    }

    private static (Vec3 U, Vec3 V) Sideways(Vec3 direction)
    {
        var u = Shape.Placement.AnyPerpendicular(direction).Normalized();
        return (u, Vec3.Cross(direction, u));
    }

    private static Vec3 TriangleNormal(Mesh mesh, int triangle)
    {
        var (a, b, c) = mesh.Triangle(triangle);
        return Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a)).Normalized();
    }
}
