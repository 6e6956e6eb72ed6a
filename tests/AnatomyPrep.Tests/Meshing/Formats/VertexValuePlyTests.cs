using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class VertexValuePlyTests
{
    [Fact]
    public void The_mesh_reads_back_and_every_vertex_has_its_value()
    {
        using var folder = new TestFolder();
        float[] values = [0.25f, float.NaN, 1.5f, 0];
        var mesh = new Mesh(new(100, 0, -20), [0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1], [0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3]);
        VertexValuePly.Write(mesh, "shift_mm", values, folder["values.ply"], "what it means", RunContext.Default);

        var bytes = File.ReadAllBytes(folder["values.ply"]);
        var text = System.Text.Encoding.ASCII.GetString(bytes);
        text.Should().Contain("comment what it means\n").And.Contain("property float shift_mm\n");
        var data = text.IndexOf("end_header\n", StringComparison.Ordinal) + "end_header\n".Length;
        for (var v = 0; v < 4; v++)
            BitConverter.ToSingle(bytes, data + (16 * v) + 12).Should().Be(values[v]);
        var back = MeshFile.Read(folder["values.ply"], new MeshReadOptions(LengthUnit.Millimetre), RunContext.Default).Mesh;
        back.Triangles.ToArray().Should().Equal(mesh.Triangles.ToArray());
        Enumerable.Range(0, 4).Select(back.Vertex).Should().Equal(Enumerable.Range(0, 4).Select(mesh.Vertex));
    }

    [Fact]
    public void One_value_a_vertex_is_needed()
    {
        var act = () => VertexValuePly.Write(Mesh.Empty, "x", [1], "never.ply", "", RunContext.Default);
        act.Should().Throw<ArgumentOutOfRangeException>();
        File.Exists("never.ply").Should().BeFalse();
    }
}
