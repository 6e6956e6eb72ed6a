using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Tests.Core.Volumes;

public sealed class LevelFieldTests
{
    [Theory]
    [InlineData(13, 9, 7, 4, 3)]
    [InlineData(12, 8, 6, 4, 2)]
    [InlineData(1, 1, 1, 5, 5)]
    [InlineData(5, 5, 5, 1, 1)]
    [Trait("Kind", "Truth")]
    public void A_field_linear_in_the_index_is_given_back_at_every_sample(int columns, int rows, int slices, int step, int sliceStep)
    {
        int Level(int i, int j, int k) => 100 + (3 * i) - (5 * j) + (7 * k);
        var field = Field(columns, rows, slices, step, sliceStep, (a, b, c) => (short)Level(a * step, b * step, c * sliceStep));
        var row = new short[columns];
        for (var k = 0; k < slices; k++)
        {
            for (var j = 0; j < rows; j++)
            {
                field.Row(j, k, row);
                for (var i = 0; i < columns; i++)
                {
                    field[i, j, k].Should().Be((short)Level(i, j, k));
                    row[i].Should().Be((short)Level(i, j, k));
                }
            }
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Rows_and_single_samples_agree_for_any_nodes_and_stay_between_them()
    {
        var random = new Random(3);
        var field = Field(23, 17, 11, 5, 4, (_, _, _) => (short)random.Next(-300, 700));
        var row = new short[23];
        for (var k = 0; k < 11; k++)
        {
            for (var j = 0; j < 17; j++)
            {
                field.Row(j, k, row);
                for (var i = 0; i < 23; i++)
                    field[i, j, k].Should().Be(row[i]).And.BeInRange(-300, 700);
            }
        }
    }

    [Fact]
    public void A_wrong_number_of_nodes_is_refused()
    {
        var act = () => new LevelField(10, 10, 10, 3, 3, new short[63]);
        act.Should().Throw<ArgumentException>();
        LevelField.NodesAlong(10, 3).Should().Be(4);
        LevelField.NodesAlong(11, 3).Should().Be(5, "the last node lies on or beyond the last sample");
    }

    private static LevelField Field(int columns, int rows, int slices, int step, int sliceStep, Func<int, int, int, short> node)
    {
        int a = LevelField.NodesAlong(columns, step), b = LevelField.NodesAlong(rows, step), c = LevelField.NodesAlong(slices, sliceStep);
        var nodes = new short[a * b * c];
        for (var n = 0; n < nodes.Length; n++)
            nodes[n] = node(n % a, n / a % b, n / (a * b));
        return new(columns, rows, slices, step, sliceStep, nodes);
    }
}
