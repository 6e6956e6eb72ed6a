using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Everything within a radius of the straight line between two points.</summary>
public sealed class Capsule : Solid
{
    private readonly Vec3 _from;
    private readonly Vec3 _along;
    private readonly double _lengthSquared;
    private readonly double _radius;

    public Capsule(Vec3 fromMm, Vec3 toMm, double radiusMm)
    {
        (_from, _along, _radius) = (fromMm, toMm - fromMm, radiusMm);
        _lengthSquared = _along.LengthSquared;
        BoundsMm = new Box3(Vec3.Min(fromMm, toMm), Vec3.Max(fromMm, toMm)).Grown(radiusMm);
    }

    public override Box3 BoundsMm { get; }

    public override double DistanceMm(Vec3 pointMm)
    {
        var p = pointMm - _from;
        var t = _lengthSquared > 0 ? Math.Clamp(Vec3.Dot(p, _along) / _lengthSquared, 0, 1) : 0;
        return (p - (_along * t)).Length - _radius;
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        double r = _radius + offsetMm, length = Math.Sqrt(_lengthSquared);
        return r > 0
            ? new SurfaceMeasures(
                (Math.PI * r * r * length) + (4.0 / 3 * Math.PI * r * r * r),
                (2 * Math.PI * r * length) + (4 * Math.PI * r * r),
                Euler: 2,
                Bodies: 1)
            : null;
    }
}
