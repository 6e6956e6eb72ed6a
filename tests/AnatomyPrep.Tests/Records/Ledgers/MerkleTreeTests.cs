using System.Text;
using AnatomyPrep.Records.Ledgers;

namespace AnatomyPrep.Tests.Records.Ledgers;

public sealed class MerkleTreeTests
{
    /// <summary>
    /// Roots that a tree without prefix bytes, which doubles the last leaf, gives for eight leaves (computed for this test with
    /// a general library): an RFC 9162 tree must not.
    /// </summary>
    private const string UnprefixedRootOfEight = "03b3e0e5b23746036c9c7185c1fc12bc6f8ff41cc2b97b24fb451f2cc291d2b4";

    [Fact]
    [Trait("Kind", "Outside")]
    public void Roots_are_those_of_the_certificate_transparency_vectors()
    {
        var tree = Tree(8);
        for (var size = 0; size <= 8; size++)
        {
            Convert.ToHexStringLower(tree.Root(size)).Should().Be(MerkleVectors.Roots[size]);
            Convert.ToHexStringLower(MerkleTree.RootOf(MerkleVectors.Leaves.Take(size))).Should().Be(MerkleVectors.Roots[size]);
        }

        Convert.ToHexStringLower(tree.Root()).Should().NotBe(UnprefixedRootOfEight);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Proofs_are_those_of_the_certificate_transparency_vectors()
    {
        var tree = Tree(8);
        foreach (var (index, size, proof) in MerkleVectors.Inclusions)
            tree.InclusionProof(index, size).Select(Convert.ToHexStringLower).Should().Equal(proof, "of leaf {0} in {1}", index, size);
        foreach (var (first, second, proof) in MerkleVectors.Consistencies)
            tree.ConsistencyProof(first, second).Select(Convert.ToHexStringLower).Should().Equal(proof, "of {0} to {1}", first, second);
    }

    /// <summary>transparency-dev/merkle, rfc6962 tests, revision 417fb0c.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Leaf_and_node_hashes_carry_their_prefix()
    {
        Convert.ToHexStringLower(MerkleHash.Leaf("L123456"u8))
            .Should().Be("395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56");
        Convert.ToHexStringLower(MerkleHash.Node("N123"u8, "N456"u8))
            .Should().Be("aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_root_and_proof_up_to_40_leaves_equals_the_recursion_of_the_RFC()
    {
        var leaves = Enumerable.Range(0, 40).Select(i => Encoding.UTF8.GetBytes($"leaf {i * i}")).ToList();
        var tree = new MerkleTree();
        foreach (var leaf in leaves)
            tree.Append(leaf);
        for (var size = 0; size <= leaves.Count; size++)
        {
            var part = leaves.Take(size).ToList();
            tree.Root(size).Should().Equal(LiteralMerkle.Hash(part));
            for (var index = 0; index < size; index++)
                Same(tree.InclusionProof(index, size), LiteralMerkle.Path(index, part));
            for (var first = 1; first <= size; first++)
                Same(tree.ConsistencyProof(first, size), LiteralMerkle.Proof(first, part));
        }
    }

    [Fact]
    public void Three_leaves_and_the_last_one_doubled_differ()
    {
        byte[][] three = [[1], [2], [3]];
        MerkleTree.RootOf(three).Should().NotEqual(MerkleTree.RootOf([.. three, three[2]]));
    }

    [Fact]
    public void A_leaf_that_looks_like_a_node_gets_another_root()
    {
        var (left, right) = (MerkleHash.Leaf([1]), MerkleHash.Leaf([2]));
        byte[] forged = [.. left, .. right];
        MerkleTree.RootOf([forged]).Should().NotEqual(MerkleTree.RootOf([[1], [2]]));
    }

    [Theory]
    [InlineData(-1, 4)]
    [InlineData(4, 4)]
    [InlineData(0, 9)]
    [InlineData(0, -1)]
    public void A_proof_for_a_leaf_that_is_not_there_is_refused(long index, long size)
    {
        var ask = () => Tree(8).InclusionProof(index, size);
        ask.Should().Throw<ArgumentOutOfRangeException>();
    }

    private static MerkleTree Tree(int leaves)
    {
        var tree = new MerkleTree();
        foreach (var leaf in MerkleVectors.Leaves.Take(leaves))
            tree.Append(leaf);
        return tree;
    }

    private static void Same(IReadOnlyList<byte[]> found, List<byte[]> expected) =>
        found.Select(Convert.ToHexStringLower).Should().Equal(expected.Select(Convert.ToHexStringLower));
}
