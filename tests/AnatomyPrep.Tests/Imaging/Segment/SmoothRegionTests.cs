using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class SmoothRegionTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void Spurs_and_pits_go_and_a_thin_plate_stays()
    {
        // A block of 16 mm with a plate of 1 mm on it, a spur of one sample and a pit of one sample.
        using var volume = Grid.FromIndex(60, 30, Grid.Map(60, 30, 30), (i, j, k) =>
        {
            var block = i is >= 5 and < 21 && j is >= 7 and < 23 && k is >= 7 and < 23;
            var plate = i is >= 21 and < 45 && j == 15 && k is >= 7 and < 23;
            var spur = (i, j, k) == (12, 23, 12);
            var pit = (i, j, k) == (12, 7, 12);
            return (short)((block || plate || spur) && !pit ? 100 : 0);
        });
        using var region = Threshold.Apply(volume, new(50, 200), s_run);
        var smooth = SmoothRegion.Apply(volume, region, 1.5, 10, s_run);
        using var withoutCare = SmoothRegion.Apply(volume, region, 1.5, 1e9, s_run).Region;
        using (smooth.Region)
        {
            smooth.Region[12, 23, 12].Should().BeFalse("the spur is gone");
            smooth.Region[12, 7, 12].Should().BeTrue("the pit is filled");
            RegionBits.Inside(smooth.Region).Count(s => s.I >= 21).Should().Be(24 * 16, "the plate is whole");
            smooth.Effect.Measures!["thinPiecesKept"].Should().Be(1);
        }

        RegionBits.Inside(withoutCare).Should().OnlyContain(s => s.I < 23, "an opening alone loses the plate");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Grid.Noise(90, 20, 20, 8, 0, 9);
        using var region = Threshold.Apply(volume, new(3, 9), s_run);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            using var smooth = SmoothRegion.Apply(volume, region, 1, 3, new RunContext(threads: threads)).Region;
            return RegionBits.Hash(smooth);
        }).Distinct().Should().ContainSingle();
    }
}
