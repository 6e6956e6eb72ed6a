using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>How much of a source's fine relief a model still has: 1 all of it, 0 none.</summary>
/// <remarks>
/// Relief of a surface at a place: how much farther out, along the mean normal, the middle of the surface within <see cref="RadiusMm"/> lies
///   than the middle of that within twice as much. Positive on ridges, negative in grooves. Integral invariants of H. Pottmann et al.,
///   "Principal curvatures from the integral invariant viewpoint", CAGD 24 (2007), from memory: for a smooth surface the middle within r lies
///   r²·(k1 + k2)/8 inward, so relief is 3·r²·(k1 + k2)/8: the mean curvature as seen at one width.
/// Smoothing moves a surface against its mean curvature: ridges sink, grooves fill. So the signed distance of the model, its means
///   taken as those of the heights, changes relief by −(1 − g) of itself; the share kept is 1 plus the slope of that change against relief, least
///   squares with a constant. Derivation: any even smoothing multiplies a wave of length L by some g(L); a mean over a disc of radius r multiplies
///   it by A(x) = 2·J1(x)/x, x = 2·π·r/L. Relief is (A(x) − A(2x)) times the wave, so the share is the mean of g over the source's waves, weighted by
///   their power times (A(x) − A(2x))². The weight is largest at L = 3 r and falls as (r/L)⁴ for long waves.
///   A shift, an even offset and another choice of triangles change both means alike, or by chance, and drop out, which they do not from distance.
/// Of the source count points whose nearest point of the model is a measured one within 2 r: not what was cut, filled or taken away. Points turned
///   away from the normal (the other side of a thin wall) are passed over.
/// Cost: 6 points per mm² of the source, 400,000 at most, each its nearest point; 6,000 places. 70 bytes a point. Same figure on any number of threads.
/// </remarks>
internal static class ReliefKept
{
    internal const double RadiusMm = 1;
    private const double PerMm2 = 6;
    private const int MostPoints = 400_000;
    private const int Places = 6_000;
    private const int FewestPlaces = 200;
    private const int FewestPoints = 6;
    private const int Block = 128;

    /// <param name="toModel">Lays the source on the model.</param>
    /// <returns>Null where too little of both lies side by side, or the source has no relief.</returns>
    internal static double? Measure(SignedDistance model, Affine3 toModel, Mesh source, RunContext run)
    {
        var near = BesideModel(model, toModel, source, run);
        var places = Math.Min(Places, near.Count);
        var relief = new (double Own, double Change)?[places];
        Partition.Ranges(run, places, Block, (_, first, end) =>
        {
            for (var i = first; i < end; i++)
                relief[i] = At(near, (int)((long)i * near.Count / places));
        });
        return Slope([.. relief.Where(r => r is not null).Select(r => r!.Value)]) is { } slope ? 1 + slope : null;
    }

    /// <summary>Points of the source with how far out the model lies there.</summary>
    private static NearPoints BesideModel(SignedDistance model, Affine3 toModel, Mesh source, RunContext run)
    {
        var points = SurfaceSamples.Spread(source, (int)Math.Min(MostPoints, PerMm2 * MeshMeasures.AreaMm2(source, run)), run, out var triangles);
        var scale = Math.Cbrt(Math.Abs(toModel.Determinant));
        var outward = model.OfMeasured(Array.ConvertAll(points, toModel.Map), run, 2 * RadiusMm * scale);
        List<Vec3> at = [], normals = [];
        List<double> outwardMm = [];
        for (var i = 0; i < points.Length; i++)
        {
            if (!double.IsFinite(outward[i]))
                continue;
            var (a, b, c) = source.Triangle(triangles[i]);
            at.Add(points[i]);
            normals.Add(Vec3.Cross(source.Local(b) - source.Local(a), source.Local(c) - source.Local(a)).Normalized());
            // The source outside the model is the model inside the source.
            outwardMm.Add(-outward[i] / scale);
        }

        return new([.. at], [.. normals], [.. outwardMm], 2 * RadiusMm);
    }

    private static (double Own, double Change)? At(NearPoints near, int place)
    {
        var (at, facing) = near[place];
        var normal = near.MeanNormal(at, facing, RadiusMm);
        if (normal == Vec3.Zero)
            return null;
        Span<(int Count, double HeightMm, double Value)> sums = stackalloc (int, double, double)[2];
        near.Sum(at, normal, [RadiusMm, 2 * RadiusMm], sums);
        var (inner, outer) = (sums[0], sums[1]);
        return inner.Count < FewestPoints ? null : ((inner.HeightMm / inner.Count) - (outer.HeightMm / outer.Count), (inner.Value / inner.Count) - (outer.Value / outer.Count));
    }

    private static double? Slope((double Own, double Change)[] relief)
    {
        if (relief.Length < FewestPlaces)
            return null;
        double own = relief.Sum(r => r.Own) / relief.Length, change = relief.Sum(r => r.Change) / relief.Length;
        double both = 0, power = 0;
        foreach (var r in relief)
        {
            both += (r.Change - change) * (r.Own - own);
            power += (r.Own - own) * (r.Own - own);
        }

        return power > 0 ? both / power : null;
    }
}
