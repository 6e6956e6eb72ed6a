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
}
