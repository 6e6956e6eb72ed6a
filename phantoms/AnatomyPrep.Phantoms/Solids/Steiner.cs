namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Volume and area of the parallel body of a convex body.</summary>
/// <remarks>
/// Method: J. Steiner, "Über parallele Flächen", 1840: V(d) = V + A d + M d² + 4/3 π d³ and A(d) = V'(d), with M the
/// integral of the mean curvature, edges counted with half their exterior angle. Holds for every d ≥ 0, and for d &lt; 0
/// on a smooth body down to its smallest radius of curvature.
/// </remarks>
internal static class Steiner
{
    internal static SurfaceMeasures Parallel(double volumeMm3, double areaMm2, double meanCurvatureMm, double offsetMm)
    {
        var d = offsetMm;
        var volume = volumeMm3 + (areaMm2 * d) + (meanCurvatureMm * d * d) + (4.0 / 3 * Math.PI * d * d * d);
        var area = areaMm2 + (2 * meanCurvatureMm * d) + (4 * Math.PI * d * d);
        return new SurfaceMeasures(volume, area, Euler: 2, Bodies: 1);
    }
}
