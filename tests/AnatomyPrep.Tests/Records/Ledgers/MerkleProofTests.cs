using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers;
using CsCheck;

namespace AnatomyPrep.Tests.Records.Ledgers;

public sealed class MerkleProofTests
{
    /// <summary>A proof as it is handed to a verifier; one mutation changes one thing of it.</summary>
    private sealed record Inclusion(byte[] Leaf, long Index, long Size, List<byte[]> Proof, byte[] Root)
    {
        public void Verify() => MerkleProof.VerifyInclusion(Leaf, Index, Size, Proof, Root);
    }

    private sealed record Consistency(long First, long Second, List<byte[]> Proof, byte[] FirstRoot, byte[] SecondRoot)
    {
        public void Verify() => MerkleProof.VerifyConsistency(First, Second, Proof, FirstRoot, SecondRoot);
    }

    private static readonly Dictionary<string, Func<Inclusion, Inclusion?>> s_inclusionMutations = new()
    {
        ["index minus 1"] = p => p with { Index = p.Index - 1 },
        ["index plus 1"] = p => p with { Index = p.Index + 1 },
        ["index with bit 2 flipped"] = p => p with { Index = p.Index ^ 4 },
        ["index plus size"] = p => p with { Index = p.Index + p.Size },
        ["negative index"] = p => p with { Index = -1 - p.Index },
        ["size minus 1"] = p => SameShape(p, p with { Size = p.Size - 1 }),
        ["size plus 1"] = p => SameShape(p, p with { Size = p.Size + 1 }),
        ["size doubled"] = p => p with { Size = p.Size * 2 },
        ["size halved"] = p => p with { Size = p.Size / 2 },
        ["size zero"] = p => p with { Size = 0 },
        ["size of all bits"] = p => p with { Size = long.MaxValue },
        ["leaf of another index"] = p => p with { Leaf = MerkleHash.Leaf([250]) },
        ["leaf one bit off"] = p => p with { Leaf = FlipBit(p.Leaf) },
        ["leaf short"] = p => p with { Leaf = p.Leaf[..31] },
        ["leaf empty"] = p => p with { Leaf = [] },
        ["root one bit off"] = p => p with { Root = FlipBit(p.Root) },
        ["root empty"] = p => p with { Root = [] },
        ["root of no leaves"] = p => p with { Root = MerkleHash.Empty() },
        ["leaf and root swapped"] = p => p.Size == 1 ? null : p with { Leaf = p.Root, Root = p.Leaf },
        ["trailing hash"] = p => p with { Proof = [.. p.Proof, MerkleHash.Empty()] },
        ["trailing root"] = p => p with { Proof = [.. p.Proof, p.Root] },
        ["leading hash"] = p => p with { Proof = [MerkleHash.Empty(), .. p.Proof] },
        ["leading leaf"] = p => p with { Proof = [p.Leaf, .. p.Proof] },
        ["trailing empty hash"] = p => p with { Proof = [.. p.Proof, []] },
        ["first hash missing"] = p => p.Proof.Count == 0 ? null : p with { Proof = p.Proof[1..] },
        ["last hash missing"] = p => p.Proof.Count == 0 ? null : p with { Proof = p.Proof[..^1] },
        ["first hash twice"] = p => p.Proof.Count == 0 ? null : p with { Proof = [p.Proof[0], .. p.Proof] },
        ["no hashes"] = p => p.Proof.Count == 0 ? null : p with { Proof = [] },
        ["order reversed"] = p => p.Proof.Count < 2 ? null : p with { Proof = [.. Enumerable.Reverse(p.Proof)] },
        ["hash one bit off"] = p => p.Proof.Count == 0 ? null : p with { Proof = [.. p.Proof[..^1], FlipBit(p.Proof[^1])] },
        ["hash one byte short"] = p => p.Proof.Count == 0 ? null : p with { Proof = [p.Proof[0][..31], .. p.Proof[1..]] },
        ["hash one byte long"] = p => p.Proof.Count == 0 ? null : p with { Proof = [[.. p.Proof[0], 0], .. p.Proof[1..]] },
        ["sibling hashed in as leaf"] = p => p.Proof.Count == 0 ? null : p with { Leaf = p.Proof[0] },
    };

    private static readonly Dictionary<string, Func<Consistency, Consistency?>> s_consistencyMutations = new()
    {
        ["first size minus 1"] = p => p with { First = p.First - 1 },
        ["first size plus 1"] = p => p with { First = p.First + 1 },
        ["first size zero"] = p => p with { First = 0 },
        ["first size negative"] = p => p with { First = -p.First },
        ["second size minus 1"] = p => SameShape(p, p with { Second = p.Second - 1 }),
        ["second size plus 1"] = p => SameShape(p, p with { Second = p.Second + 1 }),
        ["second size doubled"] = p => p with { Second = p.Second * 2 },
        ["sizes swapped"] = p => p.First == p.Second ? null : p with { First = p.Second, Second = p.First },
        ["sizes equal"] = p => p.First == p.Second ? null : p with { First = p.Second },
        ["roots swapped"] = p => p.First == p.Second ? null : p with { FirstRoot = p.SecondRoot, SecondRoot = p.FirstRoot },
        ["first root one bit off"] = p => p with { FirstRoot = FlipBit(p.FirstRoot) },
        ["second root one bit off"] = p => p with { SecondRoot = FlipBit(p.SecondRoot) },
        ["first root empty"] = p => p with { FirstRoot = [] },
        ["second root empty"] = p => p with { SecondRoot = [] },
        ["first root of no leaves"] = p => p with { FirstRoot = MerkleHash.Empty() },
        ["first root passed off as second"] = p => p.First == p.Second ? null : p with { SecondRoot = p.FirstRoot },
        ["trailing hash"] = p => p with { Proof = [.. p.Proof, MerkleHash.Empty()] },
        ["trailing first root"] = p => p with { Proof = [.. p.Proof, p.FirstRoot] },
        ["leading hash"] = p => p with { Proof = [MerkleHash.Empty(), .. p.Proof] },
        ["leading first root"] = p => p with { Proof = [p.FirstRoot, .. p.Proof] },
        ["leading second root"] = p => p with { Proof = [p.SecondRoot, .. p.Proof] },
        ["first hash missing"] = p => p.Proof.Count == 0 ? null : p with { Proof = p.Proof[1..] },
        ["last hash missing"] = p => p.Proof.Count == 0 ? null : p with { Proof = p.Proof[..^1] },
        ["no hashes"] = p => p.Proof.Count == 0 ? null : p with { Proof = [] },
        ["order reversed"] = p => p.Proof.Count < 2 ? null : p with { Proof = [.. Enumerable.Reverse(p.Proof)] },
        ["first hash twice"] = p => p.Proof.Count == 0 ? null : p with { Proof = [p.Proof[0], .. p.Proof] },
        ["hash one bit off"] = p => p.Proof.Count == 0 ? null : p with { Proof = [.. p.Proof[..^1], FlipBit(p.Proof[^1])] },
        ["hash one byte short"] = p => p.Proof.Count == 0 ? null : p with { Proof = [p.Proof[0][..31], .. p.Proof[1..]] },
    };

    public static TheoryData<string> InclusionMutations => [.. s_inclusionMutations.Keys];

    public static TheoryData<string> ConsistencyMutations => [.. s_consistencyMutations.Keys];

    [Fact]
    [Trait("Kind", "Outside")]
    public void Proofs_of_the_certificate_transparency_vectors_hold()
    {
        foreach (var (index, size, proof) in MerkleVectors.Inclusions)
            MerkleProof.VerifyInclusion(
                MerkleHash.Leaf(MerkleVectors.Leaves[index]), index, size, MerkleVectors.Bytes(proof), Convert.FromHexString(MerkleVectors.Roots[size]));
        foreach (var (first, second, proof) in MerkleVectors.Consistencies)
            MerkleProof.VerifyConsistency(
                first,
                second,
                MerkleVectors.Bytes(proof),
                Convert.FromHexString(MerkleVectors.Roots[first]),
                Convert.FromHexString(MerkleVectors.Roots[second]));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_proof_up_to_40_leaves_holds()
    {
        foreach (var proof in AllInclusions(40))
            proof.Verify();
        foreach (var proof in AllConsistencies(40))
            proof.Verify();
        MerkleProof.VerifyConsistency(0, 0, [], MerkleHash.Empty(), MerkleHash.Empty());
        MerkleProof.VerifyConsistency(0, 5, [], MerkleHash.Empty(), Tree(5).Root());
    }

    [Theory]
    [MemberData(nameof(InclusionMutations))]
    [Trait("Kind", "Hostile")]
    public void Inclusion_proof_with_one_mutation_is_refused(string mutation)
    {
        var tried = 0;
        foreach (var proof in AllInclusions(12))
        {
            if (s_inclusionMutations[mutation](proof) is not { } changed)
                continue;
            var verify = changed.Verify;
            verify.Should().Throw<CheckFailedException>("of leaf {0} in {1}", proof.Index, proof.Size);
            tried++;
        }

        tried.Should().BeGreaterThan(5);
    }

    [Theory]
    [MemberData(nameof(ConsistencyMutations))]
    [Trait("Kind", "Hostile")]
    public void Consistency_proof_with_one_mutation_is_refused(string mutation)
    {
        var tried = 0;
        foreach (var proof in AllConsistencies(12))
        {
            if (s_consistencyMutations[mutation](proof) is not { } changed)
                continue;
            var verify = changed.Verify;
            verify.Should().Throw<CheckFailedException>("of {0} to {1}", proof.First, proof.Second);
            tried++;
        }

        tried.Should().BeGreaterThan(5);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void A_large_tree_proves_every_leaf_and_every_earlier_head()
    {
        var tree = Tree(5000);
        var roots = Enumerable.Range(0, 5001).Select(size => tree.Root(size)).ToList();
        Gen.Select(Gen.Int[1, 5000], Gen.Int[0, 4999]).Sample((size, other) =>
        {
            var index = other % size;
            MerkleProof.VerifyInclusion(tree.LeafHash(index), index, size, tree.InclusionProof(index, size), roots[size]);
            MerkleProof.VerifyConsistency(index, size, tree.ConsistencyProof(index, size), roots[index], roots[size]);
        }, iter: 500);
    }

    /// <summary>
    /// A proof does not always bind the size: where the tree of the changed size takes the same turns to the leaf, the walk is
    /// the same and only the root, which a signed head names together with its size, tells the trees apart.
    /// </summary>
    private static Inclusion? SameShape(Inclusion before, Inclusion after) =>
        after.Size <= after.Index || Walk(before.Index, before.Size) != Walk(after.Index, after.Size) ? after : null;

    private static Consistency? SameShape(Consistency before, Consistency after) =>
        after.Second <= after.First || before.First == before.Second
            || Walk(before.First - 1, before.Second) != Walk(after.First - 1, after.Second)
            ? after
            : null;

    /// <summary>The turns from root to leaf, R or L, and where levels are skipped.</summary>
    private static string Walk(long index, long size)
    {
        var turns = "";
        for (var length = size; length > 1;)
        {
            var left = 1L << (63 - System.Numerics.BitOperations.LeadingZeroCount((ulong)(length - 1)));
            turns += index < left ? 'L' : 'R';
            (index, length) = index < left ? (index, left) : (index - left, length - left);
        }

        return turns;
    }

    private static IEnumerable<Inclusion> AllInclusions(int leaves)
    {
        var tree = Tree(leaves);
        for (var size = 1; size <= leaves; size++)
            for (var index = 0; index < size; index++)
                yield return new Inclusion(tree.LeafHash(index), index, size, [.. tree.InclusionProof(index, size)], tree.Root(size));
    }

    private static IEnumerable<Consistency> AllConsistencies(int leaves)
    {
        var tree = Tree(leaves);
        for (var second = 1; second <= leaves; second++)
            for (var first = 1; first <= second; first++)
                yield return new Consistency(first, second, [.. tree.ConsistencyProof(first, second)], tree.Root(first), tree.Root(second));
    }

    private static MerkleTree Tree(int leaves)
    {
        var tree = new MerkleTree();
        for (var i = 0; i < leaves; i++)
            tree.Append(BitConverter.GetBytes(i));
        return tree;
    }

    private static byte[] FlipBit(byte[] hash) => [(byte)(hash[0] ^ 1), .. hash[1..]];
}
