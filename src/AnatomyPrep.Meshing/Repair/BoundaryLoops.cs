using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Finds and measures the rims of an open surface.</summary>
/// <remarks>
/// From a border half-edge the walk turns about its end vertex through the triangles that hang together there, so it
/// never jumps from one sheet to another that only touches in a vertex. Where a loop then meets a vertex a second time
/// (two holes that touch) it is cut there, so every loop is simple.
/// Outer border: an open sheet has one, a body with holes has none. In each piece the loop with the largest flat area is
/// taken for it when its diameter is at least half the diagonal of the piece's bounds (a disc: 1, a half sphere: 2/3;
/// a ball with a hole of 60 degrees half angle: 1/2). A short open tube counts as a sheet by this rule: name its loops
/// instead.
/// O(triangles + border); peak: the edge table, 4 bytes a half-edge.
/// </remarks>
public static class BoundaryLoops
{
    private const int ExactDiameterLimit = 2048;
    private const double SheetDiameterShare = 0.5;

    public static IReadOnlyList<BoundaryLoop> Find(Mesh mesh, RunContext? run = null)
    {
        run?.ThrowIfCancelled();
        return Find(mesh, EdgeTable.Build(mesh));
    }

    internal static IReadOnlyList<BoundaryLoop> Find(Mesh mesh, EdgeTable edges)
    {
        if (edges.BoundaryEdges == 0)
            return [];
        var chains = FindSimpleChains(mesh, edges);
        var pieces = Pieces.Label(mesh.Triangles, mesh.VertexCount, out var pieceCount);
        var loops = new BoundaryLoop[chains.Count];
        for (var id = 0; id < loops.Length; id++)
            loops[id] = Measure(mesh, id, chains[id].HalfEdges, chains[id].Closed, pieces[chains[id].HalfEdges[0] / 3]);
        MarkOuterBorders(mesh, loops, pieces, pieceCount);
        return loops;
    }

    private static List<(int[] HalfEdges, bool Closed)> FindSimpleChains(Mesh mesh, EdgeTable edges)
    {
        var border = new List<int>();
        for (var h = 0; h < edges.Opposite.Length; h++)
            if (edges.Opposite[h] == EdgeTable.Boundary)
                border.Add(h);
        var next = FindSuccessors(mesh, edges, border);
        var chains = new List<(int[], bool)>();
        var used = new HashSet<int>();
        // Chains that break off start where nothing leads to; what is left after them are cycles.
        var hasPrevious = next.Values.ToHashSet();
        foreach (var start in border.Where(h => !hasPrevious.Contains(h)).Concat(border))
            if (!used.Contains(start))
                Walk(mesh, next, start, used, chains);
        chains.Sort((a, b) => a.Item1[0].CompareTo(b.Item1[0]));
        return chains;
    }

    private static Dictionary<int, int> FindSuccessors(Mesh mesh, EdgeTable edges, List<int> border)
    {
        var next = new Dictionary<int, int>(border.Count);
        var claimed = new HashSet<int>();
        var broken = new List<int>();
        foreach (var h in border)
        {
            var g = edges.AroundEnd(h);
            if (edges.Opposite[g] == EdgeTable.Boundary)
            {
                next[h] = g;
                claimed.Add(g);
            }
            else
            {
                broken.Add(h);
            }
        }

        if (broken.Count == 0)
            return next;
        var free = border.Where(h => !claimed.Contains(h)).ToLookup(h => mesh.Triangles[h]);
        foreach (var h in broken)
        {
            foreach (var g in free[mesh.Triangles[EdgeTable.Next(h)]])
            {
                if (!claimed.Add(g))
                    continue;
                next[h] = g;
                break;
            }
        }

        return next;
    }

    private static void Walk(Mesh mesh, Dictionary<int, int> next, int start, HashSet<int> used, List<(int[], bool)> chains)
    {
        var stack = new List<int>();
        var position = new Dictionary<int, int>();
        var h = start;
        do
        {
            used.Add(h);
            position[mesh.Triangles[h]] = stack.Count;
            stack.Add(h);
            var end = mesh.Triangles[EdgeTable.Next(h)];
            if (position.TryGetValue(end, out var from))
            {
                chains.Add((StartingAtSmallest(stack[from..]), true));
                foreach (var gone in stack[from..])
                    position.Remove(mesh.Triangles[gone]);
                stack.RemoveRange(from, stack.Count - from);
            }
        }
        while (next.TryGetValue(h, out h) && !used.Contains(h));

        if (stack.Count > 0)
            chains.Add(([.. stack], false));
    }

    private static int[] StartingAtSmallest(List<int> loop)
    {
        var first = loop.IndexOf(loop.Min());
        return [.. loop[first..], .. loop[..first]];
    }

    private static BoundaryLoop Measure(Mesh mesh, int id, int[] halfEdges, bool closed, int piece)
    {
        var vertices = Array.ConvertAll(halfEdges, h => mesh.Triangles[h]);
        var points = Array.ConvertAll(vertices, mesh.Local);
        var about = points[0];
        double length = 0;
        Vec3 center = default, area = default;
        for (var i = 0; i < points.Length; i++)
        {
            var (p, q) = (points[i], mesh.Local(mesh.Triangles[EdgeTable.Next(halfEdges[i])]));
            var step = Vec3.Distance(p, q);
            length += step;
            center += (p + q) * (step / 2);
            area += Vec3.Cross(p - about, q - about) * 0.5;
        }

        center = length > 0 ? center / length : about;
        return new(id, halfEdges, vertices, closed, length, area.Length, Diameter(points), center + mesh.OriginMm, false, piece);
    }

    private static double Diameter(Vec3[] points)
    {
        double best = 0;
        if (points.Length <= ExactDiameterLimit)
        {
            for (var i = 0; i < points.Length; i++)
                for (var j = i + 1; j < points.Length; j++)
                    best = Math.Max(best, (points[i] - points[j]).LengthSquared);
            return Math.Sqrt(best);
        }

        for (var (from, round) = (0, 0); round < 8; round++)
        {
            var far = from;
            foreach (var i in Enumerable.Range(0, points.Length))
                if ((points[i] - points[from]).LengthSquared > (points[far] - points[from]).LengthSquared)
                    far = i;
            best = Math.Max(best, (points[far] - points[from]).LengthSquared);
            from = far;
        }

        return Math.Sqrt(best);
    }

    private static void MarkOuterBorders(Mesh mesh, BoundaryLoop[] loops, int[] pieces, int pieceCount)
    {
        var largest = new int[pieceCount];
        Array.Fill(largest, -1);
        foreach (var loop in loops)
        {
            ref var best = ref largest[loop.Piece];
            if (best < 0 || loop.FlatAreaMm2 > loops[best].FlatAreaMm2)
                best = loop.Id;
        }

        // Each vertex once: a triangle's corners are six times as many.
        var pieceOf = new int[mesh.VertexCount];
        Array.Fill(pieceOf, -1);
        for (var h = 0; h < mesh.Triangles.Length; h++)
            pieceOf[mesh.Triangles[h]] = pieces[h / 3];
        var bounds = new Box3[pieceCount];
        Array.Fill(bounds, Box3.Empty);
        for (var v = 0; v < pieceOf.Length; v++)
        {
            if (pieceOf[v] < 0)
                continue;
            ref var box = ref bounds[pieceOf[v]];
            box = box.Including(mesh.Local(v));
        }

        foreach (var id in largest)
            if (id >= 0 && loops[id].DiameterMm >= SheetDiameterShare * bounds[loops[id].Piece].Diagonal)
                loops[id] = loops[id] with { IsOuterBorder = true };
    }
}
