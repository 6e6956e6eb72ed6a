using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class TriangleColoursTests
{
    [Fact]
    public void A_triangle_has_the_class_of_its_largest_corner_and_none_where_one_was_not_measured()
    {
        var mesh = new Mesh(default, new float[18], [0, 1, 2, 1, 2, 3, 3, 4, 4, 0, 5, 1]);
        float[] values = [0.05f, 0.1f, 0.2f, 0.7f, 3, float.NaN];
        var colours = TriangleColours.ByLength(mesh, values, [0.1, 0.25, 0.5, 1]);
        colours.ClassOf.Should().Equal(1, 3, 4, 5);
        colours.Classes.Select(c => c.Word).Should().Equal("up to 0.1 mm", "up to 0.25 mm", "up to 0.5 mm", "up to 1 mm", "more than 1 mm", "not measured");
        colours.Classes.Select(c => c.Colour).Distinct().Should().HaveCount(6);
    }

    [Fact]
    public void Parts_that_follow_each_other_have_a_class_each()
    {
        var colours = TriangleColours.ByPart([("bone", new(1, 2, 3), 2), ("nothing", default, 0), ("skin", new(4, 5, 6), 1)]);
        colours.ClassOf.Should().Equal(0, 0, 2);
        colours.Classes.Should().Equal(("bone", new Rgb(1, 2, 3)), ("nothing", default), ("skin", new Rgb(4, 5, 6)));
    }
}
