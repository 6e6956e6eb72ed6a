using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>How a re-scan of a printed part lies on its model.</summary>
/// <param name="ScanToModel">Rotation and translation only, mm in, mm out.</param>
/// <param name="ResidualRmsMm">Root mean square distance of the kept points to the model after it.</param>
/// <param name="ScanScale">Size of the scan relative to the model, found after the motion and not part of it; 1.01 is 1 % too large.</param>
/// <param name="MirroredRmsMm">What is left when the mirror image of the scan is laid on instead.</param>
public sealed record RigidRegistrationResult(Affine3 ScanToModel, double ResidualRmsMm, double ScanScale, double MirroredRmsMm)
{
    /// <summary>The mirror image fits at least twice as well: the part was printed, or scanned, mirrored.</summary>
    public bool IsMirrored => MirroredRmsMm * 2 < ResidualRmsMm;
}

/// <summary>Lays the re-scan of a printed part on its model by a rigid motion, without a first guess.</summary>
/// <remarks>
/// Method (papers cited from memory): iterative closest points, P. J. Besl and N. D. McKay, IEEE TPAMI 14(2), 1992, with the
///   distance to the tangent plane of Y. Chen and G. Medioni, "Object modelling by registration of multiple range images", Image and
///   Vision Computing 10(3), 1992; the farthest tenth of the points is left out of each step after D. Chetverikov et al., "The
///   Trimmed Iterative Closest Point Algorithm", ICPR 2002. Starts: centroids on each other, the principal axes in their four proper
///   pairings and a fixed set of rotations along the spiral of M. Alexa, "Super-Fibonacci Spirals", CVPR 2022; the best few go on with more
///   points, the best of them to the end.
/// Scale: S. Umeyama, IEEE TPAMI 13(4), 1991, gives the scale of a similarity for known pairs. Pairs found as nearest points slide
///   along the surface and would hide most of a scale, so it is taken as a seventh unknown of the tangent-plane steps that start at
///   the finished rigid motion. That motion is not changed by it.
/// Error: with noise σ on n points about 3σ/√n, far below 0.05 mm for a scanner's 0.1 mm; a body that can be turned in itself
///   (ball, cylinder) has no single answer.
/// Cost: about 1,000,000 nearest-point queries, twice for the mirror image; memory: the tree, 60 bytes a point. Starts are run in
///   parallel and judged in their order: same bytes on any number of threads.
/// </remarks>
public static class RigidRegistration
{
    private const double Kept = 0.9;
    private const int Rotations = 96;
    private const int CoarsePoints = 200;
    private const int MiddlePoints = 800;
    private const int FinePoints = 6_000;
    private const int MiddleStarts = 6;

    /// <exception cref="BadInputException">A surface has no area.</exception>
    public static RigidRegistrationResult Register(Mesh scan, Mesh model, RunContext run)
    {
        run.Report("register", "scan on model", 0);
        var target = new Target(TriangleTree.Build(model, run), Points(model, FinePoints, "model", run));
        var straight = Find(scan, target, run);
        run.Report("register", "mirror image", 0.5);
        var mirror = Affine3.Mirror(Vec3.Zero, new Vec3(1, 0, 0));
        var mirrored = Find(scan, target, run, mirror);
        run.Report("register", "mirror image", 1);
        var scale = ScanScale(Points(scan, FinePoints, "scan", run), target.Tree, straight.Map);
        return new(straight.Map, straight.RmsMm, scale, mirrored.RmsMm);
    }

    private static Vec3[] Points(Mesh mesh, int count, string name, RunContext run)
    {
        var points = SurfaceSamples.Spread(mesh, count, run);
        return points.Length > 0
            ? points
            : throw new BadInputException(name, "triangles", "a surface without area", "Give the mesh of a part.");
    }

    private static Placed Find(Mesh scan, Target target, RunContext run, Affine3? before = null)
    {
        Vec3[] Of(int count) => [.. Points(scan, count, "scan", run).Select(p => before?.Map(p) ?? p)];
        var fine = Of(FinePoints);
        var starts = Starts(fine, target.Points);
        var best = Improve(starts, Of(CoarsePoints), target.Tree, 24, run);
        best = Improve([.. best.Take(MiddleStarts).Select(p => p.Map)], Of(MiddlePoints), target.Tree, 40, run);
        return Improve([best[0].Map], fine, target.Tree, 80, run)[0];
    }

    /// <summary>All starts after so many steps, the best first; equal ones in their order.</summary>
    private static Placed[] Improve(Affine3[] starts, Vec3[] points, TriangleTree tree, int steps, RunContext run)
    {
        var placed = new Placed[starts.Length];
        Partition.For(run, starts.Length, s => placed[s] = Steps(points, tree, starts[s], steps));
        return [.. placed.OrderBy(p => p.RmsMm)];
    }

    private static Affine3[] Starts(Vec3[] scan, Vec3[] model)
    {
        var (scanMean, scanAxes) = PrincipalAxes(scan);
        var (modelMean, modelAxes) = PrincipalAxes(model);
        var starts = new List<Affine3>();
        foreach (var (x, y) in ((double, double)[])[(1, 1), (1, -1), (-1, 1), (-1, -1)])
        {
            var turned = new Affine3(modelAxes.X * x, modelAxes.Y * y, modelAxes.Z * (x * y), Vec3.Zero);
            starts.Add(turned.After(scanAxes.Inverse()));
        }

        for (var i = 0; i < Rotations; i++)
            starts.Add(SpiralRotation(i));
        return [.. starts.Select(r => Affine3.Translate(modelMean).After(r).After(Affine3.Translate(-scanMean)))];
    }

    private static Affine3 SpiralRotation(int i)
    {
        // Alexa's constants: the square root of 2, and the positive root of ψ⁴ = ψ + 4.
        const double psi = 1.533751168755204288118041;
        var s = i + 0.5;
        double r = Math.Sqrt(s / Rotations), q = Math.Sqrt(1 - (s / Rotations));
        var (sa, ca) = Math.SinCos(2 * Math.PI * s / Math.Sqrt(2));
        var (sb, cb) = Math.SinCos(2 * Math.PI * s / psi);
        var axis = new Vec3(r * sa, r * ca, q * sb);
        return Affine3.Rotate(axis, 2 * Math.Atan2(axis.Length, q * cb));
    }

    private static (Vec3 Mean, Affine3 Axes) PrincipalAxes(Vec3[] points)
    {
        var mean = Mean(points);
        var m = new double[9];
        foreach (var point in points)
        {
            var p = point - mean;
            for (var r = 0; r < 3; r++)
                for (var c = 0; c < 3; c++)
                    m[(3 * r) + c] += p[r] * p[c];
        }

        var v = Shape.SymmetricEigen.Solve(m, 3);
        var order = Enumerable.Range(0, 3).OrderByDescending(i => m[4 * i]).ToArray();
        Vec3 Column(int i) => new(v[order[i]], v[3 + order[i]], v[6 + order[i]]);
        return (mean, new(Column(0), Column(1), Vec3.Cross(Column(0), Column(1)), Vec3.Zero));
    }

    private static Vec3 Mean(Vec3[] points) => points.Aggregate(Vec3.Zero, (sum, p) => sum + p) / points.Length;

    private static Placed Steps(Vec3[] points, TriangleTree tree, Affine3 map, int most)
    {
        var pairs = new Pairs(points, tree);
        for (var step = 0; step < most; step++)
        {
            pairs.Find(map);
            var change = pairs.Step(withScale: false);
            map = change.Motion.After(map);
            if (change.LargestMm < 1e-6)
                break;
        }

        pairs.Find(map);
        return new(map, pairs.KeptRmsMm);
    }

    private static double ScanScale(Vec3[] points, TriangleTree tree, Affine3 map)
    {
        var pairs = new Pairs(points, tree);
        var scale = 1.0;
        for (var step = 0; step < 40; step++)
        {
            pairs.Find(map);
            var change = pairs.Step(withScale: true);
            map = change.Motion.After(map);
            scale *= change.Scale;
            if (change.LargestMm < 1e-6)
                break;
        }

        return 1 / scale;
    }

    private sealed record Target(TriangleTree Tree, Vec3[] Points);

    private readonly record struct Placed(Affine3 Map, double RmsMm);

    private readonly record struct Change(Affine3 Motion, double Scale, double LargestMm);

    /// <summary>Moved points, their nearest points on the model, and the step that brings them nearer.</summary>
    private sealed class Pairs(Vec3[] points, TriangleTree tree)
    {
        private readonly Vec3[] _moved = new Vec3[points.Length];
        private readonly SurfacePoint[] _nearest = new SurfacePoint[points.Length];
        private readonly double[] _sorted = new double[points.Length];
        private double _limitMm;

        internal double KeptRmsMm { get; private set; }

        internal void Find(Affine3 map)
        {
            for (var i = 0; i < points.Length; i++)
            {
                _moved[i] = map.Map(points[i]);
                _nearest[i] = tree.Nearest(_moved[i]);
                _sorted[i] = _nearest[i].DistanceMm;
            }

            Array.Sort(_sorted);
            var kept = Math.Max(1, (int)(Kept * points.Length));
            _limitMm = _sorted[kept - 1];
            double sum = 0;
            for (var i = 0; i < kept; i++)
                sum += _sorted[i] * _sorted[i];
            KeptRmsMm = Math.Sqrt(sum / kept);
        }

        /// <summary>Gauss-Newton step of the distances to the tangent planes, about the centroid, lengths in units of the radius.</summary>
        internal Change Step(bool withScale)
        {
            var size = withScale ? 7 : 6;
            var center = Mean(_moved);
            var radius = Math.Sqrt(_moved.Sum(p => (p - center).LengthSquared) / _moved.Length);
            if (!(radius > 0))
                return new(Affine3.Identity, 1, 0);
            var a = new double[size * size];
            var b = new double[size];
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
                for (var r = 0; r < size; r++)
                {
                    b[r] += row[r] * miss;
                    for (var c = 0; c < size; c++)
                        a[(r * size) + c] += row[r] * row[c];
                }
            }

            var x = Solve(a, b, size);
            var scale = withScale ? 1 + x[6] : 1;
            var angle = new Vec3(x[0], x[1], x[2]);
            var shift = new Vec3(x[3], x[4], x[5]) * radius;
            var motion = Affine3.Translate(center + shift).After(Affine3.Rotate(angle, angle.Length)).After(Affine3.Scale(scale)).After(Affine3.Translate(-center));
            return new(motion, scale, shift.Length + ((angle.Length + Math.Abs(scale - 1)) * radius));
        }

        private Vec3 Normal(int triangle)
        {
            var (a, b, c) = tree.Mesh.Triangle(triangle);
            var p = tree.Mesh.Local(a);
            return Vec3.Cross(tree.Mesh.Local(b) - p, tree.Mesh.Local(c) - p).Normalized();
        }

        // By eigenvectors: directions in which the surface slides in itself get no step instead of a huge one.
        private static double[] Solve(double[] a, double[] b, int size)
        {
            var vectors = Shape.SymmetricEigen.Solve(a, size);
            var largest = Enumerable.Range(0, size).Max(i => a[(i * size) + i]);
            var x = new double[size];
            for (var i = 0; i < size; i++)
            {
                var value = a[(i * size) + i];
                if (!(value > largest * 1e-9))
                    continue;
                double along = 0;
                for (var r = 0; r < size; r++)
                    along += vectors[(r * size) + i] * b[r];
                for (var r = 0; r < size; r++)
                    x[r] += vectors[(r * size) + i] * (along / value);
            }

            return x;
        }
    }
}
