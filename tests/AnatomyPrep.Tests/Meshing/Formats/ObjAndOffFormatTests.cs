using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Formats;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class ObjFormatTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void Slashes_negative_numbers_and_continued_lines_name_the_same_vertices()
    {
        var read = FormatSamples.Read("v 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nvn 0 0 1\nf 1 2 3\nf 1/1 2/1 3/1\nf 1//1 2//1 3//1\nf 1/1/1 2/1/1 3/1/1\nf -3 -2 -1\nf 1 2\\\n 3\nf 1 \\\n2 \\\r\n3\n");
        read.Mesh.Triangles.ToArray().Should().Equal(Enumerable.Repeat(new[] { 0, 1, 2 }, 7).SelectMany(t => t));
    }

    [Fact]
    public void Negative_numbers_count_back_from_the_vertices_read_so_far()
    {
        var read = FormatSamples.Read("v 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\nv 0 0 1\nf -4 -3 -1\n");
        read.Mesh.Triangles.ToArray().Should().Equal(0, 1, 2, 0, 1, 3);
    }

    [Fact]
    public void Faces_may_come_before_their_vertices() =>
        FormatSamples.Read("f 1 2 3\nv 0 0 0\nv 1 0 0\nv 0 1 0\n").Mesh.TriangleCount.Should().Be(1);

    [Fact]
    public void Points_and_lines_are_left_out_and_told()
    {
        var read = FormatSamples.Read("v 0 0 0\nv 1 0 0\nv 0 1 0\np 1\nl 1 2\nf 1 2\nf 1 2 3\n");
        read.Mesh.TriangleCount.Should().Be(1);
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.FacesSkipped).Which.Message.Should().StartWith("3 ");
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1 0\n\nf 1 2 4\n", "*line 5, f: vertex 4, of 3*")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -4\n", "*line 4, f: vertex -4, of 3*")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", "*line 4, f: vertex 0, of 3*")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 x\n", "*line 4, f: 'x'*")]
    [InlineData("v 0 0 0\nv 1 0\nv 0 1 0\nf 1 2 3\n", "*line 2, v: missing*")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 NaN 0\nf 1 2 3\n", "*line 3, v: 'NaN'*")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1e400 0\nf 1 2 3\n", "*line 3, v: '1e400'*")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1e39 0\nf 1 2 3\n", "*vertex 2: a coordinate that is not a finite float32*")]
    [InlineData("v 0 0 0\nv 1 0 0\nv 0 1 0\n", "*triangle count: 0*")]
    [InlineData("v 0 0 0\nf 1 99999999999 1\n", "*line 2, f: vertex 99999999999*")]
    public void A_file_that_is_wrong_is_refused_with_its_line(string text, string message) =>
        FluentActions.Invoking(() => FormatSamples.Read(text)).Should().Throw<BadInputException>().WithMessage(message);

    [Fact]
    [Trait("Kind", "Property")]
    public void Any_mesh_of_finite_numbers_comes_back_bit_by_bit() => Gen.Float.Where(float.IsFinite).Array[9, 30].Sample(
        numbers =>
        {
            // About the origin 0, as a file has it; within 16 diagonals, or the reader would choose an origin of its own.
            float[] positions = [.. numbers[..(numbers.Length / 3 * 3)].Select(n => n == 0 ? 0 : n), 0, 0, 0];
            var mesh = new Mesh(Vec3.Zero, positions, [0, 1, 2]);
            using var memory = new MemoryStream();
            ObjFormat.Write(mesh, memory, "comment", FormatSamples.OneThread);
            FormatSamples.Read(memory.ToArray()).Mesh.Positions.ToArray().Should().Equal(positions);
        },
        iter: 2000,
        threads: 1);

    [Fact]
    public void Writing_gives_one_line_a_vertex_and_one_a_triangle()
    {
        using var memory = new MemoryStream();
        ObjFormat.Write(FormatSamples.Tetrahedron(), memory, "first\nsecond", FormatSamples.OneThread);
        Encoding.ASCII.GetString(memory.ToArray()).Should().Be("# first\n# second\nv 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n");
    }
}

public sealed class OffFormatTests
{
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n")]
    [InlineData("OFF 3 1\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2")]
    [InlineData("# first\nOFF # second\n\n3 1 3 # third\n# fourth\n0 0 0\n\n1 0 0\n0 1 0\n3 0 1 2 7\n")]
    [InlineData("COFF\n3 1 0\n0 0 0 255 0 0 255\n1 0 0 0 255 0 255\n0 1 0 0 0 255 255\n3 0 1 2\n")]
    [InlineData("NOFF\n3 1 0\n0 0 0 0 0 1\n1 0 0 0 0 1\n0 1 0 0 0 1\n3  0 1 2 0.5 0.5 0.5\n")]
    [InlineData("STCNOFF\r\n3 1 0\r\n0 0 0 0 0 1 1 1 1 1 0 0\r\n1 0 0 0 0 1 1 1 1 1 0 0\r\n0 1 0 0 0 1 1 1 1 1 0 0\r\n3 0 1 2\r\n")]
    public void Keywords_of_the_family_and_comments_are_understood(string text)
    {
        var read = FormatSamples.Read(text);
        read.Format.Should().Be("off");
        read.Mesh.Positions.ToArray().Should().Equal(0, 0, 0, 1, 0, 0, 0, 1, 0);
        read.Mesh.Triangles.ToArray().Should().Equal(0, 1, 2);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("4OFF\n3 1 0\n", "*'4OFF'*three dimensions*")]
    [InlineData("OFF BINARY\n", "*binary OFF*")]
    [InlineData("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 3\n", "*line 6, face: vertex 3 of 3*")]
    [InlineData("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1\n", "*face: missing*")]
    [InlineData("OFF\n3 1 0\n0 0 0\n1 0\n0 1 0\n3 0 1 2\n", "*line 4, vertex: missing*")]
    [InlineData("OFF\n3 0 0\n0 0 0\n1 0 0\n0 1 0\n", "*triangle count: 0*")]
    [InlineData("OFF\n-3 1 0\n", "*vertex count*")]
    public void A_file_that_is_wrong_is_refused_with_its_line(string text, string message) =>
        FluentActions.Invoking(() => FormatSamples.Read(text)).Should().Throw<BadInputException>().WithMessage(message);

    [Fact]
    public void More_faces_than_announced_are_told() =>
        FormatSamples.Read("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n3 0 2 1\n").Findings.Should().ContainSingle(f => f.Code == FindingCodes.ExtraBytes);
}
