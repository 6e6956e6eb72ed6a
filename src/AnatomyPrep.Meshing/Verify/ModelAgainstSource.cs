using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Signed distances of the triangles of one origin to the source's surface; positive outside it.</summary>
public sealed record OriginDeviation(Origin Origin, double AreaMm2, double AreaShare, double SignedMeanMm, double P5Mm, double P50Mm, double P95Mm, double LargestMm);

/// <summary>A model beside the surface of its source.</summary>
/// <param name="P95Mm">95 % of the area lies nearer than this.</param>
/// <param name="MaxMm">Largest distance of a sample.</param>
/// <param name="ScaleOfModel">Size of the model as a multiple of the source's, by the best fit.</param>
/// <param name="ShiftMm">How far the model's centre lies off.</param>
/// <param name="TurnDeg">How far the model is turned.</param>
/// <param name="Mirrored">Whether the model fits as its mirror image only.</param>
/// <param name="P50AfterFitMm">Median distance that is left when scale, shift, turn and mirroring are taken out.</param>
/// <param name="P95AfterFitMm">95 % of the area lies nearer than this after the fit.</param>
/// <param name="ReliefKept">Share of the source's fine relief that the model's measured surface still has, as <see cref="Verify.ReliefKept"/> tells; null where it cannot.</param>
public sealed record SourceAgreement(
    double P95Mm, double MaxMm, Vec3 MaxAtMm, IReadOnlyList<OriginDeviation> ByOrigin,
    double ScaleOfModel, double ShiftMm, double TurnDeg, bool Mirrored, double P50AfterFitMm, double P95AfterFitMm, double? ReliefKept,
    IReadOnlyList<Finding> Findings);

/// <summary>Measures whether a mesh said to be the model is the source's surface, and tells in which way it is not.</summary>
/// <remarks>
/// Method: signed distance of evenly spread points (<see cref="SurfaceSamples"/>) to the source's surface; then the best fit by
///   <see cref="SimilarityFit"/> from the model as it lies, with the middles of both boxes laid together, and as mirror image
///   across each of three planes. A fit counts when it leaves less than half of what was apart. What the fit takes out is scale,
///   shift, turn or mirroring; what it leaves is another surface (median left over twice the tolerance) or another deviation. Smoothing is
///   told by the share of fine relief that is kept, within the tolerance too. The shares are ours.
/// Limits: a part that is its own mirror image, or a turn of it, cannot be told apart from it.
/// Cost: about 500,000 nearest points and seven fits of 1,500 points; memory: tree and normals of the source, 130 bytes a
///   triangle. Same figures on any number of threads.
/// </remarks>
public static class ModelAgainstSource
{
    private const int Samples = 50_000;
    private const int FitPoints = 1_500;
    private const double FitGain = 0.5;
    private const int RefiningRounds = 200;
    private const double LargestScale = 1.5;
    internal const double SmoothedBelow = 0.95;

    /// <param name="toleranceMm">Largest deviation for the purpose, mm.</param>
    /// <exception cref="BadInputException">A mesh has no surface.</exception>
    /// <exception cref="ArgumentOutOfRangeException">The tolerance is not positive.</exception>
    public static SourceAgreement Measure(Mesh model, Mesh source, double toleranceMm, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(toleranceMm);
        var points = SurfaceSamples.Spread(model, Samples, run, out var triangles);
        if (points.Length == 0)
            throw new BadInputException("model", "area", "0 mm²", "Give a mesh that has a surface.");
        if (source.TriangleCount == 0)
            throw new BadInputException("source", "triangles", "0", "Give the source the model was made from.");

        var distance = SignedDistance.To(source, run);
        var signed = distance.Of(points, run);
        var (p95, _, max, at) = Figures(signed, points);

        var fitPoints = SurfaceSamples.Spread(model, FitPoints, run);
        var plain = Best(PlainStarts(model, source), fitPoints, distance, run);
        var mirrored = Best(MirroredStarts(model, source), fitPoints, distance, run);
        var isMirrored = plain.TrimmedRmsMm > toleranceMm / 4 && mirrored.TrimmedRmsMm < FitGain * plain.TrimmedRmsMm;
        var fit = isMirrored ? mirrored : plain;
        var (p95After, p50After, _, _) = Figures(distance.Of(Array.ConvertAll(points, fit.Map.Map), run), points);

        var centre = model.BoundsMm().Center;
        var turn = isMirrored ? 0 : TurnRad(fit);
        var agreement = new SourceAgreement(
            p95, max, at, ByOrigin(model, triangles, signed, run), 1 / fit.Scale, Vec3.Distance(fit.Map.Map(centre), centre), turn * 180 / Math.PI,
            isMirrored, p50After, p95After, Verify.ReliefKept.Measure(SignedDistance.To(model, run), fit.Map.Inverse(), source, run), []);
        return agreement with { Findings = [.. Findings(agreement, p95After < FitGain * p95, model.BoundsMm().Diagonal / 2, toleranceMm)] };
    }

    private static IEnumerable<Finding> Findings(SourceAgreement a, bool fitGains, double radiusMm, double toleranceMm)
    {
        if (a.P50AfterFitMm > 2 * toleranceMm)
        {
            yield return new(FindingCodes.ModelOfOtherSource, Severity.Stop,
                FormattableString.Invariant($"The model does not fit the source however it is laid: half of its surface stays more than {a.P50AfterFitMm:F2} mm away."),
                "Compare with the series the model was made from; do not print it for this patient.");
            yield break;
        }

        if (a.Mirrored)
        {
            yield return new(FindingCodes.ModelMirrored, Severity.Stop,
                FormattableString.Invariant($"The model fits the source only as its mirror image (then within {a.P95AfterFitMm:F2} mm for 95 %)."),
                "Left and right are exchanged: make the model again from the record.");
        }

        if (fitGains && Math.Abs(a.ScaleOfModel - 1) * radiusMm > toleranceMm / 2)
        {
            yield return new(FindingCodes.ModelScaledUnasked, Severity.Stop,
                FormattableString.Invariant($"The model is {a.ScaleOfModel:F4} times as large as the source."),
                "Look for a scale or shrink compensation put in after the record; make the model again.");
        }

        var moved = a.ShiftMm > toleranceMm / 2 || a.TurnDeg * Math.PI / 180 * radiusMm > toleranceMm / 2;
        if (fitGains && !a.Mirrored && moved)
        {
            yield return new(FindingCodes.ModelMoved, Severity.Caution,
                FormattableString.Invariant($"The model lies {a.ShiftMm:F2} mm and {a.TurnDeg:F2}° off the source."),
                "Its shape is not changed by that; do not use it together with other models or plans of these images.");
        }

        if (a.ReliefKept < SmoothedBelow)
        {
            yield return new(FindingCodes.ModelSmoothed, a.P95AfterFitMm > toleranceMm ? Severity.Stop : Severity.Caution,
                FormattableString.Invariant($"The model is smoothed: of the source's relief of about 3 mm it has {100 * a.ReliefKept.Value:F0} % left; 95 % of it lie within {a.P95AfterFitMm:F2} mm of the source."),
                "Smooth less, or not at all; fine ridges, grooves and sutures are lower than in the images.");
        }
        else if (a.P95AfterFitMm > toleranceMm)
        {
            yield return new(FindingCodes.DeviationLarge, Severity.Caution,
                FormattableString.Invariant($"95 % of the model lie within {a.P95AfterFitMm:F2} mm of the source, {toleranceMm:F2} mm are allowed."),
                "Look where it deviates; what is filled, cut or added may do so.", new Place(PositionMm: a.MaxAtMm));
        }
    }

    /// <summary>The best start's fit, gone on with until it settles: a body that is nearly its own mirror image slides into place slowly.</summary>
    private static SimilarityFit Best(IEnumerable<Affine3> starts, Vec3[] points, SignedDistance to, RunContext run)
    {
        Affine3[] all = [.. starts];
        var best = all.Select(start => SimilarityFit.From(start, points, to.Tree, run)).MinBy(Rank)!;
        best = SimilarityFit.From(best.Map, points, to.Tree, run, RefiningRounds);
        return IsOfOneSize(best) ? best : all.Select(start => SimilarityFit.From(start, points, to.Tree, run, withScale: false)).MinBy(f => f.TrimmedRmsMm)!;

        double Rank(SimilarityFit fit) => IsOfOneSize(fit) ? fit.TrimmedRmsMm : double.MaxValue;
    }

    // Points of another body lie nearest when they shrink into one point of the surface: no size to state.
    private static bool IsOfOneSize(SimilarityFit fit) => fit.Scale is > 1 / LargestScale and < LargestScale;

    private static Affine3[] PlainStarts(Mesh model, Mesh source) =>
        [Affine3.Identity, Affine3.Translate(source.BoundsMm().Center - model.BoundsMm().Center)];

    private static IEnumerable<Affine3> MirroredStarts(Mesh model, Mesh source)
    {
        var (from, to) = (model.BoundsMm().Center, source.BoundsMm().Center);
        foreach (var normal in (Vec3[])[new(1, 0, 0), new(0, 1, 0), new(0, 0, 1)])
            yield return Affine3.Translate(to - from).After(Affine3.Mirror(from, normal));
    }

    private static double TurnRad(SimilarityFit fit)
    {
        var trace = (fit.Map.X.X + fit.Map.Y.Y + fit.Map.Z.Z) / fit.Scale;
        return Math.Acos(Math.Clamp((trace - 1) / 2, -1, 1));
    }

    private static (double P95, double P50, double Max, Vec3 At) Figures(double[] signedMm, Vec3[] points)
    {
        var sorted = Array.ConvertAll(signedMm, Math.Abs);
        var most = 0;
        for (var i = 1; i < sorted.Length; i++)
            if (sorted[i] > sorted[most])
                most = i;
        var at = points[most];
        Array.Sort(sorted);
        return (SurfaceDistance.Rank(sorted, 0.95), SurfaceDistance.Rank(sorted, 0.5), sorted[^1], at);
    }

    internal static List<OriginDeviation> ByOrigin(Mesh model, int[] triangles, double[] signedMm, RunContext run)
    {
        var areas = MeshMeasures.AreaByOriginMm2(model, run);
        var all = areas.Sum();
        var list = new List<OriginDeviation>();
        foreach (var origin in Enum.GetValues<Origin>())
        {
            var own = new List<double>();
            for (var i = 0; i < triangles.Length; i++)
                if (model.Origins[triangles[i]] == origin)
                    own.Add(signedMm[i]);
            if (own.Count == 0)
                continue;
            double[] sorted = [.. own.Order()];
            list.Add(new(origin, areas[(int)origin], areas[(int)origin] / all, own.Sum() / own.Count,
                SurfaceDistance.Rank(sorted, 0.05), SurfaceDistance.Rank(sorted, 0.5), SurfaceDistance.Rank(sorted, 0.95), Math.Max(Math.Abs(sorted[0]), Math.Abs(sorted[^1]))));
        }

        return list;
    }
}
