using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>The parallel body of a solid: grown by a positive offset, shrunk by a negative one. Exact where the solid's own distance is.</summary>
public sealed class Offset(Solid solid, double byMm) : Solid
{
    public override Box3 BoundsMm { get; } = solid.BoundsMm.Grown(byMm);

    public override double DistanceMm(Vec3 pointMm) => solid.DistanceMm(pointMm) - byMm;

    public override SurfaceMeasures? ClosedForm(double offsetMm) => solid.ClosedForm(byMm + offsetMm);

    public override double DistanceMm(Vec3 centerMm, double radiusMm, out Solid part)
    {
        var distance = solid.DistanceMm(centerMm, radiusMm, out var inner) - byMm;
        part = ReferenceEquals(inner, solid) ? this : new Offset(inner, byMm);
        return distance;
    }
}
