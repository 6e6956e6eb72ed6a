using System.Numerics;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>As much of a tree as appending needs: the complete subtrees along its right edge.</summary>
/// <remarks>Method: RFC 9162, section 2.1.2. Memory: 32 bytes for each bit of the size. Cost: amortised one hash a leaf, a root O(log n).</remarks>
internal sealed class CompactTree
{
    private readonly byte[]?[] _edge = new byte[]?[64];

    internal long Count { get; private set; }

    /// <summary>The tree of a given size, from wherever its complete subtrees are kept.</summary>
    internal static CompactTree Load(long size, Func<int, long, byte[]> complete)
    {
        var tree = new CompactTree { Count = size };
        for (var level = 0; level < 63; level++)
            if (((size >> level) & 1) == 1)
                tree._edge[level] = complete(level, (size >> level) - 1);
        return tree;
    }

    /// <summary>Adds a leaf; tells of every subtree that it completes, itself first.</summary>
    internal void Append(byte[] leafHash, Action<int, long, byte[]>? completed)
    {
        var hash = leafHash;
        var at = Count;
        var level = 0;
        completed?.Invoke(0, at, hash);
        for (; (at & 1) == 1; at >>= 1)
        {
            hash = MerkleHash.Node(_edge[level]!, hash);
            _edge[level++] = null;
            completed?.Invoke(level, at >> 1, hash);
        }

        _edge[level] = hash;
        Count++;
    }

    internal byte[] Root()
    {
        if (Count == 0)
            return MerkleHash.Empty();
        var lowest = BitOperations.TrailingZeroCount(Count);
        var root = _edge[lowest]!;
        for (var level = lowest + 1; level < 63; level++)
            if (((Count >> level) & 1) == 1)
                root = MerkleHash.Node(_edge[level]!, root);
        return root;
    }
}
