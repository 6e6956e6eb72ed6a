using System.Runtime.CompilerServices;

namespace AnatomyPrep.Core.Geometry;

/// <summary>
/// The plane through three points, asked many times which side a point lies on. Same answers as
/// <see cref="ExactPredicates.Orient3D"/>, with the work that depends on the three points alone done once.
/// </summary>
public readonly struct ExactPlane
{
    private readonly Vec3 _a;
    private readonly Vec3 _b;
    private readonly Vec3 _c;
    private readonly Vec3 _normal;
    private readonly Vec3 _reach;

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public ExactPlane(in Vec3 a, in Vec3 b, in Vec3 c)
    {
        _a = a;
        _b = b;
        _c = c;
        double bx = b.X - a.X, by = b.Y - a.Y, bz = b.Z - a.Z;
        double cx = c.X - a.X, cy = c.Y - a.Y, cz = c.Z - a.Z;
        _normal = new((by * cz) - (bz * cy), (bz * cx) - (bx * cz), (bx * cy) - (by * cx));
        _reach = new(
            ExactPredicates.Larger(Math.Abs(bx), Math.Abs(cx)),
            ExactPredicates.Larger(Math.Abs(by), Math.Abs(cy)),
            ExactPredicates.Larger(Math.Abs(bz), Math.Abs(cz)));
    }

    /// <summary>(b−a)×(c−a) as double arithmetic gives it; direction only as good as that.</summary>
    public Vec3 ApproximateNormal => _normal;

    /// <summary>+1 when d lies on the side that the normal points to, 0 in the plane, −1 behind it.</summary>
    /// <exception cref="ArgumentException">A coordinate is not finite.</exception>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public int Side(in Vec3 d)
    {
        double dx = d.X - _a.X, dy = d.Y - _a.Y, dz = d.Z - _a.Z;
        var det = (_normal.X * dx) + (_normal.Y * dy) + (_normal.Z * dz);
        var side = ExactPredicates.Filtered3D(
            det,
            ExactPredicates.Larger(_reach.X, Math.Abs(dx)),
            ExactPredicates.Larger(_reach.Y, Math.Abs(dy)),
            ExactPredicates.Larger(_reach.Z, Math.Abs(dz)));
        return side != ExactPredicates.Unsure ? side : ExactPredicates.Orient3DExact(_a, _b, _c, d);
    }
}
