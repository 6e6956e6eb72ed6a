using AnatomyPrep.Meshing.Cloud;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Cloud;

public class SignedSetsTests
{
    /// <summary>Points with a secret sign each; edges say whether two are alike. Whatever order they are joined in, the signs come out.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Signs_along_any_tree_agree_with_the_secret_ones() =>
        Gen.Int[0, 1_000_000].Sample(
            seed =>
            {
                var random = new Random(seed);
                var secret = Enumerable.Range(0, 200).Select(_ => random.Next(2) == 0).ToArray();
                var group = Enumerable.Range(0, 200).Select(_ => random.Next(4)).ToArray();
                var sets = new SignedSets(200);
                for (var i = 0; i < 3000; i++)
                {
                    // Some at random, then each with the first of its group, so that no group stays in parts.
                    var (a, b) = i < 2800 ? (random.Next(200), random.Next(200)) : (i - 2800, Array.IndexOf(group, group[i - 2800]));
                    if (group[a] != group[b])
                        continue;
                    var apart = sets.Find(a).Root != sets.Find(b).Root;
                    sets.Join(a, b, secret[a] != secret[b]).Should().Be(apart);
                }

                for (var a = 0; a < 200; a++)
                {
                    for (var b = 0; b < 200; b++)
                    {
                        var (rootA, turnedA) = sets.Find(a);
                        var (rootB, turnedB) = sets.Find(b);
                        (rootA == rootB).Should().Be(group[a] == group[b]);
                        if (rootA == rootB)
                            (turnedA != turnedB).Should().Be(secret[a] != secret[b]);
                    }

                    sets.Size(sets.Find(a).Root).Should().Be(group.Count(g => g == group[a]));
                }
            },
            iter: 5);
}
