using System.Buffers;
using System.Numerics;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Numbers points so that equal ones share a number, in the order in which each position first appears.</summary>
/// <remarks>
/// Method: points are dealt into partitions by the top bits of their hash (count, prefix sum, scatter), so that equal ones
///   meet; in each partition, in the order of the input, an open-addressing table finds the first equal point; the first
///   ones are then numbered by prefix sum. No step depends on the hash or on the number of threads.
/// Shapes: n by 3 float32 in; n int32 out. Cost: O(n); extra memory 20 bytes a point, so that a partition reads nothing
///   from outside the cache.
/// </remarks>
internal static class EqualPoints
{
    private const int PieceSize = 1 << 15;
    private const int PartitionSize = 1 << 13;

    /// <summary>Number of each point, and the distinct positions in that order.</summary>
    internal static (int[] Number, float[] Distinct) Find(float[] points, RunContext run)
    {
        var first = FirstEqual(points, run);
        var count = first.Length;
        var pieces = Partition.Pieces(count, PieceSize);
        var start = new int[pieces + 1];
        Partition.Ranges(run, count, PieceSize, (piece, from, to) =>
        {
            var distinct = 0;
            for (var i = from; i < to; i++)
                distinct += first[i] == i ? 1 : 0;
            start[piece + 1] = distinct;
        });
        for (var piece = 0; piece < pieces; piece++)
            start[piece + 1] += start[piece];
        var number = GC.AllocateUninitializedArray<int>(count);
        var positions = GC.AllocateUninitializedArray<float>(3 * start[pieces]);
        Partition.Ranges(run, count, PieceSize, (piece, from, to) =>
        {
            var next = start[piece];
            for (var i = from; i < to; i++)
            {
                if (first[i] != i)
                    continue;
                points.AsSpan(3 * i, 3).CopyTo(positions.AsSpan(3 * next, 3));
                number[i] = next++;
            }
        });
        Partition.Ranges(run, count, PieceSize, (_, from, to) =>
        {
            for (var i = from; i < to; i++)
                if (first[i] != i)
                    number[i] = number[first[i]];
        });
        return (number, positions);
    }

    private static int[] FirstEqual(float[] points, RunContext run)
    {
        var count = points.Length / 3;
        var bits = Math.Clamp(BitOperations.Log2((uint)(count / PartitionSize) + 1), 0, 12);
        var (dealt, start) = Deal(points, count, bits, run);
        var first = GC.AllocateUninitializedArray<int>(count);
        Partition.For(run, start.Length - 1, p => FindFirst(dealt.AsSpan(start[p], start[p + 1] - start[p]), bits, first));
        return first;
    }

    // Points grouped by partition, in the order of the input within each.
    private static (Entry[] Dealt, int[] Start) Deal(float[] points, int count, int bits, RunContext run)
    {
        var partitions = 1 << bits;
        var pieces = Partition.Pieces(count, PieceSize);
        var at = new int[pieces * partitions];
        Partition.Ranges(run, count, PieceSize, (piece, from, to) =>
        {
            var counts = at.AsSpan(piece * partitions, partitions);
            for (var i = from; i < to; i++)
                counts[Entry.Of(points, i).Partition(bits)]++;
        });
        var start = new int[partitions + 1];
        var sum = 0;
        for (var p = 0; p < partitions; p++)
        {
            start[p] = sum;
            for (var piece = 0; piece < pieces; piece++)
            {
                var here = at[(piece * partitions) + p];
                at[(piece * partitions) + p] = sum;
                sum += here;
            }
        }

        start[partitions] = sum;
        var dealt = GC.AllocateUninitializedArray<Entry>(count);
        Partition.Ranges(run, count, PieceSize, (piece, from, to) =>
        {
            var next = at.AsSpan(piece * partitions, partitions);
            for (var i = from; i < to; i++)
            {
                var entry = Entry.Of(points, i);
                dealt[next[entry.Partition(bits)]++] = entry;
            }
        });
        return (dealt, start);
    }

    private static void FindFirst(ReadOnlySpan<Entry> members, int bits, int[] first)
    {
        var tableBits = BitOperations.Log2((uint)Math.Max(8, members.Length)) + 2;
        var table = ArrayPool<int>.Shared.Rent(1 << tableBits);
        try
        {
            var slots = table.AsSpan(0, 1 << tableBits);
            slots.Fill(-1);
            for (var m = 0; m < members.Length; m++)
            {
                var member = members[m];
                var slot = member.Slot(bits, tableBits);
                int found;
                while ((found = slots[slot]) >= 0 && !members[found].IsAtPlaceOf(member))
                    slot = (slot + 1) & (slots.Length - 1);
                if (found < 0)
                    found = slots[slot] = m;
                first[member.Index] = members[found].Index;
            }
        }
        finally
        {
            ArrayPool<int>.Shared.Return(table);
        }
    }

    private readonly record struct Entry(uint X, uint Y, uint Z, int Index)
    {
        internal static Entry Of(float[] points, int i) =>
            new(PointHash.Bits(points[3 * i]), PointHash.Bits(points[(3 * i) + 1]), PointHash.Bits(points[(3 * i) + 2]), i);

        // A shift by 64 is a shift by 0 in C#, hence two shifts.
        internal int Partition(int bits) => (int)(PointHash.Of(X, Y, Z) >> 1 >> (63 - bits));

        // The partition used up the top bits: the table takes the next ones.
        internal int Slot(int bits, int tableBits) => (int)(PointHash.Of(X, Y, Z) << bits >> (64 - tableBits));

        internal bool IsAtPlaceOf(Entry other) => X == other.X && Y == other.Y && Z == other.Z;
    }
}
