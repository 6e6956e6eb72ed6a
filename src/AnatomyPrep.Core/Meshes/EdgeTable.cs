using System.Buffers;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Meshes;

/// <summary>
/// Which half-edges lie opposite each other. Half-edge h = 3t + c runs from corner c to corner c + 1 of triangle t.
/// </summary>
/// <remarks>
/// Built by counting sort on the smaller vertex, then on the larger: O(triangles), same result on any machine and thread count.
/// Memory beyond the table: 4 bytes a half-edge.
/// Two half-edges are partners only when exactly two triangles use the edge and run along it in opposite directions.
/// </remarks>
public sealed class EdgeTable
{
    /// <summary>No other triangle uses the edge.</summary>
    public const int Boundary = -1;

    /// <summary>More than two triangles use the edge.</summary>
    public const int NonManifold = -2;

    /// <summary>Two triangles use the edge in the same direction: one of them is turned over.</summary>
    public const int Inconsistent = -3;

    /// <summary>The half-edge joins a vertex to itself (a degenerate triangle).</summary>
    public const int Degenerate = -4;

    private readonly int[] _opposite;

    private EdgeTable(int[] opposite, int edges, int boundary, int nonManifold, int inconsistent)
    {
        _opposite = opposite;
        EdgeCount = edges;
        BoundaryEdges = boundary;
        NonManifoldEdges = nonManifold;
        InconsistentEdges = inconsistent;
    }

    /// <summary>Partner of each half-edge, or one of the negative marks above.</summary>
    public ReadOnlySpan<int> Opposite => _opposite;

    public int[] OppositeArray => _opposite;

    /// <summary>Undirected edges between different vertices.</summary>
    public int EdgeCount { get; }

    public int BoundaryEdges { get; }

    public int NonManifoldEdges { get; }

    public int InconsistentEdges { get; }

    public static EdgeTable Build(Mesh mesh, RunContext? run = null) => Build(mesh.TriangleArray, mesh.VertexCount, run);

    /// <param name="triangles">Three corners each, 0 … vertexCount-1.</param>
    public static EdgeTable Build(int[] triangles, int vertexCount, RunContext? run = null)
    {
        run ??= RunContext.Default;
        var opposite = GC.AllocateUninitializedArray<int>(triangles.Length);
        using var sorted = HalfEdgeBuckets.BySmallerEnd(triangles, vertexCount, run);
        if (sorted.Total < triangles.Length)
            MarkDegenerate(triangles, opposite);
        var counts = new Counts[sorted.Count];
        Partition.For(run, sorted.Count, bucket => counts[bucket] = PairBucket(sorted, bucket, triangles, opposite));
        Counts all = default;
        foreach (var count in counts)
            all = all.Plus(count);
        return new(opposite, all.Edges, all.Boundary, all.NonManifold, all.Inconsistent);
    }

    /// <summary>
    /// The half-edge that leaves the end of a border half-edge within the same fan of triangles and has no partner, found by turning
    /// about that vertex: the next of the border where <see cref="Opposite"/> of it is <see cref="Boundary"/>.
    /// </summary>
    public int AroundEnd(int border)
    {
        var h = Next(border);
        while (_opposite[h] >= 0)
            h = Next(_opposite[h]);
        return h;
    }

    /// <summary>Next half-edge of the same triangle.</summary>
    public static int Next(int h) => h % 3 == 2 ? h - 2 : h + 1;

    /// <summary>Previous half-edge of the same triangle.</summary>
    public static int Previous(int h) => h % 3 == 0 ? h + 2 : h - 1;

    private static void MarkDegenerate(int[] triangles, int[] opposite)
    {
        for (var h = 0; h < triangles.Length; h++)
            if (triangles[h] == triangles[Next(h)])
                opposite[h] = Degenerate;
    }

    private static Counts PairBucket(HalfEdgeBuckets sorted, int bucket, int[] triangles, int[] opposite)
    {
        var (first, end) = sorted.VerticesOf(bucket);
        var keys = ArrayPool<long>.Shared.Rent(sorted.Of(bucket).Length);
        var fanStart = ArrayPool<int>.Shared.Rent(end - first + 1);
        SortBySmallerEnd(sorted.Of(bucket), first, end - first, triangles, keys, fanStart);
        Counts counts = default;
        for (var v = 0; v < end - first; v++)
        {
            var fan = keys.AsSpan(fanStart[v]..fanStart[v + 1]);
            SortFan(fan);
            for (var i = 0; i < fan.Length;)
            {
                var j = i + 1;
                while (j < fan.Length && fan[j] >> 32 == fan[i] >> 32)
                    j++;
                Pair(fan[i..j], triangles, opposite, ref counts);
                i = j;
            }
        }

        ArrayPool<long>.Shared.Return(keys);
        ArrayPool<int>.Shared.Return(fanStart);
        return counts;
    }

    /// <summary>
    /// The fan of vertex first + v becomes keys[fanStart[v] … fanStart[v + 1]]. A key has the larger end in its upper half and the
    /// half-edge in its lower one, so that sorting keys sorts by both.
    /// </summary>
    private static void SortBySmallerEnd(ReadOnlySpan<int> halfEdges, int first, int vertices, int[] triangles, long[] keys, int[] fanStart)
    {
        Array.Clear(fanStart, 0, vertices + 1);
        foreach (var h in halfEdges)
            fanStart[Math.Min(triangles[h], triangles[Next(h)]) - first + 1]++;
        for (var v = 1; v <= vertices; v++)
            fanStart[v] += fanStart[v - 1];
        // Each start runs to its end while placing, and is put back by one shift.
        foreach (var h in halfEdges)
        {
            int from = triangles[h], to = triangles[Next(h)];
            keys[fanStart[Math.Min(from, to) - first]++] = ((long)Math.Max(from, to) << 32) | (uint)h;
        }

        for (var v = vertices; v > 0; v--)
            fanStart[v] = fanStart[v - 1];
        fanStart[0] = 0;
    }

    private static void Pair(ReadOnlySpan<long> users, int[] triangles, int[] opposite, ref Counts counts)
    {
        counts.Edges++;
        if (users.Length == 1)
        {
            opposite[(int)users[0]] = Boundary;
            counts.Boundary++;
        }
        else if (users.Length > 2)
        {
            foreach (var key in users)
                opposite[(int)key] = NonManifold;
            counts.NonManifold++;
        }
        else
        {
            int h = (int)users[0], o = (int)users[1];
            var turned = triangles[h] == triangles[o];
            (opposite[h], opposite[o]) = turned ? (Inconsistent, Inconsistent) : (o, h);
            counts.Inconsistent += turned ? 1 : 0;
        }
    }

    // Fans are short (valence 6 on average), so insertion sort is the fastest.
    private static void SortFan(Span<long> fan)
    {
        if (fan.Length > 64)
        {
            fan.Sort();
            return;
        }

        for (var i = 1; i < fan.Length; i++)
        {
            var key = fan[i];
            var j = i - 1;
            while (j >= 0 && fan[j] > key)
            {
                fan[j + 1] = fan[j];
                j--;
            }

            fan[j + 1] = key;
        }
    }

    private struct Counts
    {
        public int Edges;
        public int Boundary;
        public int NonManifold;
        public int Inconsistent;

        public readonly Counts Plus(in Counts other) => new()
        {
            Edges = Edges + other.Edges,
            Boundary = Boundary + other.Boundary,
            NonManifold = NonManifold + other.NonManifold,
            Inconsistent = Inconsistent + other.Inconsistent,
        };
    }
}
