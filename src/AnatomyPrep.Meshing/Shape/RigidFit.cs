using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>The rotation and translation that bring one set of points nearest to another in the least-squares sense.</summary>
/// <param name="MirroredRmsMm">What is left when a mirror image is allowed too.</param>
/// <remarks>
/// Method: Horn, "Closed-form solution of absolute orientation using unit quaternions", JOSA A 4(4), 1987. The rotation is
///   the eigenvector of the largest eigenvalue of his 4 × 4 matrix, so its determinant is +1 by construction.
///   Kabsch, Acta Cryst. A 32, 1976, for the mirrored residual: with −M in place of M the same matrix fits the mirror
///   image, and the residual is Σ|a|² + Σ|b|² − 2·λmax in both cases.
/// </remarks>
internal readonly record struct RigidFit(Affine3 Map, double RmsMm, double MirroredRmsMm)
{
    /// <summary>Fits <paramref name="from"/> to <paramref name="to"/>, pair by pair; at least three pairs.</summary>
    internal static RigidFit Fit(ReadOnlySpan<Vec3> from, ReadOnlySpan<Vec3> to)
    {
        var (a0, b0) = (Mean(from), Mean(to));
        Span<double> m = stackalloc double[9];
        for (var i = 0; i < from.Length; i++)
        {
            var (a, b) = (from[i] - a0, to[i] - b0);
            for (var r = 0; r < 3; r++)
                for (var c = 0; c < 3; c++)
                    m[(3 * r) + c] += a[r] * b[c];
        }

        var toCenter = Affine3.Translate(-a0);
        var map = Affine3.Translate(b0).After(Rotation(Largest(HornMatrix(m, 1)))).After(toCenter);
        var improper = Affine3.Translate(b0).After(Rotation(Largest(HornMatrix(m, -1)))).After(Affine3.Scale(-1)).After(toCenter);
        return new(map, Rms(map, from, to), Rms(improper, from, to));
    }

    /// <summary>Rank of the spread of the points: 0 a point, 1 a line, 2 a plane, 3 space; directions below 1e-6 of the largest do not count.</summary>
    internal static int Rank(ReadOnlySpan<Vec3> points)
    {
        var m = Scatter(points, Mean(points));
        SymmetricEigen.Solve(m, 3);
        var largest = Math.Max(m[0], Math.Max(m[4], m[8]));
        var rank = 0;
        for (var i = 0; i < 3; i++)
            if (largest > 0 && m[4 * i] > largest * 1e-12)
                rank++;
        return rank;
    }

    /// <summary>Σ (p − mean)(p − mean)ᵀ, 3 by 3, row by row.</summary>
    internal static double[] Scatter(ReadOnlySpan<Vec3> points, Vec3 mean)
    {
        var m = new double[9];
        foreach (var point in points)
        {
            var p = point - mean;
            for (var r = 0; r < 3; r++)
                for (var c = 0; c < 3; c++)
                    m[(3 * r) + c] += p[r] * p[c];
        }

        return m;
    }

    private static double[] HornMatrix(ReadOnlySpan<double> m, double sign)
    {
        double xx = sign * m[0], xy = sign * m[1], xz = sign * m[2];
        double yx = sign * m[3], yy = sign * m[4], yz = sign * m[5];
        double zx = sign * m[6], zy = sign * m[7], zz = sign * m[8];
        return
        [
            xx + yy + zz, yz - zy, zx - xz, xy - yx,
            yz - zy, xx - yy - zz, xy + yx, zx + xz,
            zx - xz, xy + yx, yy - xx - zz, yz + zy,
            xy - yx, zx + xz, yz + zy, zz - xx - yy,
        ];
    }

    private static double[] Largest(double[] matrix)
    {
        var vectors = SymmetricEigen.Solve(matrix, 4);
        var best = 0;
        for (var i = 1; i < 4; i++)
            if (matrix[5 * i] > matrix[5 * best])
                best = i;
        return [vectors[best], vectors[4 + best], vectors[8 + best], vectors[12 + best]];
    }

    private static Affine3 Rotation(double[] q)
    {
        double w = q[0], x = q[1], y = q[2], z = q[3];
        var s = 2 / ((w * w) + (x * x) + (y * y) + (z * z));
        return new(
            new Vec3(1 - (s * ((y * y) + (z * z))), s * ((x * y) + (w * z)), s * ((x * z) - (w * y))),
            new Vec3(s * ((x * y) - (w * z)), 1 - (s * ((x * x) + (z * z))), s * ((y * z) + (w * x))),
            new Vec3(s * ((x * z) + (w * y)), s * ((y * z) - (w * x)), 1 - (s * ((x * x) + (y * y)))),
            Vec3.Zero);
    }

    internal static Vec3 Mean(ReadOnlySpan<Vec3> points)
    {
        var sum = Vec3.Zero;
        foreach (var p in points)
            sum += p;
        return sum / Math.Max(1, points.Length);
    }

    private static double Rms(Affine3 map, ReadOnlySpan<Vec3> from, ReadOnlySpan<Vec3> to)
    {
        double sum = 0;
        for (var i = 0; i < from.Length; i++)
            sum += (map.Map(from[i]) - to[i]).LengthSquared;
        return Math.Sqrt(sum / from.Length);
    }
}
