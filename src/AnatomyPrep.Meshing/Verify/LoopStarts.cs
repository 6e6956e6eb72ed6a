using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Counts the closed lines along which a surface is open, each by one of its edges. Their course: <see cref="Repair.BoundaryLoops"/>.</summary>
/// <remarks>
/// A border edge continues with the border edge at the other side of the fan of triangles at its end. Where two holes meet in a
/// vertex they so remain two loops, or one, as the surface itself runs. Where the fan is broken by turned or surplus triangles,
/// what ends there is joined at the vertex. O(border edges + triangles at their ends).
/// </remarks>
internal static class LoopStarts
{
    /// <summary>One border half-edge of each loop, the lowest, ascending.</summary>
    internal static List<int> FirstHalfEdges(int[] triangles, EdgeTable edges)
    {
        var opposite = edges.OppositeArray;
        var border = new List<int>();
        for (var h = 0; h < opposite.Length; h++)
            if (opposite[h] == EdgeTable.Boundary)
                border.Add(h);

        var parent = new int[border.Count];
        for (var i = 0; i < parent.Length; i++)
            parent[i] = i;
        var follows = new bool[parent.Length];
        var loose = new List<(int Vertex, int Edge)>();
        for (var i = 0; i < border.Count; i++)
        {
            var next = edges.AroundEnd(border[i]);
            var j = opposite[next] == EdgeTable.Boundary ? border.BinarySearch(next) : -1;
            if (j < 0)
            {
                loose.Add((triangles[EdgeTable.Next(border[i])], i));
                continue;
            }

            follows[j] = true;
            Join(parent, i, j);
        }

        for (var i = 0; i < border.Count; i++)
            if (!follows[i])
                loose.Add((triangles[border[i]], i));
        loose.Sort();
        for (var k = 1; k < loose.Count; k++)
            if (loose[k].Vertex == loose[k - 1].Vertex)
                Join(parent, loose[k].Edge, loose[k - 1].Edge);
        return [.. Enumerable.Range(0, parent.Length).Where(i => parent[i] == i).Select(i => border[i])];
    }

    private static void Join(int[] parent, int a, int b)
    {
        int x = Root(parent, a), y = Root(parent, b);
        if (x != y)
            parent[Math.Max(x, y)] = Math.Min(x, y);
    }

    private static int Root(int[] parent, int i)
    {
        while (parent[i] != i)
            i = parent[i] = parent[parent[i]];
        return i;
    }
}
