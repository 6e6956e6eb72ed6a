using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>How far to simplify; whichever limit is met first ends it. At least one is needed.</summary>
/// <param name="TargetTriangles">Stop at so many triangles.</param>
/// <param name="KeepRatio">Stop at this share of the triangles, above 0 and at most 1.</param>
/// <param name="MaxDistanceMm">Neither surface lies farther than this from the other anywhere.</param>
/// <param name="PinBoundary">Border vertices stay; otherwise borders are simplified along themselves.</param>
/// <param name="PinRims">Vertices between triangles of different origin stay.</param>
public sealed record SimplifyParameters(
    int? TargetTriangles = null,
    double? KeepRatio = null,
    double? MaxDistanceMm = null,
    bool PinBoundary = true,
    bool PinRims = true);

/// <summary>Fewer triangles, the same shape.</summary>
/// <remarks>
/// Method: edge collapse in the order of the quadric error, Garland and Heckbert, "Surface simplification using quadric error
///   metrics", SIGGRAPH 1997; see <see cref="EdgeCollapser"/> for what a collapse must keep. Differs: (1) large meshes are done in
///   pieces (<see cref="SimplifyRun"/>), so the order is that of the costs within a piece and across all of them only in the last
///   pass; (2) the result is checked, and where it is at fault it is done again with a closer look (<see cref="CollapseGuard"/>), and
///   where that does not help with the vertices there left as they are.
/// Promises, checked on the result (<see cref="SimplifyCheck"/>): triangles cross only where the input's did; with a distance stated,
///   every point of either surface lies within it of the other, proven and not sampled (<see cref="Verify.HausdorffBound"/>). By the
///   rules of a collapse: no edge gets more triangles than it had, closed stays closed, handles and pieces stay, no triangle turns
///   by more than 75° at a time.
/// Origins stay with their triangles. A target may be missed by what is pinned, holds a handle or would cross: a note says so.
/// Measures: triangles, trianglesBefore, checkRounds, guardedVertices, shieldedVertices. Displacement: mean over the vertices before; maximum over
///   the vertices of both and the edge middles and centres after.
/// Cost: O(triangles · log triangles), about 6 µs a triangle and core without a distance, twice that with one; each round of
///   shielding costs the pieces it touches and the last pass. Peak about 260 bytes a vertex beyond the mesh.
/// Same bytes on any thread count: pieces by size, joined in order; ties by number.
/// </remarks>
public static class Simplify
{
    private const string Step = "simplify";
    private const int MostRounds = 12;

    // In pieces and passes vertices are kept a little nearer than asked, so that most triangles between them pass the check.
    private const double TrackedShare = 0.9;

    /// <exception cref="PlanException">No limit is given, or one is out of range.</exception>
    /// <exception cref="CheckFailedException">The promises could not be kept; nothing has changed.</exception>
    /// <exception cref="OperationCanceledException">Asked every few thousand collapses.</exception>
    public static ShapeResult Apply(Mesh mesh, SimplifyParameters parameters, RunContext run)
    {
        var target = Target(mesh, parameters);
        var limit = parameters.MaxDistanceMm ?? double.PositiveInfinity;
        var work = new SimplifyRun(mesh, parameters, target, limit * TrackedShare, run);
        var check = new SimplifyCheck(mesh, limit, run);
        var (guarded, shielded) = (new bool[mesh.VertexCount], new bool[mesh.VertexCount]);
        for (var round = 1; round <= MostRounds; round++)
        {
            run.Report(Step, "collapse", (round - 1.0) / MostRounds);
            var simple = work.Collapse(check.Input, check.FromInput);
            run.Report(Step, "check", (round - 0.5) / MostRounds);
            var tree = TriangleTree.Build(simple.Mesh, run);
            var faults = check.Faults(simple, tree);
            if (faults.Count == 0)
                return Result(mesh, simple, check.Input.Value, tree, (round, guarded, shielded), Missed(simple, target, parameters), run);
            // What is at fault again although it was guarded is left as it is; each time it comes back with more room around it.
            var members = Members(mesh, simple, faults, work, round);
            work.Shield(Fresh(members.Where(v => guarded[v]), shielded));
            work.Guard(Fresh(members, guarded));
        }

        throw new CheckFailedException(
            Step, "a surface that crosses itself nowhere new and stays within its distance", FormattableString.Invariant($"places at fault after {MostRounds} rounds; keep more triangles or allow a larger distance"));
    }

    private static int[] Fresh(IEnumerable<int> vertices, bool[] marks)
    {
        int[] fresh = [.. vertices.Where(v => !marks[v])];
        foreach (var v in fresh)
            marks[v] = true;
        return fresh;
    }

    /// <summary>Vertices of the input that went into those at fault, and rings around, ascending.</summary>
    private static List<int> Members(Mesh mesh, SimplifiedMesh simple, HashSet<int> faults, SimplifyRun work, int round)
    {
        var members = new bool[mesh.VertexCount];
        var front = new List<int>();
        for (var v = 0; v < members.Length; v++)
            if (faults.Contains(simple.Root[v]))
                Take(v, front);
        for (var ring = 0; ring < round; ring++)
        {
            var next = new List<int>();
            foreach (var v in front)
                foreach (var corner in work.Around(v))
                {
                    Take(mesh.TriangleArray[EdgeTable.Next(corner)], next);
                    Take(mesh.TriangleArray[EdgeTable.Previous(corner)], next);
                }

            front = next;
        }

        return [.. Enumerable.Range(0, members.Length).Where(v => members[v])];

        void Take(int v, List<int> into)
        {
            if (members[v])
                return;
            members[v] = true;
            into.Add(v);
        }
    }

    private static ShapeResult Result(
        Mesh mesh, SimplifiedMesh simple, TriangleTree before, TriangleTree after, (int Rounds, bool[] Guarded, bool[] Shielded) check, Finding[] findings, RunContext run)
    {
        var deviation = Deviation.Measure(before, after, run);
        run.Report(Step, "check", 1);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["checkRounds"] = check.Rounds,
            ["guardedVertices"] = check.Guarded.Count(g => g),
            ["shieldedVertices"] = check.Shielded.Count(s => s),
            ["triangles"] = simple.Mesh.TriangleCount,
            ["trianglesBefore"] = mesh.TriangleCount,
        };
        var effect = new StepEffect(
            ChangedAreaMm2(mesh, simple),
            deviation.MeanMm,
            deviation.MaxMm,
            MeshMeasures.SignedVolumeMm3(mesh, run),
            MeshMeasures.SignedVolumeMm3(simple.Mesh, run),
            measures);
        return new(simple.Mesh, effect, findings);
    }

    private static Finding[] Missed(SimplifiedMesh simple, int target, SimplifyParameters parameters) =>
        parameters.MaxDistanceMm is not null || simple.Mesh.TriangleCount <= target
            ? []
            :
            [
                new(
                    FindingCodes.TriangleTargetMissed,
                    Severity.Note,
                    FormattableString.Invariant($"{simple.Mesh.TriangleCount} triangles are left where {target} were asked for: the others hold borders, rims, handles or places where the surface would cross itself."),
                    "Nothing, if the number will do; else remove fragments and noise first."),
            ];

    /// <summary>Area before of the triangles that are gone or have a corner elsewhere now.</summary>
    private static double ChangedAreaMm2(Mesh mesh, SimplifiedMesh simple)
    {
        var stayed = new bool[mesh.VertexCount];
        for (var v = 0; v < simple.Vertices.Length; v++)
            stayed[simple.Vertices[v]] = simple.Mesh.Positions.Slice(3 * v, 3).SequenceEqual(mesh.Positions.Slice(3 * simple.Vertices[v], 3));
        double area = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (!stayed[a] || !stayed[b] || !stayed[c] || simple.Root[a] != a || simple.Root[b] != b || simple.Root[c] != c)
                area += MeshMeasures.TriangleAreaMm2(mesh, t);
        }

        return area;
    }

    private static int Target(Mesh mesh, SimplifyParameters p)
    {
        if (p.TargetTriangles is null && p.KeepRatio is null && p.MaxDistanceMm is null)
            throw new PlanException(Step, null, "targetTriangles, keepRatio, maxDistanceMm", "none", "at least one of the three");
        if (p.TargetTriangles is <= 0)
            throw new PlanException(Step, null, "targetTriangles", Placement.Text(p.TargetTriangles.Value), "1 or more");
        if (p.KeepRatio is { } ratio && !(ratio > 0 && ratio <= 1))
            throw new PlanException(Step, null, "keepRatio", Placement.Text(ratio), "above 0, at most 1");
        if (p.MaxDistanceMm is { } distance && !(distance > 0 && double.IsFinite(distance)))
            throw new PlanException(Step, null, "maxDistanceMm", Placement.Text(distance), "a positive number");
        var byRatio = p.KeepRatio is { } share ? (int)Math.Round(mesh.TriangleCount * share) : 0;
        return Math.Max(p.TargetTriangles ?? 0, byRatio);
    }
}
