using System.Buffers.Binary;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class StlFormatTests
{
    /// <summary>Source of the sizes: reference-values.md, section 4, binary STL.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData(0, 84)]
    [InlineData(1, 134)]
    [InlineData(12, 684)]
    [InlineData(1_000_000, 50_000_084)]
    public void Size_is_eighty_four_and_fifty_a_triangle(int triangles, long bytes) => StlFormat.SizeBytes(triangles).Should().Be(bytes);

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("solid skull")]
    [InlineData(" SOLID skull")]
    [InlineData("\t\n Solid")]
    [InlineData("solid")]
    public void Header_never_begins_with_solid(string header)
    {
        var start = Encoding.ASCII.GetString(Written(FormatSamples.Tetrahedron(), header)[..80]).TrimStart();
        start.Should().NotStartWithEquivalentOf("solid").And.ContainEquivalentOf("solid");
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Header_is_the_longest_whole_beginning_that_fits_in_eighty_bytes() => Gen.String.Sample(
        text =>
        {
            var bytes = Written(FormatSamples.Tetrahedron(), "x" + text)[..80];
            var length = Math.Max(1, bytes.AsSpan().LastIndexOfAnyExcept((byte)0) + 1);
            var shown = new UTF8Encoding(false, throwOnInvalidBytes: true).GetString(bytes, 0, length);
            var runes = string.Concat(("x" + text).EnumerateRunes().Select(r => Rune.IsControl(r) ? " " : r.ToString()));
            runes.Should().StartWith(shown);
            if (shown.Length < runes.Length)
                (length + Rune.GetRuneAt(runes, shown.Length).Utf8SequenceLength).Should().BeGreaterThan(80);
        },
        iter: 300,
        threads: 1);

    [Theory]
    [InlineData("é")]
    [InlineData("€")]
    [InlineData("𝄞")]
    public void A_character_that_does_not_fit_is_left_out_whole(string last)
    {
        var bytes = Written(FormatSamples.Tetrahedron(), new string('a', 79) + last)[..80];
        Encoding.ASCII.GetString(bytes).Should().Be(new string('a', 79) + "\0");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Facets_hold_corners_unit_normals_and_a_zero_attribute()
    {
        var mesh = FormatSamples.Torus(30, 20, centerMm: new Vec3(100, -50, 700), originMm: new Vec3(64, 0, 512));
        var bytes = Written(mesh, "torus");
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var record = bytes.AsSpan(84 + (50 * t), 50);
            Vec3 Point(int i, ReadOnlySpan<byte> r) => new(
                BinaryPrimitives.ReadSingleLittleEndian(r[(12 * i)..]), BinaryPrimitives.ReadSingleLittleEndian(r[((12 * i) + 4)..]), BinaryPrimitives.ReadSingleLittleEndian(r[((12 * i) + 8)..]));
            var (a, b, c) = mesh.Triangle(t);
            foreach (var (i, v) in new[] { (1, a), (2, b), (3, c) })
            {
                var p = mesh.Vertex(v);
                Point(i, record).Should().Be(new Vec3((float)p.X, (float)p.Y, (float)p.Z));
            }

            var true_ = Vec3.Cross(Point(2, record) - Point(1, record), Point(3, record) - Point(1, record)).Normalized();
            // Three roundings to float32 of numbers up to 1: half a unit in the last place each, 3e-8 times the root of 3.
            Vec3.Distance(Point(0, record), true_).Should().BeLessThan(6e-8);
            record[48..].ToArray().Should().Equal(0, 0);
        }
    }

    [Theory]
    [InlineData(1e-18)]
    [InlineData(1e-3)]
    [InlineData(1e15)]
    public void Normals_are_right_at_any_size(double sizeMm)
    {
        var s = (float)sizeMm;
        var bytes = Written(new Mesh(Vec3.Zero, [0, 0, 0, s, 0, 0, 0, s, 0], [0, 1, 2]), "");
        BinaryPrimitives.ReadSingleLittleEndian(bytes.AsSpan(84 + 8)).Should().Be(1);
    }

    [Fact]
    public void A_triangle_without_area_has_the_normal_zero()
    {
        var bytes = Written(new Mesh(Vec3.Zero, [0, 0, 0, 1, 1, 1, 2, 2, 2], [0, 1, 2]), "");
        bytes[84..96].Should().AllBeEquivalentTo((byte)0);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Stream_path_and_thread_counts_give_the_same_bytes()
    {
        using var folder = new TestFolder();
        // 80,000 triangles: sixteen blocks of 256 KiB and some; the stream version needs a second batch.
        var mesh = FormatSamples.Torus(200, 200, originMm: new Vec3(3, 2, 1));
        var expected = Written(mesh, "torus");
        expected.LongLength.Should().Be(StlFormat.SizeBytes(mesh.TriangleCount));
        foreach (var threads in new[] { 1, 2, 3, 16 })
        {
            StlFormat.Write(mesh, folder["torus.stl"], "torus", new RunContext(threads: threads));
            File.ReadAllBytes(folder["torus.stl"]).AsSpan().SequenceEqual(expected).Should().BeTrue();
            Written(mesh, "torus", threads).AsSpan().SequenceEqual(expected).Should().BeTrue();
        }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Every_thread_count_reads_the_same_mesh()
    {
        var bytes = Written(FormatSamples.Torus(300, 100), "torus");
        var one = MeshFile.Read(bytes, "t.stl", MeshReadOptions.Default, new RunContext(threads: 1)).Mesh;
        one.VertexCount.Should().Be(30_000, "the torus is closed: half as many vertices as triangles");
        foreach (var threads in new[] { 2, 3, 16 })
        {
            var other = MeshFile.Read(bytes, "t.stl", MeshReadOptions.Default, new RunContext(threads: threads)).Mesh;
            other.Positions.SequenceEqual(one.Positions).Should().BeTrue();
            other.Triangles.SequenceEqual(one.Triangles).Should().BeTrue();
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void What_is_written_comes_back_with_vertices_in_the_order_of_their_triangles()
    {
        var mesh = FormatSamples.Torus(64, 128);
        var read = FormatSamples.Read(Written(mesh, "torus"));
        read.Mesh.VertexCount.Should().Be(mesh.VertexCount);
        read.WeldedVertices.Should().Be((3 * mesh.TriangleCount) - mesh.VertexCount);
        var seen = -1;
        for (var h = 0; h < mesh.Triangles.Length; h++)
        {
            read.Mesh.Local(read.Mesh.Triangles[h]).Should().Be(mesh.Local(mesh.Triangles[h]));
            read.Mesh.Triangles[h].Should().BeLessThanOrEqualTo(seen + 1);
            seen = Math.Max(seen, read.Mesh.Triangles[h]);
        }
    }

    [Fact]
    public void Without_welding_every_triangle_keeps_its_own_vertices()
    {
        var read = FormatSamples.Read(FormatSamples.All["stl-binary"], new MeshReadOptions(Weld: Welding.None));
        read.Mesh.VertexCount.Should().Be(12);
        read.WeldedVertices.Should().Be(0);
        read.Mesh.Triangles.ToArray().Should().Equal(Enumerable.Range(0, 12));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_binary_file_whose_header_says_solid_is_read_as_binary()
    {
        var read = FormatSamples.Read(FormatSamples.StlBinary("solid facet normal outer loop"));
        read.Format.Should().Be("stl-binary");
        read.Findings.Should().Contain(f => f.Code == FindingCodes.HeaderMisleading);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("header")]
    [InlineData("solid facet normal")]
    public void Bytes_after_the_last_triangle_are_told(string header)
    {
        var read = FormatSamples.Read(FormatSamples.StlBinary(header, extraBytes: 17));
        read.Mesh.TriangleCount.Should().Be(4);
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.ExtraBytes).Which.Severity.Should().Be(Severity.Caution);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Fewer_triangles_than_announced_are_refused_with_both_numbers() =>
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.StlBinary(count: 5)))
            .Should().Throw<BadInputException>().WithMessage("sample: triangle count: 5, which needs 334 bytes of 284.*");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void No_triangles_are_refused() =>
        FluentActions.Invoking(() => FormatSamples.Read(new byte[84])).Should().Throw<BadInputException>().WithMessage("*triangle count: 0*");

    /// <summary>Two bad corners, in different pieces: whatever thread is first, the message names the first in the file.</summary>
    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(float.NaN)]
    [InlineData(float.PositiveInfinity)]
    [InlineData(float.NegativeInfinity)]
    public void The_first_coordinate_that_is_not_finite_is_named(float bad)
    {
        var bytes = Written(FormatSamples.Torus(200, 100), "torus");
        BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(84 + (50 * 30_000) + 12), bad);
        BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(84 + (50 * 9_000) + 12 + 24 + 8), bad);
        foreach (var threads in new[] { 1, 4 })
            FluentActions.Invoking(() => MeshFile.Read(bytes, "bad.stl", MeshReadOptions.Default, new RunContext(threads: threads)))
                .Should().Throw<BadInputException>().WithMessage("bad.stl: triangle 9000, corner 2:*");
    }

    [Theory]
    [InlineData("stl-binary")]
    [InlineData("stl-text")]
    public void Normals_that_point_inward_are_told(string format)
    {
        byte[] bytes;
        if (format == "stl-binary")
        {
            bytes = FormatSamples.StlBinary();
            for (var t = 0; t < 4; t++)
                for (var axis = 0; axis < 3; axis++)
                    bytes[84 + (50 * t) + (4 * axis) + 3] ^= 0x80;
        }
        else
            bytes = FormatSamples.Text(Encoding.UTF8.GetString(FormatSamples.All[format]).Replace("normal 0 0 -1", "normal 0 0 1", StringComparison.Ordinal));
        FormatSamples.Read(bytes).Findings.Should().ContainSingle(f => f.Code == FindingCodes.NormalsDisagree)
            .Which.Message.Should().StartWith(format == "stl-binary" ? "4 of 4" : "1 of 4");
        FormatSamples.Read(FormatSamples.All[format]).Findings.Should().NotContain(f => f.Code == FindingCodes.NormalsDisagree);
    }

    [Theory]
    [InlineData("\n")]
    [InlineData("\r\n")]
    [InlineData("\r")]
    public void Text_is_read_with_any_line_end_and_any_case(string lineEnd)
    {
        var text = Encoding.UTF8.GetString(FormatSamples.All["stl-text"]).Replace("\n", lineEnd, StringComparison.Ordinal);
        foreach (var variant in new[] { text, text.ToUpperInvariant(), "\uFEFF" + text, text + lineEnd + text, text.Replace("endsolid tetra", "", StringComparison.Ordinal) })
        {
            var read = FormatSamples.Read(Encoding.UTF8.GetBytes(variant));
            read.Format.Should().Be("stl-text");
            read.Mesh.VertexCount.Should().Be(4);
        }
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("vertex 1 0 0", "vertex 1,5 0 0", "*line 5, vertex: '1,5'*decimal point*")]
    [InlineData("vertex 1 0 0", "vertex nan 0 0", "*line 5, vertex: 'nan'*")]
    [InlineData("vertex 1 0 0", "vertex 1e39 0 0", "*line 5, vertex: a number beyond float32*")]
    [InlineData("endloop", "", "*line 7, facet: 'endfacet' where a word 'endloop' must be*")]
    [InlineData("outer loop", "outer", "*line 3, facet: 'vertex' where a word 'loop'*")]
    public void Text_that_is_wrong_is_refused_with_its_line(string from, string to, string message)
    {
        var text = Encoding.UTF8.GetString(FormatSamples.All["stl-text"]);
        var at = text.IndexOf(from, StringComparison.Ordinal);
        FluentActions.Invoking(() => FormatSamples.Read(text[..at] + to + text[(at + from.Length)..])).Should().Throw<BadInputException>().WithMessage(message);
    }

    [Fact]
    public void A_cancelled_or_impossible_write_leaves_no_file()
    {
        using var folder = new TestFolder();
        using var stop = new CancellationTokenSource();
        stop.Cancel();
        FluentActions.Invoking(() => StlFormat.Write(FormatSamples.Torus(200, 100), folder["m.stl"], "", new RunContext(cancellation: stop.Token)))
            .Should().Throw<OperationCanceledException>();
        Directory.GetFileSystemEntries(folder.Path).Should().BeEmpty();
        FluentActions.Invoking(() => StlFormat.Write(FormatSamples.Tetrahedron(), folder["none/m.stl"], "", RunContext.Default))
            .Should().Throw<BadInputException>().Which.Message.Should().NotContain(folder.Path);
    }

    /// <summary>The last record of a block is written number by number, the others sixteen bytes at a time: a triangle alone against the same among others.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Records_written_several_numbers_at_a_time_hold_the_same_bits() => Gen.Float[-1e4f, 1e4f].Array[9 * 20].Sample(
        positions =>
        {
            var origin = new Vec3(0.1, -70.3, 1234.56);
            // One triangle without area, and one whose corners are negative zeros.
            positions.AsSpan(0, 3).CopyTo(positions.AsSpan(3, 3));
            positions.AsSpan(9, 9).Fill(-0f);
            var together = Written(new Mesh(origin, positions, [.. Enumerable.Range(0, 60)]), "x");
            for (var t = 0; t < 20; t++)
            {
                var alone = Written(new Mesh(origin, positions[(9 * t)..(9 * (t + 1))], [0, 1, 2]), "x");
                together.AsSpan(84 + (50 * t), 50).SequenceEqual(alone.AsSpan(84)).Should().BeTrue();
            }
        },
        iter: 200,
        threads: 1);

    private static byte[] Written(Mesh mesh, string header, int threads = 1)
    {
        using var memory = new MemoryStream();
        StlFormat.Write(mesh, memory, header, new RunContext(threads: threads));
        return memory.ToArray();
    }
}
