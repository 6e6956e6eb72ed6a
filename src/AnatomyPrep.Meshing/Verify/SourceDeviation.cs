using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>How far a finished model lies from the surface of its source, in patient coordinates; positive outside it.</summary>
/// <param name="Model">The model where the images are, as it was measured.</param>
/// <param name="VertexMm">Signed distance of every vertex, in the model's order.</param>
/// <param name="MaxMm">Largest distance of a vertex, without sign.</param>
/// <param name="LookAtMm">Where the measured surface deviates most; where nothing was measured, where the whole does.</param>
/// <param name="HistogramShares">Share of the area below the first of <see cref="SourceDeviation.HistogramLimitsMm"/>, between each two, and above the last.</param>
public sealed record SourceDeviationFigures(
    Mesh Model, float[] VertexMm, double SignedMeanMm, double MeanMm, double P50Mm, double P95Mm, double P99Mm, double MaxMm, Vec3 MaxAtMm, Vec3 LookAtMm,
    IReadOnlyList<OriginDeviation> ByOrigin, IReadOnlyList<double> HistogramShares);

/// <summary>Measures a finished model against the surface its source gave, before anything was repaired, shaped or placed.</summary>
/// <remarks>
/// Means, percentiles and histogram: 100,000 points evenly over the model (<see cref="SurfaceSamples"/>); the largest and the map for
///   the picture: every vertex. Distances by <see cref="SignedDistance"/>, exact for the point up to rounding.
/// Percentile p of n values is the value number ⌈p·n⌉ in ascending order. One way: what the model lacks is not seen.
/// Cost: 1 to 6 µs a point and core; memory: 130 bytes a triangle of the source, 40 bytes a point. Same figures on any number of threads.
/// </remarks>
public static class SourceDeviation
{
    private const int Samples = 100_000;

    /// <summary>Borders of the histogram's classes.</summary>
    public static IReadOnlyList<double> HistogramLimitsMm { get; } = [-2, -1, -0.5, -0.25, -0.1, 0.1, 0.25, 0.5, 1, 2];

    /// <param name="model">As it is handed over.</param>
    /// <param name="placement">Where the steps put it, from where the images are.</param>
    /// <returns>Null where one of both has no surface.</returns>
    public static SourceDeviationFigures? Measure(Mesh model, Affine3 placement, Mesh source, RunContext run)
    {
        var inPlace = KnownPlacement.Undo(model, placement, run);
        var points = SurfaceSamples.Spread(inPlace, Samples, run, out var triangles);
        if (points.Length == 0 || source.TriangleCount == 0)
            return null;
        run.Report("verify", "distance to the source", 0);
        var to = SignedDistance.To(source, run);
        var signed = to.Of(points, run);
        run.Report("verify", "distance to the source", 0.5);
        var vertices = to.OfVertices(inPlace, run);
        run.Report("verify", "distance to the source", 1);

        var all = Farthest(inPlace, vertices, onlyMeasured: false);
        var measured = Farthest(inPlace, vertices, onlyMeasured: true);
        var sorted = Array.ConvertAll(signed, Math.Abs);
        Array.Sort(sorted);
        return new(
            inPlace, Array.ConvertAll(vertices, d => (float)d), signed.Sum() / signed.Length, sorted.Sum() / sorted.Length,
            SurfaceDistance.Rank(sorted, 0.5), SurfaceDistance.Rank(sorted, 0.95), SurfaceDistance.Rank(sorted, 0.99),
            Math.Abs(vertices[all]), inPlace.Vertex(all), inPlace.Vertex(measured >= 0 ? measured : all),
            ModelAgainstSource.ByOrigin(inPlace, triangles, signed, run), Histogram(signed));
    }

    /// <summary>The corner of a triangle that lies farthest off; -1 where there is none of the kind.</summary>
    private static int Farthest(Mesh mesh, double[] vertexMm, bool onlyMeasured)
    {
        var farthest = -1;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            if (onlyMeasured && mesh.Origins[t] != Origin.Measured)
                continue;
            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                var v = mesh.Triangles[c];
                if (farthest < 0 || Math.Abs(vertexMm[v]) > Math.Abs(vertexMm[farthest]))
                    farthest = v;
            }
        }

        return farthest;
    }

    private static double[] Histogram(double[] signedMm)
    {
        var counts = new int[HistogramLimitsMm.Count + 1];
        foreach (var d in signedMm)
        {
            var n = 0;
            while (n < HistogramLimitsMm.Count && d >= HistogramLimitsMm[n])
                n++;
            counts[n]++;
        }

        return Array.ConvertAll(counts, c => c / (double)signedMm.Length);
    }
}
