using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class PointCloudFileTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void Points_and_normals_of_a_text_file_are_read_in_order()
    {
        var cloud = Read(FormatSamples.Points["xyz"]).Cloud;
        cloud.Count.Should().Be(3);
        cloud.Point(1).Should().Be(new Vec3(1.5, 0, -2));
        cloud.Normal(2).Should().Be(new Vec3(0, -1, 0));
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("0 0 0\n1 1\n", "*line 2, point: 2 numbers*")]
    [InlineData("0 0 0\n1 1 1 0 0 1\n", "*line 2, point: 6 numbers*")]
    [InlineData("0 0 0 1\n", "*4 numbers*")]
    [InlineData("0 0 0 1 1 1 1\n", "*more than six*")]
    [InlineData("0 0 0\n1,5 2 3\n", "*line 2, point: '1,5'*decimal point*")]
    [InlineData("0 0 0\n1 2 inf\n", "*line 2, point: 'inf'*")]
    [InlineData("0 0 0\n1 2 1e39\n", "*vertex 1*")]
    [InlineData("# nothing\n", "*no point format*")]
    [InlineData("x y z\n1 2 3\n", "*no point format*")]
    public void Text_that_is_wrong_is_refused_with_its_line(string text, string message) =>
        FluentActions.Invoking(() => Read(Encoding.UTF8.GetBytes(text))).Should().Throw<BadInputException>().WithMessage(message);

    [Fact]
    public void Normals_are_made_one_long_and_zero_means_unknown()
    {
        var cloud = Read("0 0 0 0 0 0.95\n1 1 1 0 0 0\n2 2 2 0.6 0.8 0.01\n"u8.ToArray()).Cloud;
        cloud.Normal(0).Should().Be(new Vec3(0, 0, 1));
        cloud.Normal(1).Should().Be(Vec3.Zero);
        cloud.Normal(2).Length.Should().BeApproximately(1, 1e-7);
    }

    [Fact]
    public void Colours_are_not_taken_for_normals()
    {
        var read = Read("0 0 0 255 120 3\n1 1 1 0 0 255\n"u8.ToArray());
        read.Cloud.HasNormals.Should().BeFalse();
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.NormalsIgnored);
    }

    [Fact]
    public void Points_and_meshes_are_not_taken_for_each_other()
    {
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.Points["ply-points"])).Should().Throw<BadInputException>().WithMessage("*points without triangles*");
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.Points["xyz"])).Should().Throw<BadInputException>().WithMessage("*points without triangles*");
        FluentActions.Invoking(() => Read(FormatSamples.All["off"])).Should().Throw<BadInputException>().WithMessage("*a mesh, not points*");
        Read(FormatSamples.All["ply-text"]).Cloud.Count.Should().Be(4, "the vertices of a PLY mesh are points too");
    }

    [Fact]
    public void The_unit_scales_points_and_the_size_is_judged()
    {
        var read = PointCloudFile.Read("0 0 0\n0.2 0.1 0.15\n"u8.ToArray(), "p", new MeshReadOptions(LengthUnit.Metre, "head"), FormatSamples.OneThread);
        read.Cloud.BoundsMm().Max.X.Should().BeApproximately(200, 2e-5);
        read.Findings.Should().BeEmpty();
        var unknown = PointCloudFile.Read("0 0 0\n0.2 0.1 0.15\n"u8.ToArray(), "p", new MeshReadOptions(Anatomy: "head"), FormatSamples.OneThread);
        unknown.Findings.Select(f => f.Code).Should().Equal(FindingCodes.UnitUnknown, FindingCodes.SizeImplausible);
    }

    private static PointCloudReadResult Read(byte[] bytes) => PointCloudFile.Read(bytes, "points", MeshReadOptions.Default, FormatSamples.OneThread);
}
