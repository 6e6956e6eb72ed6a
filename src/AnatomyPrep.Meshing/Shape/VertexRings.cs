using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>
/// The neighbours of every vertex, and which vertices are irregular: on a border, at an edge of more than two triangles,
/// where triangles are turned against each other, or used by no triangle.
/// </summary>
/// <remarks>
/// Shapes: Start int32[vertices + 1], Neighbours int32[3 · triangles]: the ends of the half-edges that leave v, in triangle
/// order. At a regular vertex that names each neighbour once. For irregular ones use <see cref="Irregular"/>.
/// Cost: counting sort, O(triangles); 12 bytes a triangle and 12 a vertex.
/// A vertex counts as regular when the multiset of its successors equals that of its predecessors and holds nothing
/// twice; the multisets are compared by the sum of 64-bit hashes, so two different ones pass with a chance of 2^-64.
/// </remarks>
internal sealed class VertexRings
{
    private const int Block = 1 << 14;

    private VertexRings(int[] start, int[] neighbours, bool[] isIrregular, int[] irregular)
    {
        Start = start;
        Neighbours = neighbours;
        IsIrregular = isIrregular;
        Irregular = irregular;
    }

    internal int[] Start { get; }

    internal int[] Neighbours { get; }

    internal bool[] IsIrregular { get; }

    /// <summary>Irregular vertices, ascending.</summary>
    internal int[] Irregular { get; }

    internal static VertexRings Build(Mesh mesh, RunContext run)
    {
        var triangles = mesh.TriangleArray;
        var vertices = mesh.VertexCount;
        var start = new int[vertices + 1];
        var balance = new ulong[vertices];
        Count(triangles, start, balance, run);
        for (var v = 0; v < vertices; v++)
            start[v + 1] += start[v];
        var neighbours = new int[triangles.Length];
        Fill(triangles, start, neighbours, run);
        var isIrregular = new bool[vertices];
        Partition.Ranges(run, vertices, Block, (_, from, to) =>
        {
            for (var v = from; v < to; v++)
                isIrregular[v] = balance[v] != 0 || HasDouble(neighbours.AsSpan(start[v]..start[v + 1]));
        });
        var irregular = new List<int>();
        for (var v = 0; v < vertices; v++)
            if (isIrregular[v])
                irregular.Add(v);
        return new(start, neighbours, isIrregular, [.. irregular]);
    }

    /// <summary>All triangles around each irregular vertex, told by how many of them use each edge.</summary>
    internal IrregularRings IrregularRings(Mesh mesh)
    {
        var rank = new Dictionary<int, int>(Irregular.Length);
        for (var i = 0; i < Irregular.Length; i++)
            rank[Irregular[i]] = i;
        var uses = new List<int>[Irregular.Length];
        for (var i = 0; i < uses.Length; i++)
            uses[i] = [];
        var triangles = Irregular.Length == 0 ? [] : mesh.Triangles;
        for (var h = 0; h < triangles.Length; h++)
        {
            if (!IsIrregular[triangles[h]])
                continue;
            var list = uses[rank[triangles[h]]];
            list.Add(triangles[EdgeTable.Next(h)]);
            list.Add(triangles[EdgeTable.Previous(h)]);
        }

        return new(Irregular, uses);
    }

    private static void Count(int[] triangles, int[] start, ulong[] balance, RunContext run)
    {
        for (var t = 0; t < triangles.Length; t += 3)
        {
            if ((t & 0x3FFFF) == 0)
                run.ThrowIfCancelled();
            int a = triangles[t], b = triangles[t + 1], c = triangles[t + 2];
            start[a + 1]++;
            start[b + 1]++;
            start[c + 1]++;
            ulong ha = Hash(a), hb = Hash(b), hc = Hash(c);
            balance[a] += hb - hc;
            balance[b] += hc - ha;
            balance[c] += ha - hb;
        }
    }

    private static void Fill(int[] triangles, int[] start, int[] neighbours, RunContext run)
    {
        // start[v] serves as the running end of v's list and is put back by one shift afterwards.
        for (var t = 0; t < triangles.Length; t += 3)
        {
            if ((t & 0x3FFFF) == 0)
                run.ThrowIfCancelled();
            int a = triangles[t], b = triangles[t + 1], c = triangles[t + 2];
            neighbours[start[a]++] = b;
            neighbours[start[b]++] = c;
            neighbours[start[c]++] = a;
        }

        for (var v = start.Length - 1; v > 0; v--)
            start[v] = start[v - 1];
        start[0] = 0;
    }

    // The finaliser of splitmix64 (Steele, Lea, Flood 2014): every input bit reaches every output bit.
    private static ulong Hash(int v)
    {
        var x = ((ulong)v + 1) * 0x9E3779B97F4A7C15;
        x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9;
        x = (x ^ (x >> 27)) * 0x94D049BB133111EB;
        return x ^ (x >> 31);
    }

    private static bool HasDouble(ReadOnlySpan<int> list)
    {
        if (list.Length == 0)
            return true;
        if (list.Length > 32)
        {
            var sorted = list.ToArray();
            Array.Sort(sorted);
            list = sorted;
            for (var i = 1; i < list.Length; i++)
                if (list[i] == list[i - 1])
                    return true;
            return false;
        }

        for (var i = 1; i < list.Length; i++)
            for (var j = 0; j < i; j++)
                if (list[i] == list[j])
                    return true;
        return false;
    }
}
