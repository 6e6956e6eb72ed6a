using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class ThresholdTests
{
    [Theory]
    [InlineData(1)]
    [InlineData(62)]
    [InlineData(63)]
    [InlineData(64)]
    [InlineData(126)]
    [InlineData(127)]
    [InlineData(200)]
    [Trait("Kind", "Property")]
    public void Every_sample_is_inside_exactly_when_its_value_is_in_the_window(int columns)
    {
        using var volume = Grid.Noise(columns, 3, 4, columns, -5, 5);
        using var region = Threshold.Apply(volume, new HuWindow(-2, 3), RunContext.Default);
        for (var k = 0; k < 4; k++)
            for (var j = 0; j < 3; j++)
                for (var i = 0; i < columns; i++)
                    region[i, j, k].Should().Be(volume[i, j, k] is >= -2 and <= 3);
        region.Row(-1, 0).ToArray().Should().OnlyContain(w => w == 0);
        region.Row(0, 4).ToArray().Should().OnlyContain(w => w == 0);
    }

    [Fact]
    public void Extremes_of_the_scale_are_compared_as_signed()
    {
        short[] values = [short.MinValue, -3024, -1, 0, 1, 30710, short.MaxValue];
        using var volume = Grid.FromIndex(7, 1, Grid.Map(7, 1, 1), (i, _, _) => values[i]);
        using var region = Threshold.Apply(volume, new HuWindow(0, short.MaxValue), RunContext.Default);
        Enumerable.Range(0, 7).Select(i => region[i, 0, 0]).Should().Equal(false, false, false, true, true, true, true);
    }
}
