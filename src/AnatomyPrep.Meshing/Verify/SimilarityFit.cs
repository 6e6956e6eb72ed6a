using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>A map of points onto a surface by rotation, even scale and translation, and how well they lie on it then.</summary>
/// <param name="Map">From the points' place to the surface's, with the mirroring it was started with, if any.</param>
/// <param name="TrimmedRmsMm">Root mean square distance of the nearest 80 % of the points after the map.</param>
internal sealed record SimilarityFit(Affine3 Map, double TrimmedRmsMm)
{
    private const double Kept = 0.8;
    private const double SettledMm = 1e-5;

    /// <summary>Length of a mapped unit vector: 1.02 means that the points have to grow by 2 %.</summary>
    public double Scale => Math.Cbrt(Math.Abs(Map.Determinant));

    /// <summary>Lays points on a surface from a given start.</summary>
    /// <remarks>
    /// <see cref="TangentPlaneSteps"/> with a scale, so that it is stated and not spread over the rest. Finds the start's own minimum
    /// only. Cost: at most so many rounds of one nearest point each; sums in the order of the points, so the same on any number of threads.
    /// </remarks>
    public static SimilarityFit From(Affine3 start, Vec3[] pointsMm, TriangleTree surface, RunContext run, int mostRounds = 40, bool withScale = true)
    {
        var steps = new TangentPlaneSteps(pointsMm, surface, Kept, withScale);
        var map = steps.Run(start, mostRounds, SettledMm, run);
        return new(map, steps.KeptRmsMm);
    }
}
