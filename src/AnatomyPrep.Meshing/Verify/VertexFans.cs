using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Vertices whose triangles do not form one fan.</summary>
/// <remarks>
/// Around a good vertex the edges opposite it form one closed ring, or at the border one open chain. The walk goes from
/// triangle to triangle over <see cref="EdgeTable"/>; when it sees all triangles of the vertex there is one fan. Where it meets
/// an edge with turned or surplus triangles it cannot go on, and the ring is checked as a graph: no point of it used more than
/// twice, all connected. So a turned triangle alone makes no vertex bad, a surplus triangle makes both ends of its edge bad.
/// Cost: O(triangles), 8 bytes a vertex. Vertices in pieces of fixed size, results in vertex order.
/// </remarks>
internal static class VertexFans
{
    private const int PieceVertices = 1 << 14;

    /// <param name="triangles">Without repeated corners.</param>
    internal static List<int> NonManifold(int[] triangles, int vertexCount, EdgeTable edges, RunContext run)
    {
        var count = new int[vertexCount];
        var first = new int[vertexCount];
        for (var h = triangles.Length - 1; h >= 0; h--)
        {
            count[triangles[h]]++;
            first[triangles[h]] = h;
        }

        var opposite = edges.OppositeArray;
        var pieces = Partition.Pieces(vertexCount, PieceVertices);
        var bad = new List<int>[pieces];
        var unclear = new List<int>[pieces];
        Partition.Ranges(run, vertexCount, PieceVertices, (piece, from, to) =>
        {
            List<int> mineBad = [], mineUnclear = [];
            for (var v = from; v < to; v++)
            {
                if (count[v] == 0)
                    continue;
                var seen = Walk(opposite, first[v], out var blocked);
                if (blocked)
                    mineUnclear.Add(v);
                else if (seen < count[v])
                    mineBad.Add(v);
            }

            (bad[piece], unclear[piece]) = (mineBad, mineUnclear);
        });
        var all = bad.SelectMany(b => b).ToList();
        all.AddRange(BadRings(triangles, [.. unclear.SelectMany(u => u)], vertexCount));
        all.Sort();
        return all;
    }

    /// <summary>Triangles seen going around the start of a half-edge both ways; blocked by an edge that has no clear partner.</summary>
    private static int Walk(int[] opposite, int start, out bool blocked)
    {
        blocked = false;
        var seen = 0;
        var h = start;
        do
        {
            seen++;
            h = opposite[EdgeTable.Previous(h)];
        }
        while (h >= 0 && h != start);
        if (h == start)
            return seen;
        blocked |= h != EdgeTable.Boundary;
        for (h = opposite[start]; h >= 0; h = opposite[EdgeTable.Next(h)])
            seen++;
        blocked |= h != EdgeTable.Boundary;
        return seen;
    }

    private static IEnumerable<int> BadRings(int[] triangles, int[] vertices, int vertexCount)
    {
        if (vertices.Length == 0)
            return [];
        var ringOf = new int[vertexCount];
        for (var i = 0; i < vertices.Length; i++)
            ringOf[vertices[i]] = i + 1;
        var rings = new List<(int From, int To)>[vertices.Length];
        for (var h = 0; h < triangles.Length; h++)
        {
            var ring = ringOf[triangles[h]] - 1;
            if (ring >= 0)
                (rings[ring] ??= []).Add((triangles[EdgeTable.Next(h)], triangles[EdgeTable.Previous(h)]));
        }

        return vertices.Where((_, i) => !IsOneChain(rings[i]));
    }

    /// <summary>Whether edges form one ring or one open chain: each end used at most twice, and everything connected.</summary>
    private static bool IsOneChain(List<(int From, int To)> ring)
    {
        var ends = new int[2 * ring.Count];
        for (var i = 0; i < ring.Count; i++)
            (ends[2 * i], ends[(2 * i) + 1]) = (ring[i].From, ring[i].To);
        Array.Sort(ends);
        for (var i = 2; i < ends.Length; i++)
            if (ends[i] == ends[i - 2])
                return false;

        // Grow from the first edge until nothing more is reached.
        var reached = new HashSet<int> { ring[0].From, ring[0].To };
        var left = ring.Skip(1).ToList();
        while (left.RemoveAll(e => (reached.Contains(e.From) || reached.Contains(e.To)) && (reached.Add(e.From) | reached.Add(e.To) | true)) > 0)
        {
        }

        return left.Count == 0;
    }
}
