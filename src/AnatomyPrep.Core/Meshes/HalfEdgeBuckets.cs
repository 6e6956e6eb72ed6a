using System.Numerics;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Meshes;

/// <summary>Half-edges sorted into buckets of neighbouring vertices, ascending within a bucket.</summary>
/// <remarks>
/// Counting sort in three passes (count, prefix sum, place), pieces of triangles side by side; pieces and buckets depend
/// on sizes only and each place is written by one piece, so every thread count gives the same order. 4 bytes a half-edge, given
///   back at once: as garbage they would still lie there when the next stage has its peak.
/// </remarks>
public sealed unsafe class HalfEdgeBuckets : IDisposable
{
    private const int BucketBits = 12;
    private const int MostBuckets = 1024;
    private const int SmallestPiece = 1 << 15;
    private const int MostPieces = 64;

    private readonly int _bits;
    private readonly int _vertices;
    private readonly NativeBuffer<int> _halfEdges;
    private readonly int[] _start;

    private HalfEdgeBuckets(int bits, int vertices, NativeBuffer<int> halfEdges, int[] start) =>
        (_bits, _vertices, _halfEdges, _start) = (bits, vertices, halfEdges, start);

    private interface IKey
    {
        /// <summary>The vertex to sort a half-edge from … to by; -1 leaves it out.</summary>
        static abstract int Of(int from, int to);
    }

    public int Count => _start.Length - 1;

    /// <summary>Half-edges in all buckets.</summary>
    public int Total => (int)_halfEdges.Length;

    /// <summary>Half-edges in the buckets before this one.</summary>
    public int Start(int bucket) => _start[bucket];

    /// <summary>Half-edges 3t + c of the bucket, ascending.</summary>
    public ReadOnlySpan<int> Of(int bucket) => _halfEdges.Span(_start[bucket], _start[bucket + 1] - _start[bucket]);

    /// <summary>The vertices from … to-1 of a bucket.</summary>
    public (int From, int To) VerticesOf(int bucket) => (bucket << _bits, Math.Min(_vertices, (bucket + 1) << _bits));

    /// <summary>By the vertex they leave.</summary>
    public static HalfEdgeBuckets ByStart(int[] triangles, int vertices, RunContext run) => Sort<StartKey>(triangles, vertices, run);

    /// <summary>By the smaller of their ends; those that join a vertex to itself are left out.</summary>
    public static HalfEdgeBuckets BySmallerEnd(int[] triangles, int vertices, RunContext run) => Sort<SmallerEndKey>(triangles, vertices, run);

    public void Dispose() => _halfEdges.Dispose();

    private static HalfEdgeBuckets Sort<TKey>(int[] triangles, int vertices, RunContext run)
        where TKey : struct, IKey
    {
        var bits = Math.Min(BucketBits, BitOperations.Log2((uint)vertices | 1) + 1);
        while (((long)vertices >> bits) >= MostBuckets)
            bits++;
        var buckets = Partition.Pieces(vertices, 1 << bits);
        var count = triangles.Length / 3;
        var piece = Math.Max(SmallestPiece, (count / MostPieces) + 1);
        var place = new int[Partition.Pieces(count, piece)][];
        Partition.Ranges(run, count, piece, (p, from, to) => place[p] = CountPiece<TKey>(triangles, from, to, bits, buckets));
        var start = new int[buckets + 1];
        for (var b = 0; b < buckets; b++)
        {
            var at = start[b];
            foreach (var counts in place)
                (counts[b], at) = (at, at + counts[b]);
            start[b + 1] = at;
        }

        var halfEdges = new NativeBuffer<int>(start[buckets]);
        Partition.Ranges(run, count, piece, (p, from, to) => PlacePiece<TKey>(triangles, from, to, bits, place[p], halfEdges.Pointer));
        return new(bits, vertices, halfEdges, start);
    }

    private static int[] CountPiece<TKey>(int[] triangles, int from, int to, int bits, int buckets)
        where TKey : struct, IKey
    {
        var counts = new int[buckets];
        for (var h = 3 * from; h < 3 * to; h += 3)
        {
            int a = triangles[h], b = triangles[h + 1], c = triangles[h + 2];
            Count(TKey.Of(a, b));
            Count(TKey.Of(b, c));
            Count(TKey.Of(c, a));
        }

        return counts;

        void Count(int v)
        {
            if (v >= 0)
                counts[v >> bits]++;
        }
    }

    private static void PlacePiece<TKey>(int[] triangles, int from, int to, int bits, int[] place, int* halfEdges)
        where TKey : struct, IKey
    {
        for (var h = 3 * from; h < 3 * to; h += 3)
        {
            int a = triangles[h], b = triangles[h + 1], c = triangles[h + 2];
            Place(TKey.Of(a, b), h);
            Place(TKey.Of(b, c), h + 1);
            Place(TKey.Of(c, a), h + 2);
        }

        void Place(int v, int h)
        {
            if (v >= 0)
                halfEdges[place[v >> bits]++] = h;
        }
    }

    private readonly struct StartKey : IKey
    {
        public static int Of(int from, int to) => from;
    }

    private readonly struct SmallerEndKey : IKey
    {
        public static int Of(int from, int to) => from == to ? -1 : Math.Min(from, to);
    }
}
