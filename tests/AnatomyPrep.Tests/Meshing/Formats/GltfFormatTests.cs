using System.Buffers.Binary;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

/// <summary>The rules are those of the glTF 2.0 specification, from memory: 4.4 (GLB), 3.6 (accessors and alignment), 3.7 (meshes).</summary>
public sealed class GltfFormatTests
{
    private static readonly RunContext s_run = new();

    [Fact]
    [Trait("Kind", "Truth")]
    public void Two_solids_are_read_back_as_they_were()
    {
        var cube = Cube();
        var ball = TestMeshes.Icosphere(2, 10, new Vec3(50, -20, 7));
        var (json, data) = Open(Bytes([new(cube, "cube", null, true), new(ball, "ball", new Rgb(1, 2, 3), true)]));
        using (json)
        {
            var root = json.RootElement;
            root.GetProperty("asset").GetProperty("version").GetString().Should().Be("2.0");
            root.TryGetProperty("extensionsUsed", out _).Should().BeFalse();
            root.GetProperty("nodes")[0].GetProperty("scale").EnumerateArray().Select(e => e.GetDouble()).Should().Equal(0.001, 0.001, 0.001);
            foreach (var (mesh, at) in new[] { (cube, 0), (ball, 1) })
            {
                var positions = Floats(root, data, 3 * at);
                var indices = Indices(root, data, (3 * at) + 2);
                indices.Should().HaveCount(mesh.Triangles.Length);
                for (var h = 0; h < indices.Length; h++)
                    for (var axis = 0; axis < 3; axis++)
                        positions[(3 * indices[h]) + axis].Should().Be((float)mesh.Vertex(mesh.TriangleArray[h])[axis]);
            }

            root.GetProperty("nodes")[2].GetProperty("name").GetString().Should().Be("ball");
        }
    }

    /// <summary>
    /// The top of the cube is cut: its four corners are written twice, 12 vertices in all, and every corner of a triangle has
    /// its triangle's colour. Linear values by IEC 61966-2-1: 217 is ((217/255 + 0.055)/1.055)^2.4 = 0.6939; 178 is 0.4452.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_colour_ends_at_the_edge_between_two_origins()
    {
        var cube = Cube();
        var (json, data) = Open(Bytes([new(cube, "cube", null, true)]));
        using (json)
        {
            var root = json.RootElement;
            root.GetProperty("accessors")[1].GetProperty("count").GetInt32().Should().Be(12);
            var indices = Indices(root, data, 2);
            var colours = View(root, data, 1);
            for (var h = 0; h < indices.Length; h++)
            {
                var blue = BinaryPrimitives.ReadUInt16LittleEndian(colours.AsSpan((8 * indices[h]) + 4)) / 65535.0;
                blue.Should().BeApproximately(cube.Origins[h / 3] == Origin.Cut ? 0.4452 : 0.6939, 1e-4);
            }
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_model_without_triangles_is_refused() =>
        FluentActions.Invoking(() => Bytes([new(Mesh.Empty, "nothing", null, false)])).Should().Throw<CheckFailedException>();

    [Fact]
    [Trait("Kind", "Threads")]
    public void Same_bytes_on_any_number_of_threads()
    {
        ThreeMfSolid[] solids = [new(Cube(), "cube", null, true)];
        var expected = Bytes(solids, new RunContext(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
            Bytes(solids, new RunContext(threads: threads)).Should().Equal(expected);
    }

    private static Mesh Cube()
    {
        var cube = TestMeshes.Cube(10);
        var origins = Enumerable.Range(0, 12).Select(t => Corners(cube, t).All(p => p.Z > 5) ? Origin.Cut : Origin.Measured).ToArray();
        return new(cube.OriginMm, cube.PositionArray, cube.TriangleArray, origins);
    }

    private static Vec3[] Corners(Mesh mesh, int triangle)
    {
        var (a, b, c) = mesh.Triangle(triangle);
        return [mesh.Vertex(a), mesh.Vertex(b), mesh.Vertex(c)];
    }

    private static byte[] Bytes(ThreeMfSolid[] solids, RunContext? run = null)
    {
        using var memory = new MemoryStream();
        GltfFormat.Write(solids, memory, "a test", run ?? s_run);
        return memory.ToArray();
    }

    private static (JsonDocument Json, byte[] Data) Open(byte[] file)
    {
        uint At(int place) => BinaryPrimitives.ReadUInt32LittleEndian(file.AsSpan(place));
        At(0).Should().Be(0x46546C67);
        At(4).Should().Be(2);
        At(8).Should().Be((uint)file.Length);
        var text = (int)At(12);
        (text % 4).Should().Be(0);
        At(16).Should().Be(0x4E4F534A);
        var data = (int)At(20 + text);
        (data % 4).Should().Be(0);
        At(24 + text).Should().Be(0x004E4942);
        (28 + text + data).Should().Be(file.Length);
        var json = JsonDocument.Parse(file.AsMemory(20, text));
        json.RootElement.GetProperty("buffers")[0].GetProperty("byteLength").GetInt32().Should().Be(data);
        return (json, file[(28 + text)..]);
    }

    private static byte[] View(JsonElement root, byte[] data, int accessor)
    {
        var view = root.GetProperty("bufferViews")[root.GetProperty("accessors")[accessor].GetProperty("bufferView").GetInt32()];
        var (offset, length) = (view.GetProperty("byteOffset").GetInt32(), view.GetProperty("byteLength").GetInt32());
        (offset % 4).Should().Be(0, "every element lies on a multiple of its size");
        return data[offset..(offset + length)];
    }

    private static float[] Floats(JsonElement root, byte[] data, int accessor)
    {
        var bytes = View(root, data, accessor);
        var values = Enumerable.Range(0, bytes.Length / 4).Select(i => BinaryPrimitives.ReadSingleLittleEndian(bytes.AsSpan(4 * i))).ToArray();
        var stated = root.GetProperty("accessors")[accessor];
        stated.GetProperty("count").GetInt32().Should().Be(values.Length / 3);
        for (var axis = 0; axis < 3; axis++)
        {
            var along = values.Where((_, i) => i % 3 == axis).ToArray();
            stated.GetProperty("min")[axis].GetSingle().Should().Be(along.Min());
            stated.GetProperty("max")[axis].GetSingle().Should().Be(along.Max());
        }

        return values;
    }

    private static int[] Indices(JsonElement root, byte[] data, int accessor)
    {
        var bytes = View(root, data, accessor);
        return [.. Enumerable.Range(0, bytes.Length / 4).Select(i => BinaryPrimitives.ReadInt32LittleEndian(bytes.AsSpan(4 * i)))];
    }
}
