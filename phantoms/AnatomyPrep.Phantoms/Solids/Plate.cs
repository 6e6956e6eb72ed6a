using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A thin box that knows its thickness, so that an edge wider than the plate lowers its peak as blur does.</summary>
public sealed class Plate(Vec3 centerMm, Vec3 sizeMm) : Solid
{
    private readonly Box _box = new(centerMm, sizeMm);

    public override Box3 BoundsMm => _box.BoundsMm;

    public override double ThinnestMm => Math.Min(sizeMm.X, Math.Min(sizeMm.Y, sizeMm.Z));

    public override double DistanceMm(Vec3 pointMm) => _box.DistanceMm(pointMm);

    public override SurfaceMeasures? ClosedForm(double offsetMm) => _box.ClosedForm(offsetMm);
}
