using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>The lengths that a surface from points is made with.</summary>
/// <remarks>
/// Spacing s: median side of the square that a point has to itself. Noise σ: median, over the points, of how far the eight nearest
///   scatter across the point's plane.
/// Smoothing h = max(4.5 s, 6 σ): about 23 points have a say at once, so that noise falls to a fifth, and the surface does not get lost
///   between layers of noise. Support r = 2.5 s: of points strewn at random, one place in e^(2.5² π) = 3·10⁸ has none so near.
///   Closing: 2.5 times the spacing that 95 % of the points do not exceed, from r to 2 r, so that thinly scanned places do not look
///   like a sieve. Taken back: 1.25 s. Cell c = h / 4.
/// Reach: points within it are seen from a node at all; closing + √3 c, so that all four cells around a vertex that is kept have values, and
///   at least h. It must not exceed 8 c, the edge of a block.
/// </remarks>
/// <param name="ReachMm">Distance at which a point is last felt, where there are none nearer.</param>
/// <param name="TakenBackMm">How far inside its outermost points the surface ends: in that strip points lie on one side only, and directions are noise.</param>
/// <param name="OffPlaneMm">Distance across a point's plane that counts like <paramref name="SupportMm"/> along it.</param>
internal sealed record CloudScales(
    double SpacingMm, double NoiseMm, double CellMm, double SmoothingMm, double ReachMm, double SupportMm, double ClosingMm, double TakenBackMm, double OffPlaneMm, double MinimumPieceMm2)
{
    private const double SmoothingOfSpacing = 4.5;
    private const double SmoothingOfNoise = 6;
    private const double SupportOfSpacing = 2.5;
    private const double MostClosingOfSupport = 2;
    private const double TakenBackOfSupport = 0.5;
    private const double CellsOfSmoothing = 4;
    private const double OffPlaneOfSupport = 0.5;
    private const double OffPlaneOfNoise = 2;
    private const double UsualPart = 0.5;
    private const double SparsePart = 0.95;

    // What four lone points would pretend to, in squares of the support.
    private const double ScrapOfSupport = 4 * Math.PI;

    private static readonly double s_diagonal = Math.Sqrt(3) * 1.001;

    internal static void Check(CloudSurfaceParameters p, string step)
    {
        Require(p.CellMm, "cellMm");
        Require(p.SmoothingMm, "smoothingMm");
        Require(p.SupportMm, "supportMm");
        Require(p.ClosingMm, "closingMm");
        Require(p.MinimumPieceMm2, "minPieceMm2");

        void Require(double value, string name)
        {
            if (!(value >= 0) || !double.IsFinite(value))
                throw new PlanException(step, null, name, FormattableString.Invariant($"{value}"), "0 or a number above");
        }
    }

    internal static CloudScales Of(CloudSurfaceParameters p, PointIndex index, NeighbourLists lists, PointNormals normals, string step, RunContext run)
    {
        var local = PointSpacing.Local(index, lists, run);
        // Points listed twice have no spacing, and say nothing about that of others.
        local = Array.FindAll(local, s => s > 0);
        double spacing = PointSpacing.Percentile(local, UsualPart), sparse = PointSpacing.Percentile(local, SparsePart);
        if (!(spacing > 0))
            throw new CheckFailedException(step, "points in different places", FormattableString.Invariant($"{index.Count} points on one spot"));
        var noise = Noise(index, lists, normals, run);
        var support = p.SupportMm > 0 ? p.SupportMm : SupportOfSpacing * spacing;
        var closing = p.ClosingMm > 0 ? p.ClosingMm : Math.Clamp(SupportOfSpacing * sparse, support, MostClosingOfSupport * support);
        if (closing < support)
            throw new PlanException(step, null, "closingMm", FormattableString.Invariant($"{closing:G4}"), FormattableString.Invariant($"at least the support, {support:G4} mm"));
        var least = closing / (BlockGrid.Edge - s_diagonal);
        var smoothing = p.SmoothingMm > 0 ? p.SmoothingMm : Math.Max(SmoothingOfSpacing * spacing, SmoothingOfNoise * noise);
        var cell = p.CellMm > 0 ? p.CellMm : Math.Max(smoothing / CellsOfSmoothing, least);
        if (cell < least)
            throw new PlanException(step, null, "cellMm", FormattableString.Invariant($"{cell:G4}"), FormattableString.Invariant($"at least {least:G4} to close gaps of {closing:G4} mm; lower closingMm for smaller cells"));
        double from = s_diagonal * cell, to = BlockGrid.Edge * cell;
        if (p.SmoothingMm > 0 && (smoothing < from || smoothing > to))
            throw new PlanException(step, null, "smoothingMm", FormattableString.Invariant($"{smoothing:G4}"), FormattableString.Invariant($"{from:G4} to {to:G4} for cells of {cell:G4} mm"));
        smoothing = Math.Clamp(smoothing, from, to);
        return new(
            spacing,
            noise,
            cell,
            smoothing,
            Math.Max(smoothing, closing + (s_diagonal * cell)),
            support,
            closing,
            TakenBackOfSupport * support,
            Math.Min(support, Math.Max(OffPlaneOfSupport * support, OffPlaneOfNoise * noise)),
            p.MinimumPieceMm2 > 0 ? p.MinimumPieceMm2 : ScrapOfSupport * support * support);
    }

    private static double Noise(PointIndex index, NeighbourLists lists, PointNormals normals, RunContext run)
    {
        var scatter = new float[index.Count];
        lists.Ranges(run, (from, to) =>
        {
            for (var p = from; p < to; p++)
            {
                double sum = 0, squares = 0;
                Vec3 n = normals[p], at = index.Local(p);
                foreach (var q in lists.Of(p))
                {
                    var off = Vec3.Dot(n, index.Local(q) - at);
                    sum += off;
                    squares += off * off;
                }

                var mean = sum / lists.K;
                scatter[p] = (float)Math.Sqrt(Math.Max(0, (squares / lists.K) - (mean * mean)));
            }
        });
        return PointSpacing.Percentile(scatter, 0.5);
    }
}
