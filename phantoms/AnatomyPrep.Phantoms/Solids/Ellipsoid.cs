using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>An ellipsoid with its semi-axes along x, y and z; any order, equal ones allowed.</summary>
/// <remarks>
/// Distance: the foot of a point p is sᵢ² pᵢ / (sᵢ² + t) with t the largest root of F(t) = Σ (sᵢ pᵢ / (sᵢ² + t))² − 1
/// (D. Eberly, "Distance from a Point to an Ellipse, an Ellipsoid, or a Hyperellipsoid", 2013). Differs: F is convex and
/// falling right of its last pole, so Newton's method from any point with F ≥ 0 climbs to the root and never passes it;
/// the start is the largest t at which one term alone reaches 1, or one step from t = 0 where that is nearer. Counted
/// from the last pole, so that nothing cancels there. Exact to rounding, also at the centre and on the focal disc.
/// Cost: 2 to 4 steps near the surface.
/// Measures: area 4π R_G(a²b², b²c², c²a²) (DLMF 19.33.1), integral of mean curvature 4π R_G(a², b², c²), then Steiner.
/// </remarks>
public sealed class Ellipsoid : Solid
{
    private readonly Vec3 _center;
    private readonly Vec3 _semi;
    private readonly Vec3 _beyondPole;
    private readonly double _least;
    private readonly double _area;
    private readonly double _meanCurvature;

    public Ellipsoid(Vec3 centerMm, Vec3 semiAxesMm)
    {
        if (!(Math.Min(semiAxesMm.X, Math.Min(semiAxesMm.Y, semiAxesMm.Z)) > 0))
            throw new ArgumentOutOfRangeException(nameof(semiAxesMm), semiAxesMm, "Semi-axes are positive.");
        (_center, _semi) = (centerMm, semiAxesMm);
        double a2 = _semi.X * _semi.X, b2 = _semi.Y * _semi.Y, c2 = _semi.Z * _semi.Z;
        _least = Math.Min(a2, Math.Min(b2, c2));
        _beyondPole = new Vec3(a2 - _least, b2 - _least, c2 - _least);
        _area = 4 * Math.PI * EllipticIntegral.Rg(a2 * b2, b2 * c2, c2 * a2);
        _meanCurvature = 4 * Math.PI * EllipticIntegral.Rg(a2, b2, c2);
        BoundsMm = new Box3(_center - _semi, _center + _semi);
    }

    public override Box3 BoundsMm { get; }

    public override double DistanceMm(Vec3 pointMm)
    {
        var p = pointMm - _center;
        double x = Magnitude(p.X), y = Magnitude(p.Y), z = Magnitude(p.Z);
        // u = t + least: the root's distance from the last pole.
        var u = Math.Max((_semi.X * x) - _beyondPole.X, Math.Max((_semi.Y * y) - _beyondPole.Y, (_semi.Z * z) - _beyondPole.Z));
        if (u <= 0 && OnFocalDisc(x, y, z) is { } toDisc)
            return -toDisc;
        // Near the surface t is small: one step from t = 0, which from F < 0 lands before the root, saves most of the climb.
        if (u < _least)
            u = Math.Max(u, _least + Math.Min(Step(x, y, z, _least, out _), 0));
        u = Root(x, y, z, Math.Max(u, 0));
        double gx = Over(x, _beyondPole.X + u), gy = Over(y, _beyondPole.Y + u), gz = Over(z, _beyondPole.Z + u);
        return (u - _least) * Math.Sqrt((gx * gx) + (gy * gy) + (gz * gz));
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        var greatest = Math.Max(_semi.X, Math.Max(_semi.Y, _semi.Z));
        // Inwards the parallel surface stays smooth down to the smallest radius of curvature, c² / a.
        return offsetMm > -_least / greatest
            ? Steiner.Parallel(4.0 / 3 * Math.PI * _semi.X * _semi.Y * _semi.Z, _area, _meanCurvature, offsetMm)
            : null;
    }

    /// <summary>Far below the rounding of any length a coordinate counts as 0, else its square would underflow.</summary>
    private static double Magnitude(double coordinate) => Math.Abs(coordinate) < 1e-100 ? 0 : Math.Abs(coordinate);

    private static double Over(double numerator, double denominator) => numerator == 0 ? 0 : numerator / denominator;

    private double Root(double x, double y, double z, double u)
    {
        for (var step = 0; step < 200; step++)
        {
            var next = u + Step(x, y, z, u, out var f);
            if (f <= 0 || next <= u)
                break;
            u = next;
        }

        return u;
    }

    /// <summary>Newton's step from u towards the root of F.</summary>
    private double Step(double x, double y, double z, double u, out double f)
    {
        double qx = _beyondPole.X + u, qy = _beyondPole.Y + u, qz = _beyondPole.Z + u;
        double tx = Over(_semi.X * x, qx), ty = Over(_semi.Y * y, qy), tz = Over(_semi.Z * z, qz);
        double xx = tx * tx, yy = ty * ty, zz = tz * tz;
        f = xx + yy + zz - 1;
        return f / (2 * (Over(xx, qx) + Over(yy, qy) + Over(zz, qz)));
    }

    /// <summary>
    /// The way from a point in the plane across the shortest axis, inside the focal curve, where two feet are equally
    /// near; null where the point is not of that kind.
    /// </summary>
    private double? OnFocalDisc(double x, double y, double z)
    {
        double fx = Foot(_semi.X, x, _beyondPole.X), fy = Foot(_semi.Y, y, _beyondPole.Y), fz = Foot(_semi.Z, z, _beyondPole.Z);
        double nx = fx / _semi.X, ny = fy / _semi.Y, nz = fz / _semi.Z;
        var rest = 1 - ((nx * nx) + (ny * ny) + (nz * nz));
        if (rest < 0)
            return null;
        double dx = x - fx, dy = y - fy, dz = z - fz;
        return Math.Sqrt((dx * dx) + (dy * dy) + (dz * dz) + (_least * rest));

        static double Foot(double semi, double p, double beyond) => beyond == 0 ? 0 : semi * semi * p / beyond;
    }
}
