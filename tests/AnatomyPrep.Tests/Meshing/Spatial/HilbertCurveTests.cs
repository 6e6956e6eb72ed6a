using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Tests.Meshing.Spatial;

public class HilbertCurveTests
{
    /// <summary>What makes a curve of this kind: every cell once, and each step goes to a cell that shares a face.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(2)]
    [InlineData(4)]
    public void Every_cell_is_visited_once_and_each_step_goes_to_a_neighbour(int levels)
    {
        var side = 1u << levels;
        var cells = new (uint X, uint Y, uint Z)?[side * side * side];
        for (uint x = 0; x < side; x++)
            for (uint y = 0; y < side; y++)
                for (uint z = 0; z < side; z++)
                {
                    var index = HilbertCurve.Index(x, y, z, levels);
                    index.Should().BeLessThan((ulong)cells.Length);
                    cells[index].Should().BeNull();
                    cells[index] = (x, y, z);
                }

        for (var i = 1; i < cells.Length; i++)
        {
            var (a, b) = (cells[i - 1]!.Value, cells[i]!.Value);
            var step = Math.Abs((int)a.X - (int)b.X) + Math.Abs((int)a.Y - (int)b.Y) + Math.Abs((int)a.Z - (int)b.Z);
            step.Should().Be(1);
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Fewer_levels_give_the_leading_digits_of_more()
    {
        var random = new Random(5);
        for (var i = 0; i < 2000; i++)
        {
            uint x = (uint)random.Next(1 << 20), y = (uint)random.Next(1 << 20), z = (uint)random.Next(1 << 20);
            (HilbertCurve.Index(x, y, z, 20) >> 24).Should().Be(HilbertCurve.Index(x >> 8, y >> 8, z >> 8, 12));
        }
    }
}
