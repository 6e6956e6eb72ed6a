using System.Numerics;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>An append-only Merkle tree: roots of every earlier size, inclusion and consistency proofs.</summary>
/// <remarks>
/// Method: RFC 9162, section 2.1.1; proofs and earlier roots by <see cref="MerkleSubtrees"/>.
/// Memory: level l keeps the hashes of all complete subtrees of 2^l leaves, 64 bytes a leaf in all; at most 2^25 leaves.
/// Cost: amortised one node hash an appended leaf; a root or a proof O(log n) hashes.
/// Not safe for several threads at once.
/// </remarks>
public sealed class MerkleTree
{
    private readonly List<byte[]> _levels = [];

    public long Count { get; private set; }

    /// <summary>Root over leaf data in the given order.</summary>
    public static byte[] RootOf(IEnumerable<byte[]> leaves)
    {
        var tree = new MerkleTree();
        foreach (var leaf in leaves)
            tree.Append(leaf);
        return tree.Root();
    }

    /// <summary>Adds the hash of one leaf's data and gives its index.</summary>
    public long Append(ReadOnlySpan<byte> data) => AppendHash(MerkleHash.Leaf(data));

    /// <summary>Adds a leaf whose hash is known and gives its index.</summary>
    public long AppendHash(ReadOnlySpan<byte> leafHash)
    {
        if (leafHash.Length != MerkleHash.Bytes)
            throw new ArgumentException($"A leaf hash has {MerkleHash.Bytes} bytes, this has {leafHash.Length}.", nameof(leafHash));
        var index = Count;
        Put(0, index, leafHash);
        for (var (level, at) = (0, index); (at & 1) == 1; level++, at >>= 1)
            MerkleHash.Node(Complete(level, at - 1), Complete(level, at), Slot(level + 1, at >> 1));
        Count++;
        return index;
    }

    public byte[] LeafHash(long index)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(index);
        ArgumentOutOfRangeException.ThrowIfGreaterThanOrEqual(index, Count);
        return Complete(0, index).ToArray();
    }

    public byte[] Root() => Root(Count);

    /// <summary>The root the tree had when it held <paramref name="size"/> leaves. Requires 0 &lt;= size &lt;= Count.</summary>
    public byte[] Root(long size)
    {
        RequireSize(size);
        return Subtrees().Root(size);
    }

    /// <summary>The hashes that lead from one leaf to the root of the first <paramref name="size"/> leaves, lowest first.</summary>
    /// <remarks>Requires 0 &lt;= index &lt; size &lt;= Count.</remarks>
    public IReadOnlyList<byte[]> InclusionProof(long index, long size)
    {
        RequireSize(size);
        return Subtrees().InclusionProof(index, size);
    }

    /// <summary>The hashes that show the tree of <paramref name="first"/> leaves to be the beginning of that of <paramref name="second"/>.</summary>
    /// <remarks>Requires 0 &lt;= first &lt;= second &lt;= Count. Empty when first is 0 or equal to second.</remarks>
    public IReadOnlyList<byte[]> ConsistencyProof(long first, long second)
    {
        RequireSize(second);
        return Subtrees().ConsistencyProof(first, second);
    }

    /// <summary>Hash of the complete subtree at (level, position).</summary>
    internal byte[] Subtree(int level, long position) => Complete(level, position).ToArray();

    private MerkleSubtrees Subtrees() => new(Subtree);

    private ReadOnlySpan<byte> Complete(int level, long index) =>
        _levels[level].AsSpan(checked((int)index) * MerkleHash.Bytes, MerkleHash.Bytes);

    private void Put(int level, long index, ReadOnlySpan<byte> hash) => hash.CopyTo(Slot(level, index));

    private Span<byte> Slot(int level, long index)
    {
        if (level == _levels.Count)
            _levels.Add(new byte[MerkleHash.Bytes]);
        var at = checked((int)index * MerkleHash.Bytes);
        var hashes = _levels[level];
        if (at == hashes.Length)
        {
            Array.Resize(ref hashes, checked(2 * hashes.Length));
            _levels[level] = hashes;
        }

        return hashes.AsSpan(at, MerkleHash.Bytes);
    }

    private void RequireSize(long size)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(size);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(size, Count);
    }
}
