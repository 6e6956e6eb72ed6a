using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>The union of two equal spheres; bounded inside near the crease where they meet, exact elsewhere.</summary>
/// <remarks>The parallel surface of the minimum of two distances is again a pair of spheres, so every offset is closed form.</remarks>
public sealed class SpherePair(Vec3 firstMm, Vec3 secondMm, double radiusMm) : Solid
{
    public override Box3 BoundsMm { get; } = new Box3(Vec3.Min(firstMm, secondMm), Vec3.Max(firstMm, secondMm)).Grown(radiusMm);

    public override double DistanceMm(Vec3 pointMm) =>
        Math.Min(Vec3.Distance(pointMm, firstMm), Vec3.Distance(pointMm, secondMm)) - radiusMm;

    /// <summary>Lens of two equal spheres at distance D: volume π (4r + D)(2r − D)² / 12, caps of height r − D/2.</summary>
    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        var r = radiusMm + offsetMm;
        var distance = Vec3.Distance(firstMm, secondMm);
        if (r <= 0 || distance == 0)
            return null;
        double volume = 8.0 / 3 * Math.PI * r * r * r, area = 8 * Math.PI * r * r;
        if (distance >= 2 * r)
            return new SurfaceMeasures(volume, area, Euler: 4, Bodies: 2);
        var overlap = (2 * r) - distance;
        var lens = Math.PI * ((4 * r) + distance) * overlap * overlap / 12;
        return new SurfaceMeasures(volume - lens, area - (2 * Math.PI * r * overlap), Euler: 2, Bodies: 1);
    }
}
