using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A box with its edges along x, y and z.</summary>
/// <remarks>Measures: outwards Steiner with M = π (a + b + c) (twelve right-angled edges); inwards again a box.</remarks>
public sealed class Box(Vec3 centerMm, Vec3 sizeMm) : Solid
{
    private readonly Vec3 _half = sizeMm / 2;

    public override Box3 BoundsMm { get; } = new(centerMm - (sizeMm / 2), centerMm + (sizeMm / 2));

    public override double DistanceMm(Vec3 pointMm)
    {
        var p = pointMm - centerMm;
        double x = Math.Abs(p.X) - _half.X, y = Math.Abs(p.Y) - _half.Y, z = Math.Abs(p.Z) - _half.Z;
        var inside = Math.Min(Math.Max(x, Math.Max(y, z)), 0);
        return inside + new Vec3(Math.Max(x, 0), Math.Max(y, 0), Math.Max(z, 0)).Length;
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        if (offsetMm >= 0)
            return Steiner.Parallel(Volume(sizeMm), Area(sizeMm), Math.PI * (sizeMm.X + sizeMm.Y + sizeMm.Z), offsetMm);
        var size = sizeMm + new Vec3(2 * offsetMm, 2 * offsetMm, 2 * offsetMm);
        return Math.Min(size.X, Math.Min(size.Y, size.Z)) > 0 ? new SurfaceMeasures(Volume(size), Area(size), 2, 1) : null;
    }

    private static double Volume(Vec3 s) => s.X * s.Y * s.Z;

    private static double Area(Vec3 s) => 2 * ((s.X * s.Y) + (s.Y * s.Z) + (s.Z * s.X));
}
