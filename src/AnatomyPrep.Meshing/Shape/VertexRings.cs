using System.Buffers;
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
/// Cost: counting sort, O(triangles); 24 bytes a triangle while building, 12 after it, and 5 a vertex.
/// A vertex counts as regular when the multiset of its successors equals that of its predecessors and holds nothing
/// twice; the multisets are compared by the sum of 64-bit hashes, so two different ones pass with a chance of 2^-64.
/// </remarks>
internal sealed class VertexRings
{
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
        var neighbours = GC.AllocateUninitializedArray<int>(triangles.Length);
        var isIrregular = new bool[vertices];
        using var leaving = HalfEdgeBuckets.ByStart(triangles, vertices, run);
        Partition.For(run, leaving.Count, bucket => FillBucket(leaving, bucket, triangles, start, neighbours, isIrregular));
        start[vertices] = triangles.Length;
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

    /// <summary>Lists the successors of the vertices of one bucket, in triangle order, and marks its irregular ones.</summary>
    private static void FillBucket(HalfEdgeBuckets leaving, int bucket, int[] triangles, int[] start, int[] neighbours, bool[] isIrregular)
    {
        var (from, to) = leaving.VerticesOf(bucket);
        var balance = ArrayPool<ulong>.Shared.Rent(to - from);
        var next = ArrayPool<int>.Shared.Rent(to - from);
        Array.Clear(balance, 0, to - from);
        Array.Clear(next, 0, to - from);
        foreach (var h in leaving.Of(bucket))
            next[triangles[h] - from]++;
        var at = leaving.Start(bucket);
        for (var v = from; v < to; v++)
        {
            start[v] = at;
            (next[v - from], at) = (at, at + next[v - from]);
        }

        foreach (var h in leaving.Of(bucket))
        {
            var v = triangles[h] - from;
            var successor = triangles[EdgeTable.Next(h)];
            neighbours[next[v]++] = successor;
            balance[v] += Hash(successor) - Hash(triangles[EdgeTable.Previous(h)]);
        }

        for (var v = from; v < to; v++)
            isIrregular[v] = balance[v - from] != 0 || HasDouble(neighbours.AsSpan(start[v]..next[v - from]));
        ArrayPool<ulong>.Shared.Return(balance);
        ArrayPool<int>.Shared.Return(next);
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
