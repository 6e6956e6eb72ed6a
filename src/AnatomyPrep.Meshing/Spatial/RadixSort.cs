using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Spatial;

/// <summary>Sorts whole numbers by their digits.</summary>
/// <remarks>
/// Stable least-significant-digit radix sort with digits of 11 bits; digits in which all keys agree cost one counting pass.
/// Ranges of fixed size are counted and moved in parallel, and their places follow from one prefix sum: same result on any
/// number of threads. O(n) time, 16 bytes a key besides the input, 12 of them given back at once.
/// </remarks>
internal static unsafe class RadixSort
{
    private const int DigitBits = 11;
    private const int Bins = 1 << DigitBits;
    private const int PieceKeys = 1 << 16;

    /// <summary>0 … keys.Length−1 in the order of their keys, equal keys in their given order. Uses up the keys.</summary>
    internal static int[] Order(ulong[] keys, RunContext run)
    {
        var n = keys.Length;
        var order = GC.AllocateUninitializedArray<int>(n);
        for (var i = 0; i < n; i++)
            order[i] = i;
        if (n < 2)
            return order;

        using var otherKeys = new NativeBuffer<ulong>(n);
        using var otherOrder = new NativeBuffer<int>(n);
        fixed (ulong* keysHere = keys)
        fixed (int* orderHere = order)
        {
            if (!EndsHere(keysHere, orderHere, otherKeys.Pointer, otherOrder.Pointer, n, run))
                otherOrder.Span(0, n).CopyTo(order);
        }

        return order;
    }

    /// <summary>Sorts to and fro; false when the sorted order lies in the other buffers.</summary>
    private static bool EndsHere(ulong* keys, int* order, ulong* otherKeys, int* otherOrder, int n, RunContext run)
    {
        var starts = new int[Partition.Pieces(n, PieceKeys) * Bins];
        var here = true;
        for (var shift = 0; shift < 64; shift += DigitBits)
        {
            if (!Count(keys, n, shift, starts, run))
                continue;
            Move(keys, order, otherKeys, otherOrder, n, shift, starts, run);
            var fromKeys = keys;
            var fromOrder = order;
            keys = otherKeys;
            order = otherOrder;
            otherKeys = fromKeys;
            otherOrder = fromOrder;
            here = !here;
        }

        return here;
    }

    /// <summary>First free place of every digit for every piece; false when all keys have the same digit.</summary>
    private static bool Count(ulong* keys, int n, int shift, int[] starts, RunContext run)
    {
        Array.Clear(starts);
        Partition.Ranges(run, n, PieceKeys, (piece, from, to) =>
        {
            var count = starts.AsSpan(piece * Bins, Bins);
            foreach (var key in new ReadOnlySpan<ulong>(keys + from, to - from))
                count[(int)(key >> shift) & (Bins - 1)]++;
        });
        var place = 0;
        for (var digit = 0; digit < Bins; digit++)
        {
            var before = place;
            for (var at = digit; at < starts.Length; at += Bins)
            {
                var count = starts[at];
                starts[at] = place;
                place += count;
            }

            if (place - before == n)
                return false;
        }

        return true;
    }

    private static void Move(ulong* keys, int* order, ulong* toKeys, int* toOrder, int n, int shift, int[] starts, RunContext run) =>
        Partition.Ranges(run, n, PieceKeys, (piece, from, to) =>
        {
            var next = starts.AsSpan(piece * Bins, Bins);
            for (var i = from; i < to; i++)
            {
                var place = next[(int)(keys[i] >> shift) & (Bins - 1)]++;
                toKeys[place] = keys[i];
                toOrder[place] = order[i];
            }
        });
}
