using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>How a scanned part deviates from its model once it lies on it; above 0 the part has too much material.</summary>
/// <param name="Registration">The rigid motion, what it leaves, and the scale that is not part of it.</param>
/// <param name="InPlace">The scan where the model is.</param>
/// <param name="VertexMm">Signed distance of each of its vertices to the model.</param>
/// <param name="CoveredShare">Share of the model's area that has scan within <see cref="PartAgainstModel.CoverMm"/>.</param>
/// <param name="WithinP95Mm">95 % of the scan's area lies nearer than this, without sign.</param>
/// <param name="MaxAtMm">On the model.</param>
public sealed record PartDeviation(
    RigidRegistrationResult Registration, Mesh InPlace, float[] VertexMm, double CoveredShare,
    double SignedMeanMm, double RmsMm, double P5Mm, double P50Mm, double P95Mm, double WithinP95Mm, double MaxMm, Vec3 MaxAtMm);

/// <summary>Lays the scan of a printed part on its model and measures how far it deviates.</summary>
/// <remarks>
/// <see cref="RigidRegistration"/>, then <see cref="SignedDistance"/> of 50,000 points evenly over the scan and of its vertices; what the scan
///   lacks shows in the covered share only. Percentile p of n values is value number ⌈p·n⌉ in ascending order.
/// Cost: the registration, and 1 to 6 µs a point and core. Same figures on any number of threads.
/// </remarks>
public static class PartAgainstModel
{
    /// <summary>Model farther from any scan than this was not seen; several times what a printer deviates, less than a wall.</summary>
    public const double CoverMm = 3;

    private const int Samples = 50_000;
    private const int CoverSamples = 20_000;

    /// <exception cref="BadInputException">A surface has no area.</exception>
    public static PartDeviation Measure(Mesh scan, Mesh model, RunContext run)
    {
        var registration = RigidRegistration.Register(scan, model, run);
        var inPlace = Placement.Map(scan, registration.ScanToModel, run);
        var points = SurfaceSamples.Spread(inPlace, Samples, run);
        run.Report("deviation", "scan to model", 0);
        var to = SignedDistance.To(model, run);
        var signed = to.Of(points, run);
        var vertices = to.OfVertices(inPlace, run);
        run.Report("deviation", "model to scan", 0.6);
        var seen = TriangleTree.Build(inPlace, run).Nearest(SurfaceSamples.Spread(model, CoverSamples, run), run, CoverMm);
        run.Report("deviation", "model to scan", 1);

        var farthest = 0;
        for (var i = 1; i < signed.Length; i++)
            if (Math.Abs(signed[i]) > Math.Abs(signed[farthest]))
                farthest = i;
        double[] sorted = [.. signed.Order()], distances = [.. signed.Select(Math.Abs).Order()];
        return new(
            registration, inPlace, Array.ConvertAll(vertices, d => (float)d), seen.Count(s => s.Found) / (double)seen.Length,
            signed.Sum() / signed.Length, Math.Sqrt(signed.Sum(d => d * d) / signed.Length),
            SurfaceDistance.Rank(sorted, 0.05), SurfaceDistance.Rank(sorted, 0.5), SurfaceDistance.Rank(sorted, 0.95),
            SurfaceDistance.Rank(distances, 0.95), distances[^1], points[farthest]);
    }
}
