using AnatomyPrep.Imaging.Acquire;
using CsCheck;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>A lost slice is found; a protocol that changes its spacing is not taken for one.</summary>
public sealed class SpacingRuleTests
{
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("5 5 10", 2, 5.0)]
    [InlineData("10 5 5", 0, 5.0)]
    [InlineData("5 10", 1, 5.0)]
    [InlineData("1 1 1 2 1 1 1", 3, 1.0)]
    [InlineData("1 1 1 3 1 1 1", 3, 1.0)]
    [InlineData("0.6 0.7 0.6 1.3 0.6 0.6 0.7", 3, 0.6)]
    [InlineData("5 5 5 10 10 5 5 5", 3, 5.0)]
    [InlineData("4 4 4 7 4 4 4", 3, 4.0)]
    public void Missing_slices_are_found(string steps, int after, double expectedMm)
    {
        var gap = Find(steps)[0];
        gap.After.Should().Be(after);
        gap.ExpectedMm.Should().BeApproximately(expectedMm, 1e-12);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("1 1 1 1")]
    [InlineData("1")]
    [InlineData("0.6 0.7 0.6 0.6 0.7")]
    [InlineData("3 3 3 3 6 6 6 6")]
    [InlineData("4 4 4 4 1.08 7 7 7")]
    [InlineData("2.5 2.5 2.5 5 5 5 2.5 2.5 2.5")]
    [InlineData("5 6")]
    public void Protocols_are_accepted(string steps) => Find(steps).Should().BeEmpty();

    [Fact]
    [Trait("Kind", "Truth")]
    public void Thickness_tells_a_short_thick_block_from_a_lost_slice()
    {
        // Two slices of 10 mm at the end: their step is their thickness.
        Find("5 5 5 10", "5 5 5 10 10").Should().BeEmpty();
        Find("5 5 5 10", "5 5 5 5 5").Should().ContainSingle().Which.MissingSlices.Should().Be(1);
        // Thinner slices at an even step are no gap.
        Find("1 1 1 1 1 1", "2 2 2 2 2 1 1").Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Instance_numbers_tell_slices_lost_regularly_from_a_protocol()
    {
        Find("1 1 1 1 2 2 2 2", null, "1 2 3 4 5 7 9 11 13").Should().HaveCount(4);
        Find("1 1 1 1 2 2 2 2", null, "1 2 3 4 5 6 7 8 9").Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Number_of_missing_slices_follows_from_the_gap()
    {
        Find("1 1 1 5 1 1 1").Should().ContainSingle().Which.MissingSlices.Should().Be(4);
    }

    /// <summary>Any even series of at least seven slices, spacing and jitter up to 10 %, any inner slice or slices taken out.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Taking_out_one_inner_slice_is_always_found()
    {
        Gen.Select(Gen.Double[0.3, 10], Gen.Double[-0.1, 0.1].Array[8, 60], Gen.Int[0, 1000]).Sample((spacing, jitter, pick) =>
        {
            var steps = jitter.Select(j => spacing * (1 + j)).ToList();
            SpacingRule.FindMissing(steps, Nothing<double>(steps.Count + 1), Nothing<int>(steps.Count + 1)).Should().BeEmpty();
            // Far enough from the ends that three steps stand on one side.
            var at = 1 + (pick % (steps.Count - 2));
            var joined = steps[at - 1] + steps[at];
            steps.RemoveAt(at);
            steps[at - 1] = joined;
            SpacingRule.FindMissing(steps, Nothing<double>(steps.Count + 1), Nothing<int>(steps.Count + 1)).Should().ContainSingle().Which.After.Should().Be(at - 1);
        });
    }

    /// <summary>Reversing a series reverses the answer.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Direction_does_not_matter()
    {
        Gen.OneOf(Gen.Const(1.0), Gen.Const(1.1), Gen.Const(2.0), Gen.Const(3.0), Gen.Const(5.0)).Array[2, 30].Sample(steps =>
        {
            var there = SpacingRule.FindMissing(steps, Nothing<double>(steps.Length + 1), Nothing<int>(steps.Length + 1)).Select(g => g.After);
            var back = SpacingRule.FindMissing([.. steps.Reverse()], Nothing<double>(steps.Length + 1), Nothing<int>(steps.Length + 1)).Select(g => steps.Length - 1 - g.After);
            back.Order().Should().Equal(there.Order().ToArray());
        });
    }

    private static IReadOnlyList<MissingGap> Find(string steps, string? thickness = null, string? numbers = null)
    {
        var s = Numbers(steps);
        return SpacingRule.FindMissing(
            s,
            thickness is null ? Nothing<double>(s.Length + 1) : [.. Numbers(thickness).Select(t => (double?)t)],
            numbers is null ? Nothing<int>(s.Length + 1) : [.. Numbers(numbers).Select(n => (int?)n)]);
    }

    private static double[] Numbers(string text) => [.. text.Split(' ').Select(t => double.Parse(t, System.Globalization.CultureInfo.InvariantCulture))];

    private static T?[] Nothing<T>(int count)
        where T : struct => new T?[count];
}
