using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A box, centred at the origin, with a round hole through it along z; bounded outside near the hole's rims.</summary>
/// <remarks>
/// Its distance is the larger of the box's and the negative of the hole's, so the rims of the hole stay sharp at every
/// offset and the parallel body is a parallel box less a cylinder: closed form.
/// </remarks>
public sealed class DrilledPlate(Vec3 sizeMm, double holeRadiusMm) : Solid
{
    private readonly Box _box = new(Vec3.Zero, sizeMm);

    public override Box3 BoundsMm => _box.BoundsMm;

    public override double DistanceMm(Vec3 pointMm) =>
        Math.Max(_box.DistanceMm(pointMm), holeRadiusMm - Math.Sqrt((pointMm.X * pointMm.X) + (pointMm.Y * pointMm.Y)));

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        double r = holeRadiusMm - offsetMm, h = sizeMm.Z + (2 * offsetMm);
        // The hole must run through flat faces: narrower than the box it is drilled through.
        if (r <= 0 || r >= (Math.Min(sizeMm.X, sizeMm.Y) / 2) + Math.Min(offsetMm, 0) || _box.ClosedForm(offsetMm) is not { } box)
            return null;
        return new SurfaceMeasures(
            box.VolumeMm3 - (Math.PI * r * r * h),
            box.AreaMm2 - (2 * Math.PI * r * r) + (2 * Math.PI * r * h),
            Euler: 0,
            Bodies: 1);
    }
}
