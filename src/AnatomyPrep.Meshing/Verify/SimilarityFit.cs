using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>A map of points onto a surface by rotation, even scale and translation, and how well they lie on it then.</summary>
/// <param name="Map">From the points' place to the surface's, with the mirroring it was started with, if any.</param>
/// <param name="TrimmedRmsMm">Root mean square distance of the nearest 80 % of the points after the map.</param>
internal sealed record SimilarityFit(Affine3 Map, double TrimmedRmsMm)
{
    private const int MostRounds = 40;
    private const double Kept = 0.8;
    private const double SettledMm = 1e-5;
    private const int Unknowns = 7;

    /// <summary>Length of a mapped unit vector: 1.02 means that the points have to grow by 2 %.</summary>
    public double Scale => Math.Cbrt(Math.Abs(Map.Determinant));

    /// <summary>Lays points on a surface from a given start.</summary>
    /// <remarks>
    /// Iterative closest point (P. J. Besl and N. D. McKay, 1992) to planes (Y. Chen and G. Medioni, 1992) with the farthest
    /// fifth of the pairs left out in each round (D. Chetverikov and others, "The Trimmed Iterative Closest Point Algorithm",
    /// 2002); all from memory. Seven unknowns, linear in each round: turn, shift and scale about the points' centre, so that a
    /// scale is stated and not spread over the rest. A direction the surface does not hold (the turn of a ball) stays as it was.
    /// Finds the start's own minimum only. Cost: 40 rounds of one nearest point each; sums in the order of the points, so the
    /// same on any number of threads.
    /// </remarks>
    public static SimilarityFit From(Affine3 start, Vec3[] pointsMm, TriangleTree surface, RunContext run)
    {
        var map = start;
        for (var round = 0; round < MostRounds; round++)
        {
            run.ThrowIfCancelled();
            var (at, nearest, limitMm) = Pair(map, pointsMm, surface, run);
            var (step, movedMm) = Step(at, nearest, limitMm, surface.Mesh);
            map = step.After(map);
            if (movedMm < SettledMm)
                break;
        }

        var (_, last, withinMm) = Pair(map, pointsMm, surface, run);
        double squares = 0;
        var n = 0;
        foreach (var point in last)
            if (point.DistanceMm <= withinMm)
                (squares, n) = (squares + (point.DistanceMm * point.DistanceMm), n + 1);
        return new(map, Math.Sqrt(squares / n));
    }

    private static (Vec3[] At, SurfacePoint[] Nearest, double LimitMm) Pair(Affine3 map, Vec3[] pointsMm, TriangleTree surface, RunContext run)
    {
        var at = Array.ConvertAll(pointsMm, map.Map);
        var nearest = surface.Nearest(at, run);
        var sorted = Array.ConvertAll(nearest, p => p.DistanceMm);
        Array.Sort(sorted);
        return (at, nearest, sorted[(int)(Kept * (sorted.Length - 1))]);
    }

    private static (Affine3 Step, double MovedMm) Step(Vec3[] at, SurfacePoint[] nearest, double limitMm, Mesh surface)
    {
        var centre = Vec3.Zero;
        foreach (var p in at)
            centre += p / at.Length;
        double radius = 1e-9;
        foreach (var p in at)
            radius = Math.Max(radius, Vec3.Distance(p, centre));

        var matrix = new double[Unknowns, Unknowns];
        var right = new double[Unknowns];
        Span<double> row = stackalloc double[Unknowns];
        for (var i = 0; i < at.Length; i++)
        {
            if (nearest[i].DistanceMm > limitMm)
                continue;
            var (a, b, c) = surface.Triangle(nearest[i].Triangle);
            var across = Vec3.Cross(surface.Local(b) - surface.Local(a), surface.Local(c) - surface.Local(a));
            if (!(across.Length > 0))
                continue;
            var normal = across / across.Length;
            var arm = (at[i] - centre) / radius;
            var turn = Vec3.Cross(arm, normal);
            (row[0], row[1], row[2]) = (turn.X, turn.Y, turn.Z);
            (row[3], row[4], row[5]) = (normal.X, normal.Y, normal.Z);
            row[6] = Vec3.Dot(arm, normal);
            var gap = Vec3.Dot(nearest[i].PositionMm - at[i], normal);
            for (var r = 0; r < Unknowns; r++)
            {
                right[r] += row[r] * gap;
                for (var k = 0; k < Unknowns; k++)
                    matrix[r, k] += row[r] * row[k];
            }
        }

        // Damping far below what data say; it keeps still what they do not.
        for (var r = 0; r < Unknowns; r++)
            matrix[r, r] += 1e-7 * at.Length;
        var x = Solve(matrix, right);
        var spin = new Vec3(x[0], x[1], x[2]) / radius;
        var shift = new Vec3(x[3], x[4], x[5]);
        var turned = spin.Length > 0 ? Affine3.Rotate(spin.Normalized(), spin.Length) : Affine3.Identity;
        var step = Affine3.Translate(centre + shift).After(Affine3.Scale(1 + (x[6] / radius))).After(turned).After(Affine3.Translate(-centre));
        return (step, shift.Length + (spin.Length * radius) + Math.Abs(x[6]));
    }

    /// <summary>Elimination without exchange: the matrix is positive definite.</summary>
    private static double[] Solve(double[,] matrix, double[] right)
    {
        for (var p = 0; p < Unknowns; p++)
            for (var r = p + 1; r < Unknowns; r++)
            {
                var factor = matrix[r, p] / matrix[p, p];
                for (var k = p; k < Unknowns; k++)
                    matrix[r, k] -= factor * matrix[p, k];
                right[r] -= factor * right[p];
            }

        for (var p = Unknowns - 1; p >= 0; p--)
        {
            for (var k = p + 1; k < Unknowns; k++)
                right[p] -= matrix[p, k] * right[k];
            right[p] /= matrix[p, p];
        }

        return right;
    }
}
