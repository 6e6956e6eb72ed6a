using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>The room between two spheres about one centre: one solid with two boundary surfaces.</summary>
public sealed class SphericalShell(Vec3 centerMm, double outerRadiusMm, double innerRadiusMm) : Solid
{
    public override Box3 BoundsMm { get; } = new Box3(centerMm, centerMm).Grown(outerRadiusMm);

    public override double ThinnestMm => outerRadiusMm - innerRadiusMm;

    public override double DistanceMm(Vec3 pointMm)
    {
        var r = Vec3.Distance(pointMm, centerMm);
        return Math.Max(r - outerRadiusMm, innerRadiusMm - r);
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        double outer = outerRadiusMm + offsetMm, inner = innerRadiusMm - offsetMm;
        return inner > 0 && outer > inner
            ? new SurfaceMeasures(
                4.0 / 3 * Math.PI * ((outer * outer * outer) - (inner * inner * inner)),
                4 * Math.PI * ((outer * outer) + (inner * inner)),
                Euler: 4,
                Bodies: 1)
            : null;
    }
}
