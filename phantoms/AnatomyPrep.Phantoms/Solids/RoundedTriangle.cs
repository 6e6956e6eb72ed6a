using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Everything within a radius of a flat triangle: a sheet with rounded rim, the piece thin bones are made of.</summary>
/// <remarks>
/// Distance: to the plane where the foot falls inside the triangle, else to the nearest edge. Measures: Steiner's
/// formula of a flat convex body, V = 2At + π/2 P t² + 4/3 π t³ with area A and perimeter P of the triangle.
/// </remarks>
public sealed class RoundedTriangle : Solid
{
    private readonly Vec3 _a;
    private readonly Vec3 _b;
    private readonly Vec3 _c;
    private readonly Vec3 _ab;
    private readonly Vec3 _bc;
    private readonly Vec3 _ca;
    private readonly Vec3 _normal;
    private readonly double _radius;

    public RoundedTriangle(Vec3 aMm, Vec3 bMm, Vec3 cMm, double radiusMm)
    {
        (_a, _b, _c, _radius) = (aMm, bMm, cMm, radiusMm);
        (_ab, _bc, _ca) = (bMm - aMm, cMm - bMm, aMm - cMm);
        _normal = Vec3.Cross(_ab, -_ca);
        if (_normal.LengthSquared == 0)
            throw new ArgumentException("The three corners must not lie on one line.", nameof(cMm));
        BoundsMm = Box3.Empty.Including(aMm).Including(bMm).Including(cMm).Grown(radiusMm);
    }

    public override Box3 BoundsMm { get; }

    public override double DistanceMm(Vec3 pointMm)
    {
        Vec3 pa = pointMm - _a, pb = pointMm - _b, pc = pointMm - _c;
        var over =
            Vec3.Dot(Vec3.Cross(_ab, _normal), pa) <= 0 &&
            Vec3.Dot(Vec3.Cross(_bc, _normal), pb) <= 0 &&
            Vec3.Dot(Vec3.Cross(_ca, _normal), pc) <= 0;
        var squared = over
            ? Vec3.Dot(_normal, pa) * Vec3.Dot(_normal, pa) / _normal.LengthSquared
            : Math.Min(ToEdge(pa, _ab), Math.Min(ToEdge(pb, _bc), ToEdge(pc, _ca)));
        return Math.Sqrt(squared) - _radius;
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        var t = _radius + offsetMm;
        if (t <= 0)
            return null;
        var perimeter = _ab.Length + _bc.Length + _ca.Length;
        return Steiner.Parallel(0, _normal.Length, Math.PI / 2 * perimeter, t);
    }

    private static double ToEdge(Vec3 p, Vec3 edge) => (p - (edge * Math.Clamp(Vec3.Dot(p, edge) / edge.LengthSquared, 0, 1))).LengthSquared;
}
