using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Points being laid on a surface: where they are, their nearest points on it, and the step that brings them nearer.</summary>
/// <remarks>
/// Iterative closest points (P. J. Besl and N. D. McKay, IEEE TPAMI 14(2), 1992) with the distance to the tangent plane (Y. Chen and
///   G. Medioni, "Object modelling by registration of multiple range images", Image and Vision Computing 10(3), 1992), the farthest part of
///   the points left out of each step (D. Chetverikov et al., "The Trimmed Iterative Closest Point Algorithm", ICPR 2002); all from memory.
/// A direction in which the surface slides in itself (the turn of a ball) gets no step. Memory: 130 bytes a point.
/// </remarks>
/// <param name="kept">Part of the points that counts, the nearest first.</param>
/// <param name="withScale">Whether the points may grow or shrink evenly, too.</param>
internal sealed class TangentPlaneSteps(Vec3[] pointsMm, TriangleTree surface, double kept, bool withScale)
{
    private readonly int _unknowns = withScale ? 7 : 6;
    private readonly double[] _sorted = new double[pointsMm.Length];
    private Vec3[] _moved = [];
    private SurfacePoint[] _nearest = [];
    private double _limitMm;

    /// <summary>Root mean square distance of the points that count, after the last map.</summary>
    public double KeptRmsMm { get; private set; }

    /// <summary>Steps from a map to where none moves a point by more than settledMm, at most so many.</summary>
    /// <returns>The map there; the scale of all steps together is that of the map over that of the first.</returns>
    public Affine3 Run(Affine3 map, int most, double settledMm, RunContext run)
    {
        for (var step = 0; step < most; step++)
        {
            run.ThrowIfCancelled();
            Pair(map, run);
            var (motion, largestMm) = Step();
            map = motion.After(map);
            if (largestMm < settledMm)
                break;
        }

        Pair(map, run);
        return map;
    }

    private void Pair(Affine3 map, RunContext run)
    {
        _moved = Array.ConvertAll(pointsMm, map.Map);
        _nearest = surface.Nearest(_moved, run);
        for (var i = 0; i < _sorted.Length; i++)
            _sorted[i] = _nearest[i].DistanceMm;
        Array.Sort(_sorted);
        var count = Math.Max(1, (int)(kept * _sorted.Length));
        _limitMm = _sorted[count - 1];
        double sum = 0;
        for (var i = 0; i < count; i++)
            sum += _sorted[i] * _sorted[i];
        KeptRmsMm = Math.Sqrt(sum / count);
    }

    /// <summary>Gauss-Newton step of the distances to the tangent planes, about the centroid, lengths in units of the radius.</summary>
    private (Affine3 Motion, double LargestMm) Step()
    {
        var center = RigidFit.Mean(_moved);
        var radius = Math.Sqrt(_moved.Sum(p => (p - center).LengthSquared) / _moved.Length);
        if (!(radius > 0))
            return (Affine3.Identity, 0);
        var a = new double[_unknowns * _unknowns];
        var b = new double[_unknowns];
        Span<double> row = stackalloc double[7];
        for (var i = 0; i < _moved.Length; i++)
        {
            if (_nearest[i].DistanceMm > _limitMm)
                continue;
            var n = Normal(_nearest[i].Triangle);
            var p = (_moved[i] - center) / radius;
            var turn = Vec3.Cross(p, n);
            var miss = Vec3.Dot(_nearest[i].PositionMm - _moved[i], n) / radius;
            (row[0], row[1], row[2], row[3], row[4], row[5], row[6]) = (turn.X, turn.Y, turn.Z, n.X, n.Y, n.Z, Vec3.Dot(p, n));
            for (var r = 0; r < _unknowns; r++)
            {
                b[r] += row[r] * miss;
                for (var c = 0; c < _unknowns; c++)
                    a[(r * _unknowns) + c] += row[r] * row[c];
            }
        }

        var x = Solve(a, b);
        var scale = withScale ? 1 + x[6] : 1;
        var angle = new Vec3(x[0], x[1], x[2]);
        var shift = new Vec3(x[3], x[4], x[5]) * radius;
        var motion = Affine3.Translate(center + shift).After(Affine3.Rotate(angle, angle.Length)).After(Affine3.Scale(scale)).After(Affine3.Translate(-center));
        return (motion, shift.Length + ((angle.Length + Math.Abs(scale - 1)) * radius));
    }

    private Vec3 Normal(int triangle)
    {
        var (a, b, c) = surface.Mesh.Triangle(triangle);
        var p = surface.Mesh.Local(a);
        return Vec3.Cross(surface.Mesh.Local(b) - p, surface.Mesh.Local(c) - p).Normalized();
    }

    // By eigenvectors: directions in which the surface slides in itself get no step instead of a huge one.
    private double[] Solve(double[] a, double[] b)
    {
        var vectors = SymmetricEigen.Solve(a, _unknowns);
        var largest = Enumerable.Range(0, _unknowns).Max(i => a[(i * _unknowns) + i]);
        var x = new double[_unknowns];
        for (var i = 0; i < _unknowns; i++)
        {
            var value = a[(i * _unknowns) + i];
            if (!(value > largest * 1e-9))
                continue;
            double along = 0;
            for (var r = 0; r < _unknowns; r++)
                along += vectors[(r * _unknowns) + i] * b[r];
            for (var r = 0; r < _unknowns; r++)
                x[r] += vectors[(r * _unknowns) + i] * (along / value);
        }

        return x;
    }
}
