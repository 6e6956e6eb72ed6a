using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A cylinder about the z axis with flat ends, centred at the origin.</summary>
/// <remarks>
/// Measures: outwards Steiner with M = π h + π² r (wall and two right-angled rims); inwards again a cylinder.
/// </remarks>
public sealed class CappedCylinder(double radiusMm, double heightMm) : Solid
{
    public override Box3 BoundsMm { get; } = new(new Vec3(-radiusMm, -radiusMm, -heightMm / 2), new Vec3(radiusMm, radiusMm, heightMm / 2));

    public override double DistanceMm(Vec3 pointMm)
    {
        var across = Math.Sqrt((pointMm.X * pointMm.X) + (pointMm.Y * pointMm.Y)) - radiusMm;
        var along = Math.Abs(pointMm.Z) - (heightMm / 2);
        double a = Math.Max(across, 0), b = Math.Max(along, 0);
        return Math.Min(Math.Max(across, along), 0) + Math.Sqrt((a * a) + (b * b));
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        if (offsetMm >= 0)
            return Steiner.Parallel(Volume(radiusMm, heightMm), Area(radiusMm, heightMm), (Math.PI * heightMm) + (Math.PI * Math.PI * radiusMm), offsetMm);
        double r = radiusMm + offsetMm, h = heightMm + (2 * offsetMm);
        return r > 0 && h > 0 ? new SurfaceMeasures(Volume(r, h), Area(r, h), 2, 1) : null;
    }

    private static double Volume(double r, double h) => Math.PI * r * r * h;

    private static double Area(double r, double h) => (2 * Math.PI * r * h) + (2 * Math.PI * r * r);
}
