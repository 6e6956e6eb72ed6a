using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

public sealed class Sphere(Vec3 centerMm, double radiusMm) : Solid
{
    public override Box3 BoundsMm { get; } = new Box3(centerMm, centerMm).Grown(radiusMm);

    public override double DistanceMm(Vec3 pointMm) => Vec3.Distance(pointMm, centerMm) - radiusMm;

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        var r = radiusMm + offsetMm;
        return r > 0 ? new SurfaceMeasures(4.0 / 3 * Math.PI * r * r * r, 4 * Math.PI * r * r, 2, 1) : null;
    }
}
