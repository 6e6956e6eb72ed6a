using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>The plane through the points around a place: their weighted covariance and its smallest axis.</summary>
/// <remarks>
/// Method: principal components, Hoppe, DeRose, Duchamp, McDonald, Stuetzle, "Surface reconstruction from unorganized points",
///   SIGGRAPH 1992, section 3.2, with the weight 1 − d²/r² so that a point that enters or leaves changes little.
/// Sums are taken relative to the place in float32, eight points at a time, in tree order.
/// </remarks>
internal ref struct PlaneFit(PointIndex index, float x, float y, float z, float radiusSquared) : PointIndex.ILeaves
{
    private Vector256<float> _w, _x, _y, _z, _xx, _yy, _zz, _xy, _xz, _yz;

    public float Visit(int from, int to, float limitSquared)
    {
        Vector256<float> qx = Vector256.Create(x), qy = Vector256.Create(y), qz = Vector256.Create(z);
        var scale = Vector256.Create(1 / radiusSquared);
        for (var p = from; p < to; p += Vector256<float>.Count)
        {
            var dx = Vector256.LoadUnsafe(ref index.X[p]) - qx;
            var dy = Vector256.LoadUnsafe(ref index.Y[p]) - qy;
            var dz = Vector256.LoadUnsafe(ref index.Z[p]) - qz;
            var w = Vector256.Max(Vector256<float>.Zero, Vector256<float>.One - (((dx * dx) + (dy * dy) + (dz * dz)) * scale));
            if (to - p < Vector256<float>.Count)
                w = Vector256.ConditionalSelect(Vector256.LessThan(Vector256<float>.Indices, Vector256.Create((float)(to - p))), w, Vector256<float>.Zero);
            Vector256<float> wx = w * dx, wy = w * dy, wz = w * dz;
            _w += w;
            _x += wx;
            _y += wy;
            _z += wz;
            _xx += wx * dx;
            _yy += wy * dy;
            _zz += wz * dz;
            _xy += wx * dy;
            _xz += wx * dz;
            _yz += wy * dz;
        }

        return limitSquared;
    }

    /// <summary>Normal of the plane, of either sign, and how much of the spread it takes up.</summary>
    public readonly FittedPlane Solve()
    {
        double w = Vector256.Sum(_w);
        if (!(w > 0))
            return default;
        double mx = Vector256.Sum(_x) / w, my = Vector256.Sum(_y) / w, mz = Vector256.Sum(_z) / w;
        return FittedPlane.Of(
            (Vector256.Sum(_xx) / w) - (mx * mx),
            (Vector256.Sum(_yy) / w) - (my * my),
            (Vector256.Sum(_zz) / w) - (mz * mz),
            (Vector256.Sum(_xy) / w) - (mx * my),
            (Vector256.Sum(_xz) / w) - (mx * mz),
            (Vector256.Sum(_yz) / w) - (my * mz));
    }
}

/// <summary>Smallest axis of a symmetric 3 × 3 matrix.</summary>
/// <param name="Normal">Unit length, of either sign; zero where the two smallest axes cannot be told apart.</param>
/// <param name="Least">Smallest eigenvalue.</param>
/// <param name="Middle">Second eigenvalue.</param>
internal readonly record struct FittedPlane(Vec3 Normal, double Least, double Middle, double Most)
{
    // Below this part of the largest eigenvalue, float32 sums cannot tell an eigenvalue from zero.
    private const double Resolution = 1e-5;

    /// <remarks>
    /// Eigenvalues by the trigonometric formula (Smith, "Eigenvalues of a symmetric 3 × 3 matrix", CACM 4, 1961), the axis as the longest
    /// cross product of two rows of A − λ. From memory.
    /// </remarks>
    internal static FittedPlane Of(double xx, double yy, double zz, double xy, double xz, double yz)
    {
        var mean = (xx + yy + zz) / 3;
        double dx = xx - mean, dy = yy - mean, dz = zz - mean;
        var spread = Math.Sqrt(((dx * dx) + (dy * dy) + (dz * dz) + (2 * ((xy * xy) + (xz * xz) + (yz * yz)))) / 6);
        if (!(spread > 0))
            return new(Vec3.Zero, mean, mean, mean);
        var half = ((dx * ((dy * dz) - (yz * yz))) - (xy * ((xy * dz) - (yz * xz))) + (xz * ((xy * yz) - (dy * xz)))) / (2 * spread * spread * spread);
        var angle = Math.Acos(Math.Clamp(half, -1, 1)) / 3;
        var most = mean + (2 * spread * Math.Cos(angle));
        var least = mean + (2 * spread * Math.Cos(angle + (2 * Math.PI / 3)));
        var middle = (3 * mean) - most - least;
        if (middle - least <= Resolution * most)
            return new(Vec3.Zero, least, middle, most);
        Vec3 a = new(xx - least, xy, xz), b = new(xy, yy - least, yz), c = new(xz, yz, zz - least);
        Vec3 ab = Vec3.Cross(a, b), bc = Vec3.Cross(b, c), ca = Vec3.Cross(c, a);
        var longest = ab.LengthSquared >= bc.LengthSquared && ab.LengthSquared >= ca.LengthSquared ? ab : bc.LengthSquared >= ca.LengthSquared ? bc : ca;
        return new(longest.Normalized(), least, middle, most);
    }
}
