namespace AnatomyPrep.Meshing.Shape;

/// <summary>Edges by cost, cheapest first, ties by number: a heap with four children a node, which halves its depth.</summary>
/// <remarks>Costs are not negative: the bits of such floats are in the order of the floats. 8 bytes an edge.</remarks>
internal sealed class EdgeQueue
{
    private readonly ulong[] _heap;

    /// <summary>Edge i costs <paramref name="costs"/>[i].</summary>
    internal EdgeQueue(ReadOnlySpan<float> costs)
    {
        Count = costs.Length;
        _heap = new ulong[Count];
        for (var i = 0; i < Count; i++)
            _heap[i] = Entry(costs[i], i);
        for (var i = (Count - 2) / 4; i >= 0 && Count > 1; i--)
            Sink(i, _heap[i]);
    }

    internal int Count { get; private set; }

    internal int TopEdge => (int)(uint)_heap[0];

    internal float TopCost => BitConverter.UInt32BitsToSingle((uint)(_heap[0] >> 32));

    internal void RemoveTop()
    {
        Count--;
        if (Count > 0)
            Sink(0, _heap[Count]);
    }

    internal void RaiseTop(float cost) => Sink(0, Entry(cost, TopEdge));

    /// <summary>Puts back an edge that was removed.</summary>
    internal void Add(int edge, float cost)
    {
        var entry = Entry(cost, edge);
        var i = Count++;
        for (var parent = (i - 1) / 4; i > 0 && _heap[parent] > entry; parent = (i - 1) / 4)
            (_heap[i], i) = (_heap[parent], parent);
        _heap[i] = entry;
    }

    private static ulong Entry(float cost, int edge) => ((ulong)BitConverter.SingleToUInt32Bits(cost) << 32) | (uint)edge;

    private void Sink(int i, ulong entry)
    {
        var heap = _heap.AsSpan(0, Count);
        while (true)
        {
            var child = (4 * i) + 1;
            if (child >= heap.Length)
                break;
            var least = child;
            if (child + 3 < heap.Length)
            {
                var left = heap[child + 1] < heap[child] ? child + 1 : child;
                var right = heap[child + 3] < heap[child + 2] ? child + 3 : child + 2;
                least = heap[right] < heap[left] ? right : left;
            }
            else
            {
                for (var c = child + 1; c < heap.Length; c++)
                    if (heap[c] < heap[least])
                        least = c;
            }

            if (heap[least] >= entry)
                break;
            heap[i] = heap[least];
            i = least;
        }

        heap[i] = entry;
    }
}
