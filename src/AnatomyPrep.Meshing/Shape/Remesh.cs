using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shape;

/// <param name="TargetEdgeMm">Length that edges shall have; most end between 4/5 and 4/3 of it.</param>
/// <param name="MaxDistanceMm">Neither surface lies farther than this from the other anywhere.</param>
/// <param name="FeatureAngleDeg">Edges where the surface bends by more than this are kept; 180 keeps none.</param>
/// <param name="Iterations">Rounds of split, collapse, flip and relax.</param>
/// <param name="PinBoundary">Border vertices stay; otherwise borders get even edges too, along themselves.</param>
/// <param name="PinRims">Vertices between triangles of different origin stay; likewise.</param>
public sealed record RemeshParameters(
    double TargetEdgeMm,
    double? MaxDistanceMm = null,
    double FeatureAngleDeg = 50,
    int Iterations = 6,
    bool PinBoundary = true,
    bool PinRims = true);

/// <summary>The same surface in even triangles of a stated size.</summary>
/// <remarks>
/// Method: M. Botsch, L. Kobbelt, "A Remeshing Approach to Multiresolution Modeling", SGP 2004, section 4: edges longer than 4/3 of
///   the target are halved, edges shorter than 4/5 collapsed where that makes no long ones, edges flipped towards six neighbours
///   (four on a border), vertices moved to their neighbours' mean within the tangent plane, and brought back to the nearest point
///   of the original. Differs: (1) lines (<see cref="FeatureLines"/>) are meshed along themselves; (2) no change may turn a triangle over
///   or make it a sliver, and with a distance stated its edges' middles stay near; (3) the result is checked, and where it is at
///   fault the input's triangles around are locked as they are and the rest is done again.
/// Promises, checked on the result: triangles cross only where the input's did; with a distance stated, every point of either surface
///   lies within it of the other, proven (<see cref="HausdorffBound"/>). By the rules of each change: closed stays closed, handles and
///   pieces stay, no edge gets more than two triangles. Vertices lie on the original to the rounding of float32, but for those
///   of edges halved in the last round that could not be brought back.
/// Origins: a part of a triangle keeps its origin; edges between origins are kept.
/// Measures: triangles, trianglesBefore, meanEdgeMm, evenEdgeShare (of edges between 4/5 and 4/3 of the target), smallestAngleDeg,
///   checkRounds, lockedVertices. Displacement as in <see cref="Simplify"/>.
/// Cost: 1 to 2 µs a triangle, round and core, the larger of both counts; peak about 120 bytes a triangle beyond the mesh.
/// Same bytes on any thread count: changes in the order of edge numbers, vertices placed all at once.
/// </remarks>
public static class Remesh
{
    private const string Step = "remesh";
    private const int MostRounds = 10;
    private const double MostTriangles = 30_000_000;

    /// <exception cref="PlanException">A parameter is out of range, or the edge is so short that more than 30 million triangles would come of it.</exception>
    /// <exception cref="CheckFailedException">The promises could not be kept; nothing has changed.</exception>
    /// <exception cref="OperationCanceledException">Asked every few thousand edges.</exception>
    public static ShapeResult Apply(Mesh mesh, RemeshParameters parameters, RunContext run)
    {
        Validate(mesh, parameters, run);
        var edges = EdgeTable.Build(mesh);
        var before = TriangleTree.Build(mesh, run);
        var check = new RemeshCheck(before, edges, parameters, run);
        var locked = new bool[mesh.VertexCount];
        for (var round = 1; round <= MostRounds; round++)
        {
            var pass = new RemeshPass(mesh, edges, FeatureLines.Find(mesh, edges, parameters, locked, run), before, parameters, run);
            for (var i = 0; i < parameters.Iterations; i++)
            {
                run.Report(Step, "even edges", ((round - 1) + (i / (double)parameters.Iterations)) / MostRounds);
                pass.Round();
            }

            var even = pass.Result();
            run.Report(Step, "check", (double)round / MostRounds);
            var after = TriangleTree.Build(even, run);
            if (!check.LockFaults(after, round, locked))
                return Result(before, after, parameters, round, locked, run);
        }

        throw new CheckFailedException(
            Step, "a surface that crosses itself nowhere new and stays within its distance", FormattableString.Invariant($"places at fault after {MostRounds} rounds; use shorter edges or allow a larger distance"));
    }

    private static void Validate(Mesh mesh, RemeshParameters p, RunContext run)
    {
        if (!(p.TargetEdgeMm > 0 && double.IsFinite(p.TargetEdgeMm)))
            throw new PlanException(Step, null, "targetEdgeMm", Placement.Text(p.TargetEdgeMm), "a positive number");
        if (p.MaxDistanceMm is { } distance && !(distance > 0 && double.IsFinite(distance)))
            throw new PlanException(Step, null, "maxDistanceMm", Placement.Text(distance), "a positive number");
        if (!(p.FeatureAngleDeg > 0 && p.FeatureAngleDeg <= 180))
            throw new PlanException(Step, null, "featureAngleDeg", Placement.Text(p.FeatureAngleDeg), "above 0, at most 180");
        if (p.Iterations is < 1 or > 50)
            throw new PlanException(Step, null, "iterations", Placement.Text(p.Iterations), "1 to 50");
        var least = Math.Sqrt(MeshMeasures.AreaMm2(mesh, run) / MostTriangles * 4 / Math.Sqrt(3));
        if (p.TargetEdgeMm < least)
            throw new PlanException(Step, null, "targetEdgeMm", Placement.Text(p.TargetEdgeMm), FormattableString.Invariant($"{least:G3} mm or more for a model of this size"));
    }

    private static ShapeResult Result(TriangleTree before, TriangleTree after, RemeshParameters parameters, int rounds, bool[] locked, RunContext run)
    {
        var deviation = Deviation.Measure(before, after, run);
        var measures = Evenness(after.Mesh, parameters.TargetEdgeMm);
        measures["checkRounds"] = rounds;
        measures["lockedVertices"] = locked.Count(l => l);
        measures["triangles"] = after.Mesh.TriangleCount;
        measures["trianglesBefore"] = before.Mesh.TriangleCount;
        var effect = new StepEffect(
            ChangedAreaMm2(before.Mesh, after.Mesh),
            deviation.MeanMm,
            deviation.MaxMm,
            MeshMeasures.SignedVolumeMm3(before.Mesh, run),
            MeshMeasures.SignedVolumeMm3(after.Mesh, run),
            measures);
        return new(after.Mesh, effect, []);
    }

    private static SortedDictionary<string, double> Evenness(Mesh mesh, double targetMm)
    {
        double length = 0, even = 0, edges = 0, cosine = -1;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            Corner(mesh.Local(a), mesh.Local(b), mesh.Local(c));
            Corner(mesh.Local(b), mesh.Local(c), mesh.Local(a));
            Corner(mesh.Local(c), mesh.Local(a), mesh.Local(b));
        }

        return new(StringComparer.Ordinal)
        {
            ["evenEdgeShare"] = edges > 0 ? even / edges : 1,
            ["meanEdgeMm"] = edges > 0 ? length / edges : 0,
            ["smallestAngleDeg"] = Math.Acos(Math.Clamp(cosine, -1, 1)) * (180 / Math.PI),
        };

        // Inner edges are met twice, border edges once: a share over sides of triangles.
        void Corner(Vec3 p, Vec3 q, Vec3 r)
        {
            var d = (q - p).Length;
            length += d;
            edges++;
            even += d >= 0.8 * targetMm && d <= 4.0 / 3 * targetMm ? 1 : 0;
            cosine = Math.Max(cosine, Vec3.Dot((q - p).Normalized(), (r - p).Normalized()));
        }
    }

    /// <summary>Area before of the triangles that are not there any more, corner for corner.</summary>
    private static double ChangedAreaMm2(Mesh before, Mesh after)
    {
        var kept = new HashSet<(Vec3, Vec3, Vec3)>(after.TriangleCount);
        for (var t = 0; t < after.TriangleCount; t++)
            kept.Add(Corners(after, t));
        double area = 0;
        for (var t = 0; t < before.TriangleCount; t++)
            if (!kept.Contains(Corners(before, t)))
                area += MeshMeasures.TriangleAreaMm2(before, t);
        return area;

        static (Vec3, Vec3, Vec3) Corners(Mesh mesh, int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            Vec3 p = mesh.Local(a), q = mesh.Local(b), r = mesh.Local(c);
            // The corner that comes first by its coordinates first, in the same turn.
            return Before(p, q) && Before(p, r) ? (p, q, r) : Before(q, r) && Before(q, p) ? (q, r, p) : (r, p, q);
        }

        static bool Before(Vec3 a, Vec3 b) => (a.X, a.Y, a.Z).CompareTo((b.X, b.Y, b.Z)) < 0;
    }
}
