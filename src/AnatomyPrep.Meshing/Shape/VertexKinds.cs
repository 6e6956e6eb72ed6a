using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Tells vertices and edges apart by how the triangles around them hang together.</summary>
internal static class VertexKinds
{
    private const int Block = 1 << 14;

    /// <summary>
    /// <see cref="EdgeCollapser.Free"/> where the triangles form one closed fan, <see cref="EdgeCollapser.Border"/> where they
    /// form one open fan, <see cref="EdgeCollapser.Pinned"/> anywhere else (no triangles, several fans, edges of many triangles).
    /// </summary>
    internal static byte[] Find(int[] corners, VertexTriangles at, RunContext run)
    {
        var kinds = new byte[at.VertexCount];
        Partition.Ranges(run, kinds.Length, Block, (_, from, to) =>
        {
            Span<int> next = stackalloc int[64];
            Span<int> last = stackalloc int[64];
            for (var v = from; v < to; v++)
                kinds[v] = Kind(corners, at.CornersAt(v), v, next, last);
        });
        return kinds;
    }

    /// <summary>Per triangle, bit c where no other triangle, or one of another origin, lies at the edge from corner c.</summary>
    internal static byte[] Seams(Mesh mesh, VertexTriangles at, bool borders, bool rims, RunContext run)
    {
        var (corners, origins) = (mesh.TriangleArray, mesh.OriginArray);
        var seams = new byte[mesh.TriangleCount];
        if (!borders && !rims)
            return seams;
        Partition.Ranges(run, seams.Length, Block, (_, from, to) =>
        {
            for (var h = 3 * from; h < 3 * to; h++)
            {
                var (a, b) = (corners[h], corners[EdgeTable.Next(h)]);
                var (alone, otherOrigin) = (true, false);
                foreach (var corner in at.CornersAt(a))
                {
                    var t = corner / 3;
                    if (t == h / 3 || (corners[3 * t] != b && corners[(3 * t) + 1] != b && corners[(3 * t) + 2] != b))
                        continue;
                    alone = false;
                    otherOrigin |= origins[t] != origins[h / 3];
                }

                if ((borders && alone) || (rims && otherOrigin))
                    seams[h / 3] |= (byte)(1 << (h % 3));
            }
        });
        return seams;
    }

    private static byte Kind(int[] corners, ReadOnlySpan<int> around, int v, Span<int> next, Span<int> last)
    {
        if (around.IsEmpty || around.Length > next.Length)
            return EdgeCollapser.Pinned;
        for (var i = 0; i < around.Length; i++)
        {
            (next[i], last[i]) = (corners[EdgeTable.Next(around[i])], corners[EdgeTable.Previous(around[i])]);
            // A neighbour that follows twice, or precedes twice, lies at an edge of many triangles or of turned ones.
            if (next[..i].Contains(next[i]) || last[..i].Contains(last[i]) || next[i] == v || last[i] == v || next[i] == last[i])
                return EdgeCollapser.Pinned;
        }

        // Walk the fan from its open end, or from anywhere when it is closed.
        var n = next[..around.Length];
        var l = last[..around.Length];
        var (start, open) = (0, false);
        for (var i = 0; i < n.Length && !open; i++)
            if (!l.Contains(n[i]))
                (start, open) = (i, true);
        var steps = 1;
        for (var i = n.IndexOf(l[start]); i >= 0 && i != start; i = n.IndexOf(l[i]))
            steps++;
        return steps != n.Length ? EdgeCollapser.Pinned : open ? EdgeCollapser.Border : EdgeCollapser.Free;
    }
}
