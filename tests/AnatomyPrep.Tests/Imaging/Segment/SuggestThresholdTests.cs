using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class SuggestThresholdTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Outside")]
    public void Otsu_parts_where_the_reference_library_does()
    {
        // scikit-image 0.19.3, filters.threshold_otsu on these 58,197 values: above 114 is the upper group.
        var values = new List<short>();
        for (var v = -40; v < 260; v++)
        {
            var count = 1 + (7 * (v + 40) % 11) + (int)Math.Round(900 * Math.Exp(-Math.Pow(v - 40, 2) / 800)) + (int)Math.Round(300 * Math.Exp(-Math.Pow(v - 190, 2) / 450));
            values.AddRange(Enumerable.Repeat((short)v, count));
        }

        values.Count.Should().Be(58197);
        // Beyond the range lies air, which must not count; padding of the last row too.
        using var volume = Grid.FromIndex(300, 20, Grid.Map(300, 20, 10), (i, j, k) => (i + (300 * (j + (20 * k)))) is var n && n < values.Count ? values[n] : (short)-1000);
        var found = SuggestThreshold.Otsu(volume, new(-40, 259), s_run);

        found.LevelHu.Should().Be(115);
        found.Places.Should().Be(58197);
        found.LowSideHu.Should().BeApproximately(values.Where(v => v < 115).Average(v => (double)v), 1e-9);
        found.Reasoning.Should().Contain("115 HU").And.Contain("-40").And.Contain("259");
    }

    [Theory]
    [InlineData("sphere-in-water", 300, 1000, 500)]
    [InlineData("sphere-in-water", 900, 1000, 500)]
    [InlineData("touching-bones", 200, 1100, 520)]
    [Trait("Kind", "Truth")]
    public void Half_maximum_finds_the_middle_of_the_edge_from_anywhere_on_its_flank(string phantom, short startHu, short toHu, double middleHu)
    {
        using var volume = PhantomCatalogue.Create(phantom).ToVolume(s_run);
        var found = SuggestThreshold.HalfMaximum(volume, startHu, new(-50, toHu), 6, s_run);
        // The edge runs straight from one side to the other, so both ends are reached to within a HU of rounding.
        ((double)found.LevelHu).Should().BeApproximately(middleHu, 1);
        found.SpreadHu.Should().BeLessThanOrEqualTo(1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Half_maximum_stands_noise()
    {
        using var volume = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { NoiseSigmaHu = 20 }).ToVolume(s_run);
        var found = SuggestThreshold.HalfMaximum(volume, 400, new(-200, 1300), 6, s_run);
        // Both ends err by about one sigma of one sample, to opposite sides; the median of many thousand edges is far steadier.
        ((double)found.LevelHu).Should().BeApproximately(500, 10);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Half_maximum_is_not_moved_by_the_size_of_the_sides_and_otsu_is()
    {
        // A ball of 5 mm in a large field: hardly any bone. Otsu leans to the larger group, the edge does not.
        using var volume = Grid.FromPatient(61, 61, Grid.Map(61, 61, 61), p => 1000 * Math.Clamp(0.5 - ((p.Length - 6.2) / 4), 0, 1));
        ((double)SuggestThreshold.HalfMaximum(volume, 200, new(-50, 1050), 6, s_run).LevelHu).Should().BeApproximately(500, 5);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Ranges_without_two_sides_are_refused_with_a_remedy()
    {
        using var volume = Grid.FromIndex(8, 8, Grid.Map(8, 8, 8), (_, _, _) => 70);
        ((Action)(() => SuggestThreshold.Otsu(volume, new(0, 100), s_run))).Should().Throw<BadInputException>().WithMessage("*covers both materials*");
        ((Action)(() => SuggestThreshold.Otsu(volume, new(70, 75), s_run))).Should().Throw<BadInputException>().WithMessage("*at least 10 HU*");
        ((Action)(() => SuggestThreshold.HalfMaximum(volume, 50, new(0, 100), 3, s_run))).Should().Throw<BadInputException>().WithMessage("*No edge crosses*");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Grid.Noise(40, 30, 50, 6, -300, 900);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            var run = new RunContext(threads: threads);
            return $"{SuggestThreshold.Otsu(volume, new(-200, 800), run)} {SuggestThreshold.HalfMaximum(volume, 300, new(-300, 900), 3, run)}";
        }).Distinct().Should().ContainSingle();
    }
}
