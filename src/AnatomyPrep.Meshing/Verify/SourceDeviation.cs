using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>How far a finished model lies from the surface of its source, in patient coordinates; positive outside it.</summary>
/// <param name="Model">The model where the images are, as it was measured.</param>
/// <param name="VertexMm">Signed distance of every vertex, in the model's order.</param>
/// <param name="MaxMm">Largest distance of a vertex or sample, without sign.</param>
/// <param name="LookAtMm">Where the measured surface deviates most; where nothing was measured, where the whole does.</param>
/// <param name="HistogramShares">Share of the area below the first of <see cref="SourceDeviation.HistogramLimitsMm"/>, between each two, and above the last.</param>
public sealed record SourceDeviationFigures(
    Mesh Model, float[] VertexMm, double SignedMeanMm, double MeanMm, double P50Mm, double P95Mm, double P99Mm, double MaxMm, Vec3 MaxAtMm, Vec3 LookAtMm,
    IReadOnlyList<OriginDeviation> ByOrigin, IReadOnlyList<double> HistogramShares);

/// <summary>Measures a finished model against the surface its source gave, before anything was repaired, shaped or placed.</summary>
/// <remarks>
/// Means, percentiles and histogram: 100,000 points evenly over the model (<see cref="SurfaceSamples"/>); the largest: these and
///   every vertex, which also give the map for the picture. Distances by <see cref="SignedDistance"/>, exact for the point up to rounding.
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

        var all = Farthest(inPlace, vertices, points, triangles, signed, onlyMeasured: false)!.Value;
        var measured = Farthest(inPlace, vertices, points, triangles, signed, onlyMeasured: true);
        var sorted = Array.ConvertAll(signed, Math.Abs);
        Array.Sort(sorted);
        return new(
            inPlace, Array.ConvertAll(vertices, d => (float)d), signed.Sum() / signed.Length, sorted.Sum() / sorted.Length,
            SurfaceDistance.Rank(sorted, 0.5), SurfaceDistance.Rank(sorted, 0.95), SurfaceDistance.Rank(sorted, 0.99),
            all.Mm, all.AtMm, measured?.AtMm ?? all.AtMm,
            ModelAgainstSource.ByOrigin(inPlace, triangles, signed, run), Histogram(signed));
    }

    /// <summary>The corner or sample that lies farthest off, without sign; a large flat triangle may lie off in its middle only.</summary>
    private static (double Mm, Vec3 AtMm)? Farthest(Mesh mesh, double[] vertexMm, Vec3[] points, int[] triangles, double[] signedMm, bool onlyMeasured)
    {
        bool Counts(int triangle) => !onlyMeasured || mesh.Origins[triangle] == Origin.Measured;
        int corner = -1, sample = -1;
        for (var i = 0; i < mesh.Triangles.Length; i++)
            if (Counts(i / 3) && (corner < 0 || Math.Abs(vertexMm[mesh.Triangles[i]]) > Math.Abs(vertexMm[corner])))
                corner = mesh.Triangles[i];
        for (var i = 0; i < points.Length; i++)
            if (Counts(triangles[i]) && (sample < 0 || Math.Abs(signedMm[i]) > Math.Abs(signedMm[sample])))
                sample = i;
        if (corner < 0)
            return null;
        return sample >= 0 && Math.Abs(signedMm[sample]) > Math.Abs(vertexMm[corner])
            ? (Math.Abs(signedMm[sample]), points[sample])
            : (Math.Abs(vertexMm[corner]), mesh.Vertex(corner));
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
