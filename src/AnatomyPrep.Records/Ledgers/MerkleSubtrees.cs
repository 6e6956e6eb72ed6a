using System.Numerics;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>Roots and proofs from the hashes of complete subtrees, wherever those are kept.</summary>
/// <param name="complete">Hash of the complete subtree at (level, position): leaves position·2^level to (position+1)·2^level - 1.</param>
/// <remarks>
/// Method: RFC 9162, sections 2.1.1 (tree), 2.1.3.1 (inclusion proof), 2.1.4.1 (consistency proof). A tree of n leaves
///   splits at the largest power of two below n; an odd last leaf is never doubled, so [a, b, c] and [a, b, c, c] differ.
/// Cost: O(log n) hashes asked for a root or a proof: of the parts a proof names, all but one are complete subtrees.
/// </remarks>
internal readonly struct MerkleSubtrees(Func<int, long, byte[]> complete)
{
    /// <summary>Root of the first <paramref name="size"/> leaves.</summary>
    internal byte[] Root(long size) => size == 0 ? MerkleHash.Empty() : Range(0, size);

    /// <summary>Requires 0 &lt;= index &lt; size.</summary>
    internal IReadOnlyList<byte[]> InclusionProof(long index, long size)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(index);
        ArgumentOutOfRangeException.ThrowIfGreaterThanOrEqual(index, size);
        var proof = new List<byte[]>();
        for (var (from, length) = (0L, size); length > 1;)
        {
            var left = Split(length);
            if (index - from < left)
            {
                proof.Add(Range(from + left, length - left));
                length = left;
            }
            else
            {
                proof.Add(Range(from, left));
                from += left;
                length -= left;
            }
        }

        proof.Reverse();
        return proof;
    }

    /// <summary>Requires 0 &lt;= first &lt;= second. Empty when first is 0 or equal to second.</summary>
    internal IReadOnlyList<byte[]> ConsistencyProof(long first, long second)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(first);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(first, second);
        var proof = new List<byte[]>();
        if (first == 0 || first == second)
            return proof;
        var (from, old, length, wholeOldTree) = (0L, first, second, true);
        while (old != length)
        {
            var left = Split(length);
            if (old <= left)
            {
                proof.Add(Range(from + left, length - left));
                length = left;
            }
            else
            {
                proof.Add(Range(from, left));
                (from, old, length, wholeOldTree) = (from + left, old - left, length - left, false);
            }
        }

        // The verifier knows the old root; a part of the old tree it must be told.
        if (!wholeOldTree)
            proof.Add(Range(from, length));
        proof.Reverse();
        return proof;
    }

    /// <summary>Largest power of two below n. Requires n &gt; 1.</summary>
    private static long Split(long n) => 1L << (63 - BitOperations.LeadingZeroCount((ulong)(n - 1)));

    /// <summary>Hash of a run of leaves that starts where a subtree of its size may start.</summary>
    private byte[] Range(long from, long length)
    {
        if (BitOperations.IsPow2(length))
        {
            var level = BitOperations.TrailingZeroCount(length);
            return complete(level, from >> level);
        }

        var left = Split(length);
        return MerkleHash.Node(Range(from, left), Range(from + left, length - left));
    }
}
