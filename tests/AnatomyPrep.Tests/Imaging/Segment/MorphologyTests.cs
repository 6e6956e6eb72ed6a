using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class MorphologyTests
{
    private static readonly RunContext s_run = RunContext.Default;

    // Non-square pixels, uneven slices, and slices that slip sideways as with a tilted gantry.
    private static readonly IndexToPatient s_tilted = new(
        new Vec3(0.7, 0, 0), new Vec3(0, 1.1, 0), [new(0, 0, 0), new(0, 0.4, 1), new(0, 0.8, 2), new(0, 2.0, 5), new(0, 2.4, 6), new(0, 2.8, 7)]);

    [Theory]
    [InlineData(0)]
    [InlineData(0.69)]
    [InlineData(0.7)]
    [InlineData(1.5)]
    [InlineData(3.2)]
    [Trait("Kind", "Property")]
    public void Dilation_takes_exactly_the_samples_within_the_radius(double radiusMm)
    {
        using var region = Scatter(70, 7, 6, 60, 3);
        using var dilated = Morphology.Dilate(region, s_tilted, radiusMm, s_run);
        using var eroded = Morphology.Erode(region, s_tilted, radiusMm, s_run);
        var all = All(region).ToArray();
        var inside = all.Where(s => region[s.I, s.J, s.K]).Select(Position).ToArray();
        var outside = all.Where(s => !region[s.I, s.J, s.K]).Select(Position).ToArray();
        foreach (var s in all)
        {
            var p = Position(s);
            dilated[s.I, s.J, s.K].Should().Be(inside.Any(q => Vec3.Distance(p, q) <= radiusMm + 1e-9));
            eroded[s.I, s.J, s.K].Should().Be(outside.All(q => Vec3.Distance(p, q) > radiusMm + 1e-9));
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Closing_contains_and_opening_is_contained_and_both_are_done_after_once()
    {
        using var region = Scatter(70, 7, 6, 900, 5);
        using var closed = Morphology.Close(region, s_tilted, 1.2, s_run);
        using var opened = Morphology.Open(region, s_tilted, 0.8, s_run);
        using var closedTwice = Morphology.Close(closed, s_tilted, 1.2, s_run);
        using var openedTwice = Morphology.Open(opened, s_tilted, 0.8, s_run);
        foreach (var (i, j, k) in All(region))
        {
            if (region[i, j, k])
                closed[i, j, k].Should().BeTrue();
            else
                opened[i, j, k].Should().BeFalse();
            closedTwice[i, j, k].Should().Be(closed[i, j, k]);
            openedTwice[i, j, k].Should().Be(opened[i, j, k]);
        }
    }

    [Fact]
    public void Only_closed_voids_up_to_the_size_are_filled()
    {
        // A box with a void of 8 samples, a void of 1, and a pocket that opens only over an edge (so the surface is open there).
        var map = Grid.Map(20, 12, 12);
        using var region = new Region(20, 12, 12, new HuWindow(0, 1));
        foreach (var (i, j, k) in All(region))
        {
            var inBox = i is >= 1 and <= 18 && j is >= 1 and <= 10 && k is >= 1 and <= 10;
            var bigVoid = i is 4 or 5 && j is 4 or 5 && k is 4 or 5;
            var smallVoid = (i, j, k) == (10, 5, 5);
            var pocket = (i, j, k) is (15, 10, 9) or (15, 9, 10);
            region.Set(i, j, k, inBox && !bigVoid && !smallVoid && !((i, j, k) == (15, 10, 10)) && !pocket);
        }

        var (some, filledSome) = FillCavities.Apply(region, map, 1, s_run);
        var (all, filledAll) = FillCavities.Apply(region, map, double.MaxValue, s_run);
        using (some)
        using (all)
        {
            filledSome.Select(f => f.Samples).Should().Equal(1);
            filledAll.Select(f => f.Samples).Should().Equal(8, 1);
            some[4, 4, 4].Should().BeFalse();
            all[4, 4, 4].Should().BeTrue();
            all[15, 9, 10].Should().BeFalse();
        }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var region = Scatter(70, 7, 6, 200, 9);
        using var one = Morphology.Close(region, s_tilted, 1.5, new RunContext(threads: 1));
        using var many = Morphology.Close(region, s_tilted, 1.5, new RunContext(threads: 16));
        foreach (var (i, j, k) in All(region))
            many[i, j, k].Should().Be(one[i, j, k]);
    }

    private static Vec3 Position((int I, int J, int K) s) => s_tilted.Map(s.I, s.J, s.K);

    private static Region Scatter(int columns, int rows, int slices, int count, int seed)
    {
        var region = new Region(columns, rows, slices, new HuWindow(0, 1));
        var random = new Random(seed);
        for (var n = 0; n < count; n++)
            region.Set(random.Next(columns), random.Next(rows), random.Next(slices), true);
        return region;
    }

    private static IEnumerable<(int I, int J, int K)> All(Region region) =>
        from k in Enumerable.Range(0, region.Slices)
        from j in Enumerable.Range(0, region.Rows)
        from i in Enumerable.Range(0, region.Columns)
        select (i, j, k);
}
