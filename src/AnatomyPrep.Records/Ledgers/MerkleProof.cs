using System.Numerics;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>Checks proofs from nothing but the proof, the sizes and the roots.</summary>
/// <remarks>
/// Method: RFC 9162, sections 2.1.3.2 (inclusion) and 2.1.4.2 (consistency). Safe on untrusted input: every proof is walked
///   at most once and must have exactly the length its sizes call for.
/// A proof that does not hold is a <see cref="CheckFailedException"/> with what was expected and found.
/// </remarks>
public static class MerkleProof
{
    private const string Inclusion = "inclusion proof";
    private const string Consistency = "consistency proof";

    /// <summary>Holds when the leaf stands at <paramref name="index"/> of the tree of <paramref name="size"/> leaves with this root.</summary>
    /// <exception cref="CheckFailedException">It does not hold.</exception>
    public static void VerifyInclusion(
        ReadOnlySpan<byte> leafHash, long index, long size, IReadOnlyList<byte[]> proof, ReadOnlySpan<byte> root)
    {
        if (index < 0 || index >= size)
            throw new CheckFailedException(Inclusion, $"an index from 0 to {size - 1}", Text(index));
        RequireHashes(Inclusion, leafHash, root, proof);
        var computed = leafHash.ToArray();
        var (at, last) = (index, size - 1);
        foreach (var sibling in proof)
        {
            RequireMore(Inclusion, last, proof.Count);
            if ((at & 1) == 1 || at == last)
            {
                computed = MerkleHash.Node(sibling, computed);
                SkipLevelsWithoutSibling(ref at, ref last);
            }
            else
            {
                computed = MerkleHash.Node(computed, sibling);
            }

            at >>= 1;
            last >>= 1;
        }

        RequireComplete(Inclusion, last, proof.Count);
        RequireRoot(Inclusion, root, computed);
    }

    /// <summary>Holds when the first tree is the beginning of the second.</summary>
    /// <exception cref="CheckFailedException">It does not hold.</exception>
    public static void VerifyConsistency(
        long firstSize, long secondSize, IReadOnlyList<byte[]> proof, ReadOnlySpan<byte> firstRoot, ReadOnlySpan<byte> secondRoot)
    {
        if (firstSize < 0 || firstSize > secondSize)
            throw new CheckFailedException(Consistency, $"a first size from 0 to {secondSize}", Text(firstSize));
        RequireHashes(Consistency, firstRoot, secondRoot, proof);
        if (firstSize == 0 || firstSize == secondSize)
        {
            if (proof.Count > 0)
                throw new CheckFailedException(Consistency, "no hashes", Text(proof.Count));
            RequireRoot(Consistency, firstRoot, firstSize == 0 ? MerkleHash.Empty() : secondRoot);
            if (secondSize == 0)
                RequireRoot(Consistency, secondRoot, MerkleHash.Empty());
            return;
        }

        WalkConsistency(firstSize, secondSize, proof, firstRoot, secondRoot);
    }

    private static void WalkConsistency(
        long firstSize, long secondSize, IReadOnlyList<byte[]> proof, ReadOnlySpan<byte> firstRoot, ReadOnlySpan<byte> secondRoot)
    {
        if (proof.Count == 0)
            throw new CheckFailedException(Consistency, "at least one hash", "none");
        var (at, last) = (firstSize - 1, secondSize - 1);
        while ((at & 1) == 1)
        {
            at >>= 1;
            last >>= 1;
        }

        // An old tree that is one complete subtree is where the walk starts; else the proof says where.
        var startsAtOldRoot = BitOperations.IsPow2(firstSize);
        var first = startsAtOldRoot ? firstRoot.ToArray() : proof[0];
        var second = first;
        for (var i = startsAtOldRoot ? 0 : 1; i < proof.Count; i++)
        {
            RequireMore(Consistency, last, proof.Count);
            if ((at & 1) == 1 || at == last)
            {
                first = MerkleHash.Node(proof[i], first);
                second = MerkleHash.Node(proof[i], second);
                SkipLevelsWithoutSibling(ref at, ref last);
            }
            else
            {
                second = MerkleHash.Node(second, proof[i]);
            }

            at >>= 1;
            last >>= 1;
        }

        RequireComplete(Consistency, last, proof.Count);
        RequireRoot(Consistency, firstRoot, first);
        RequireRoot(Consistency, secondRoot, second);
    }

    /// <summary>On the right edge a subtree without a right neighbour moves up unchanged.</summary>
    private static void SkipLevelsWithoutSibling(ref long at, ref long last)
    {
        while ((at & 1) == 0 && at != 0)
        {
            at >>= 1;
            last >>= 1;
        }
    }

    private static void RequireHashes(string check, ReadOnlySpan<byte> a, ReadOnlySpan<byte> b, IReadOnlyList<byte[]> proof)
    {
        RequireHash(check, a.Length);
        RequireHash(check, b.Length);
        foreach (var hash in proof)
            RequireHash(check, hash.Length);
    }

    private static void RequireHash(string check, int length)
    {
        if (length != MerkleHash.Bytes)
            throw new CheckFailedException(check, $"hashes of {MerkleHash.Bytes} bytes", $"{length} bytes");
    }

    private static void RequireMore(string check, long last, int count)
    {
        if (last == 0)
            throw new CheckFailedException(check, "fewer hashes for these sizes", Text(count));
    }

    private static void RequireComplete(string check, long last, int count)
    {
        if (last != 0)
            throw new CheckFailedException(check, "more hashes for these sizes", Text(count));
    }

    private static void RequireRoot(string check, ReadOnlySpan<byte> expected, ReadOnlySpan<byte> found)
    {
        if (!expected.SequenceEqual(found))
            throw new CheckFailedException(check, $"root {Convert.ToHexStringLower(expected)}", Convert.ToHexStringLower(found));
    }

    private static string Text(long value) => value.ToString(System.Globalization.CultureInfo.InvariantCulture);
}
