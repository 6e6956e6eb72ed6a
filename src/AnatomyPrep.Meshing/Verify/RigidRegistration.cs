using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>How a re-scan of a printed part lies on its model.</summary>
/// <param name="ScanToModel">Rotation and translation only, mm in, mm out.</param>
/// <param name="ResidualRmsMm">Root mean square distance of the kept points to the model after it.</param>
/// <param name="ScanScale">Size of the scan relative to the model, found after the motion and not part of it; 1.01 is 1 % too large.</param>
/// <param name="MirroredRmsMm">What is left when the mirror image of the scan is laid on instead.</param>
/// <param name="AfterScaleRmsMm">What would be left if the scan were scaled evenly, too: what no scale explains.</param>
public sealed record RigidRegistrationResult(Affine3 ScanToModel, double ResidualRmsMm, double ScanScale, double MirroredRmsMm, double AfterScaleRmsMm)
{
    /// <summary>The mirror image fits at least twice as well: the part was printed, or scanned, mirrored.</summary>
    public bool IsMirrored => MirroredRmsMm * 2 < ResidualRmsMm;
}

/// <summary>Lays the re-scan of a printed part on its model by a rigid motion, without a first guess.</summary>
/// <remarks>
/// Method (papers cited from memory): <see cref="TangentPlaneSteps"/>, the farthest tenth of the points left out of each.
///   Starts: centroids on each other, the principal axes in their four proper
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
    private const double SettledMm = 1e-6;
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
        var (scale, afterScale) = ScanScale(Points(scan, FinePoints, "scan", run), target.Tree, straight.Map, run);
        return new(straight.Map, straight.RmsMm, scale, mirrored.RmsMm, afterScale);
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
        Partition.For(run, starts.Length, s => placed[s] = Steps(points, tree, starts[s], steps, run));
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
        var mean = RigidFit.Mean(points);
        var m = RigidFit.Scatter(points, mean);
        var v = SymmetricEigen.Solve(m, 3);
        var order = Enumerable.Range(0, 3).OrderByDescending(i => m[4 * i]).ToArray();
        Vec3 Column(int i) => new(v[order[i]], v[3 + order[i]], v[6 + order[i]]);
        return (mean, new(Column(0), Column(1), Vec3.Cross(Column(0), Column(1)), Vec3.Zero));
    }

    private static Placed Steps(Vec3[] points, TriangleTree tree, Affine3 start, int most, RunContext run)
    {
        var steps = new TangentPlaneSteps(points, tree, Kept, withScale: false);
        var map = steps.Run(start, most, SettledMm, run);
        return new(map, steps.KeptRmsMm);
    }

    private static (double Scale, double RmsMm) ScanScale(Vec3[] points, TriangleTree tree, Affine3 rigid, RunContext run)
    {
        var steps = new TangentPlaneSteps(points, tree, Kept, withScale: true);
        var map = steps.Run(rigid, 40, SettledMm, run);
        return (1 / Math.Cbrt(map.Determinant), steps.KeptRmsMm);
    }

    private sealed record Target(TriangleTree Tree, Vec3[] Points);

    private readonly record struct Placed(Affine3 Map, double RmsMm);
}
