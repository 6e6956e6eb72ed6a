using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Finds the parts of a surface that are thin and hang on the rest along one stretch.</summary>
/// <remarks>See <see cref="RemoveTags"/>. Rings are counted over shared vertices. O(rings × triangles).</remarks>
internal static class Peninsulas
{
    /// <returns>One flag per triangle.</returns>
    public static bool[] Find(Mesh mesh, int rings, RunContext run)
    {
        var thin = new bool[mesh.TriangleCount];
        var edges = EdgeTable.Build(mesh);
        if (rings == 0 || edges.BoundaryEdges == 0)
            return thin;
        var core = Erode(mesh, edges, rings, run);
        var reached = Dilate(mesh, core, rings + 1, run);
        var neighbours = TriangleNeighbours.Build(mesh.Triangles, edges);
        var seen = new bool[mesh.TriangleCount];
        for (var t = 0; t < thin.Length; t++)
            if (!reached[t] && !seen[t])
                Judge(mesh, neighbours, t, reached, seen, thin);
        return thin;
    }

    private static bool[] Erode(Mesh mesh, EdgeTable edges, int rings, RunContext run)
    {
        var core = new bool[mesh.TriangleCount];
        Array.Fill(core, true);
        var outside = new bool[mesh.VertexCount];
        for (var h = 0; h < edges.Opposite.Length; h++)
            if (edges.Opposite[h] == EdgeTable.Boundary)
                outside[mesh.Triangles[h]] = outside[mesh.Triangles[EdgeTable.Next(h)]] = true;
        for (var ring = 0; ring < rings; ring++)
        {
            run.ThrowIfCancelled();
            var gone = new List<int>();
            for (var t = 0; t < core.Length; t++)
                if (core[t] && Touches(mesh, t, outside))
                    gone.Add(t);
            foreach (var t in gone)
            {
                core[t] = false;
                Mark(mesh, t, outside);
            }
        }

        return core;
    }

    private static bool[] Dilate(Mesh mesh, bool[] core, int rings, RunContext run)
    {
        var reached = (bool[])core.Clone();
        var inside = new bool[mesh.VertexCount];
        for (var t = 0; t < core.Length; t++)
            if (core[t])
                Mark(mesh, t, inside);
        for (var ring = 0; ring < rings; ring++)
        {
            run.ThrowIfCancelled();
            var come = new List<int>();
            for (var t = 0; t < reached.Length; t++)
                if (!reached[t] && Touches(mesh, t, inside))
                    come.Add(t);
            foreach (var t in come)
            {
                reached[t] = true;
                Mark(mesh, t, inside);
            }
        }

        return reached;
    }

    // Gathers the thin part around a triangle; it goes when the edges it shares with the rest form one stretch.
    private static void Judge(Mesh mesh, TriangleNeighbours neighbours, int start, bool[] reached, bool[] seen, bool[] thin)
    {
        var part = new List<int> { start };
        var contact = new List<(int U, int V)>();
        seen[start] = true;
        for (var i = 0; i < part.Count; i++)
        {
            for (var h = 3 * part[i]; h < (3 * part[i]) + 3; h++)
            {
                var next = neighbours.Across(h);
                if (next < 0)
                    continue;
                if (reached[next])
                {
                    contact.Add((mesh.Triangles[h], mesh.Triangles[EdgeTable.Next(h)]));
                }
                else if (!seen[next])
                {
                    seen[next] = true;
                    part.Add(next);
                }
            }
        }

        if (contact.Count == 0 || Stretches(contact) > 1)
            return;
        foreach (var t in part)
            thin[t] = true;
    }

    private static int Stretches(List<(int U, int V)> contact)
    {
        var triangles = new List<int>();
        var number = new Dictionary<int, int>();
        foreach (var (u, v) in contact)
        {
            int a = Number(u), b = Number(v);
            triangles.AddRange([a, b, b]);
        }

        Pieces.Label(triangles.ToArray(), number.Count, out var count);
        return count;

        int Number(int v)
        {
            if (!number.TryGetValue(v, out var n))
                number[v] = n = number.Count;
            return n;
        }
    }

    private static bool Touches(Mesh mesh, int t, bool[] marked)
    {
        var (a, b, c) = mesh.Triangle(t);
        return marked[a] || marked[b] || marked[c];
    }

    private static void Mark(Mesh mesh, int t, bool[] marked)
    {
        var (a, b, c) = mesh.Triangle(t);
        marked[a] = marked[b] = marked[c] = true;
    }
}
