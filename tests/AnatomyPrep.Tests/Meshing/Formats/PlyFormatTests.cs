using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class PlyFormatTests
{
    private static readonly string[] s_scalars = ["char", "uchar", "short", "ushort", "int", "uint", "float", "double", "int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"];

    public static TheoryData<string, string> ScalarsAndEncodings
    {
        get
        {
            var data = new TheoryData<string, string>();
            foreach (var scalar in s_scalars)
                foreach (var encoding in new[] { "ascii", "binary_little_endian", "binary_big_endian" })
                    data.Add(scalar, encoding);
            return data;
        }
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [MemberData(nameof(ScalarsAndEncodings))]
    public void Coordinates_of_every_type_are_read_in_every_encoding(string scalar, string encoding)
    {
        var isUnsigned = scalar.StartsWith('u');
        double[] coordinates = [0, 0, 0, 100, 0, 0, 0, isUnsigned ? 99 : -99, 0, 7, 7, 125];
        var bytes = Ply(encoding, $"element vertex 4\nproperty {scalar} x\nproperty {scalar} y\nproperty {scalar} z\nelement face 1\nproperty list uchar int vertex_indices\n",
            [.. coordinates.Select(c => (scalar, c)), ("uchar", 3), ("int", 0), ("int", 1), ("int", 2)]);
        FormatSamples.Read(bytes).Mesh.Positions.ToArray().Should().Equal(coordinates.Select(c => (float)c));
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [MemberData(nameof(ScalarsAndEncodings))]
    public void List_counts_of_every_type_are_read_in_every_encoding(string scalar, string encoding)
    {
        var bytes = Ply(encoding, $"element vertex 4\nproperty float x\nproperty float y\nproperty float z\nelement face 2\nproperty list {scalar} ushort vertex_index\nproperty list {scalar} double extra\n",
            [.. new double[] { 0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0 }.Select(c => ("float", c)),
             (scalar, 3), ("ushort", 0), ("ushort", 1), ("ushort", 2), (scalar, 0),
             (scalar, 4), ("ushort", 0), ("ushort", 1), ("ushort", 2), ("ushort", 3), (scalar, 2), ("double", 1), ("double", 2)]);
        var read = FormatSamples.Read(bytes);
        read.Mesh.TriangleCount.Should().Be(3);
        MeshMeasures.AreaMm2(read.Mesh).Should().Be(1.5);
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.PolygonsCut);
    }

    [Theory]
    [InlineData("ascii")]
    [InlineData("binary_big_endian")]
    public void Strips_turn_every_second_triangle_and_begin_anew_after_minus_one(string encoding)
    {
        var bytes = Ply(encoding, "element vertex 5\nproperty float x\nproperty float y\nproperty float z\nelement tristrips 1\nproperty list int int vertex_indices\n",
            [.. new double[] { 0, 0, 0, 0, 1, 0, 1, 0, 0, 1, 1, 0, 2, 0, 0 }.Select(c => ("float", c)),
             .. new double[] { 8, 0, 1, 2, 3, -1, 2, 3, 4 }.Select(c => ("int", c))]);
        FormatSamples.Read(bytes).Mesh.Triangles.ToArray().Should().Equal(0, 1, 2, 2, 1, 3, 2, 3, 4);
    }

    [Fact]
    public void Faces_may_come_before_their_vertices()
    {
        var bytes = Ply("binary_little_endian", "element face 1\nproperty list uchar int vertex_indices\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n",
            [("uchar", 4), ("int", 0), ("int", 1), ("int", 2), ("int", 3), .. new double[] { 0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0 }.Select(c => ("float", c))]);
        MeshMeasures.AreaMm2(FormatSamples.Read(bytes).Mesh).Should().Be(1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_header_with_carriage_returns_leaves_the_first_data_byte_alone()
    {
        // The first coordinate begins with the byte 0A, which must not be taken for the second half of a line end.
        var header = "ply\rformat binary_little_endian 1.0\relement vertex 3\rproperty char x\rproperty char y\rproperty char z\relement face 1\rproperty list uchar uchar vertex_indices\rend_header\r";
        byte[] bytes = [.. Encoding.ASCII.GetBytes(header), 10, 0, 0, 1, 0, 0, 0, 1, 0, 3, 0, 1, 2];
        FormatSamples.Read(bytes).Mesh.Local(0).X.Should().Be(10);
        byte[] windows = [.. Encoding.ASCII.GetBytes(header.Replace("\r", "\r\n", StringComparison.Ordinal)), 10, 0, 0, 1, 0, 0, 0, 1, 0, 3, 0, 1, 2];
        FormatSamples.Read(windows).Mesh.Local(0).X.Should().Be(10);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Doubles_far_from_zero_keep_their_shape_about_an_origin_of_their_own()
    {
        // A model of 1 mm, 500 m away: float32 about 0 would round to 0.03 mm.
        var mesh = FormatSamples.Read(Ply("binary_little_endian", "element vertex 3\nproperty double x\nproperty double y\nproperty double z\nelement face 1\nproperty list uchar int vertex_indices\n",
            [.. new double[] { 500_000.125, -300_000.5, 7, 500_001.0625, -300_000.5, 7, 500_000.125, -299_999.75, 7 }.Select(c => ("double", c)), ("uchar", 3), ("int", 0), ("int", 1), ("int", 2)])).Mesh;
        mesh.Vertex(0).Should().Be(new Vec3(500_000.125, -300_000.5, 7));
        mesh.Vertex(1).Should().Be(new Vec3(500_001.0625, -300_000.5, 7));
        mesh.OriginMm.X.Should().Be(Math.Round(mesh.OriginMm.X), "origins are whole millimetres");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Origins_and_positions_survive_writing_and_reading()
    {
        var mesh = FormatSamples.Torus(50, 40);
        var read = FormatSamples.Read(Written(mesh));
        read.Format.Should().Be("ply-little-endian");
        read.Mesh.Positions.SequenceEqual(mesh.Positions).Should().BeTrue();
        read.Mesh.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue();
        read.Mesh.Origins.SequenceEqual(mesh.Origins).Should().BeTrue();
    }

    [Fact]
    public void A_property_called_origin_that_is_not_ours_is_passed_over()
    {
        var foreign = Encoding.Latin1.GetString(Written(FormatSamples.Torus(5, 5))).Replace("comment origin 0", "comment other! 0", StringComparison.Ordinal);
        FormatSamples.Read(Encoding.Latin1.GetBytes(foreign)).Mesh.Origins.ToArray().Should().AllBeEquivalentTo(Origin.Measured);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_origin_that_does_not_exist_is_refused()
    {
        var bytes = Written(FormatSamples.Tetrahedron());
        bytes[^4] = 5;
        FluentActions.Invoking(() => FormatSamples.Read(bytes)).Should().Throw<BadInputException>().WithMessage("*origin: not one of 0 to 4*");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Stream_path_and_thread_counts_give_the_same_bytes()
    {
        using var folder = new TestFolder();
        var mesh = FormatSamples.Torus(300, 150, originMm: new Vec3(0.5, 100, -7));
        var expected = Written(mesh);
        expected.LongLength.Should().Be(PlyFormat.SizeBytes(mesh, "two\nlines"));
        foreach (var threads in new[] { 1, 2, 16 })
        {
            PlyFormat.Write(mesh, folder["m.ply"], "two\nlines", new RunContext(threads: threads));
            File.ReadAllBytes(folder["m.ply"]).AsSpan().SequenceEqual(expected).Should().BeTrue();
            var read = MeshFile.Read(folder["m.ply"], MeshReadOptions.Default, new RunContext(threads: threads)).Mesh;
            read.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue();
            read.Origins.SequenceEqual(mesh.Origins).Should().BeTrue();
        }
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("element vertex 4", "element vertex -4", "*line 5, header*")]
    [InlineData("property double x", "property quad x", "*line 6, header*")]
    [InlineData("format ascii 1.0", "format ascii 2.0", "*line 2, header*")]
    [InlineData("end_header", "end_headed", "*no end_header line*")]
    [InlineData("3 0 2 1", "3 0 2 4", "*face 0: vertex 4 of 4*")]
    [InlineData("3 0 2 1", "3 0 2 -1", "*face 0: vertex -1 of 4*")]
    [InlineData("3 0 2 1", "3 0 2 1.5", "*vertex_indices*")]
    [InlineData("3 0 2 1", "-3 0 2 1", "*a list of -3 values*")]
    [InlineData("0 0 0 1 0", "0 0 inf 1 0", "*where a number must be*")]
    [InlineData("0 0 0 1 0", "0 0 0 1e39 0", "*vertex 3: a coordinate that is not a finite*")]
    [InlineData("3 1 2 3 9", "3 1 2", "*missing where a*")]
    public void A_text_file_that_is_wrong_is_refused_with_the_place(string from, string to, string message)
    {
        var text = Encoding.UTF8.GetString(FormatSamples.All["ply-text"]).Replace(from, to, StringComparison.Ordinal);
        FluentActions.Invoking(() => FormatSamples.Read(text)).Should().Throw<BadInputException>().WithMessage(message);
    }

    [Fact]
    public void More_rows_than_announced_are_told()
    {
        FormatSamples.Read([.. FormatSamples.All["ply-big-endian"], 1, 2, 3]).Findings.Should().ContainSingle(f => f.Code == FindingCodes.ExtraBytes);
        FormatSamples.Read([.. FormatSamples.All["ply-text"], .. "\n3 0 1 2 9"u8]).Findings.Should().ContainSingle(f => f.Code == FindingCodes.ExtraBytes);
    }

    /// <summary>A PLY file from a header and values, each in the given type: an encoder of its own, beside our writer.</summary>
    private static byte[] Ply(string encoding, string elements, (string Type, double Value)[] values)
    {
        using var memory = new MemoryStream();
        memory.Write(Encoding.ASCII.GetBytes($"ply\nformat {encoding} 1.0\n{elements}end_header\n"));
        foreach (var (type, value) in values)
        {
            if (encoding == "ascii")
            {
                memory.Write(Encoding.ASCII.GetBytes(value.ToString(System.Globalization.CultureInfo.InvariantCulture) + " "));
                continue;
            }

            byte[] bytes = type switch
            {
                "char" or "int8" => [(byte)(sbyte)value],
                "uchar" or "uint8" => [(byte)value],
                "short" or "int16" => BitConverter.GetBytes((short)value),
                "ushort" or "uint16" => BitConverter.GetBytes((ushort)value),
                "int" or "int32" => BitConverter.GetBytes((int)value),
                "uint" or "uint32" => BitConverter.GetBytes((uint)value),
                "float" or "float32" => BitConverter.GetBytes((float)value),
                _ => BitConverter.GetBytes(value),
            };
            if (encoding == "binary_big_endian")
                Array.Reverse(bytes);
            memory.Write(bytes);
        }

        return memory.ToArray();
    }

    private static byte[] Written(Mesh mesh)
    {
        using var memory = new MemoryStream();
        PlyFormat.Write(mesh, memory, "two\nlines", FormatSamples.OneThread);
        return memory.ToArray();
    }
}
