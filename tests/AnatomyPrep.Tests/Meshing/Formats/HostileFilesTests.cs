using System.Diagnostics;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

/// <summary>Whatever the bytes: a sound mesh, or one sentence that says why not. Never another exception, a hang, or a flood of memory.</summary>
[Trait("Kind", "Hostile")]
public sealed class HostileFilesTests
{
    public static TheoryData<string> Names => FormatSamples.Names;

    public static TheoryData<string> PointNames => [.. FormatSamples.Points.Keys];

    [Theory]
    [MemberData(nameof(Names))]
    public void Every_sample_is_read_as_what_it_is(string name)
    {
        var read = FormatSamples.Read(FormatSamples.All[name]);
        read.Format.Should().Be(name);
        read.Mesh.VertexCount.Should().Be(4);
        MeshMeasures.SignedVolumeMm3(read.Mesh).Should().BeApproximately(1.0 / 6, 1e-15, "the tetrahedron faces outward");
        EdgeTable.Build(read.Mesh).BoundaryEdges.Should().Be(0);
    }

    [Theory]
    [MemberData(nameof(Names))]
    public void Every_prefix_is_a_mesh_or_a_reason(string name)
    {
        var whole = FormatSamples.All[name];
        for (var length = 0; length < whole.Length; length++)
            ReadAnything(whole[..length], $"{name} cut to {length}");
    }

    [Theory]
    [MemberData(nameof(Names))]
    public void Every_single_byte_change_is_a_mesh_or_a_reason(string name)
    {
        var whole = FormatSamples.All[name];
        // A package costs a hundred times a text file: its changes are single bits and a few telling values.
        int[] changes = name == "3mf" ? [1, 2, 4, 8, 16, 32, 64, 128, 0xFF] : [.. Enumerable.Range(1, 255)];
        for (var at = 0; at < whole.Length; at++)
        {
            foreach (var change in changes)
            {
                var changed = (byte[])whole.Clone();
                changed[at] ^= (byte)change;
                ReadAnything(changed, $"{name} byte {at} xor {change}");
            }
        }
    }

    [Theory]
    [MemberData(nameof(Names))]
    public void Two_thousand_mutated_files_are_meshes_or_reasons(string name)
    {
        for (var seed = 0; seed < 2000; seed++)
        {
            var random = new Random(seed);
            var bytes = new List<byte>(FormatSamples.All[name]);
            for (var changes = random.Next(1, 6); changes > 0; changes--)
                MutateOnce(bytes, random);
            ReadAnything([.. bytes], $"{name} seed {seed}");
        }
    }

    /// <summary>Mutating the package seldom gets past its checksums: here the model is mutated, and packed soundly.</summary>
    [Fact]
    public void Two_thousand_mutated_models_in_sound_packages_are_meshes_or_reasons()
    {
        var model = FormatSamples.Text(FormatSamples.ThreeMfModel(
            more: "<object id=\"2\"><components><component objectid=\"1\" transform=\"0 1 0 0 0 1 1 0 0 1 0 0\"/></components></object>", build: "<item objectid=\"1\"/><item objectid=\"2\"/>"));
        for (var seed = 0; seed < 2000; seed++)
        {
            var random = new Random(seed);
            var bytes = new List<byte>(model);
            for (var changes = random.Next(1, 4); changes > 0; changes--)
                MutateOnce(bytes, random);
            ReadAnything(FormatSamples.ThreeMf(bytes.ToArray()), $"model seed {seed}");
        }
    }

    [Theory]
    [MemberData(nameof(PointNames))]
    public void Damaged_points_are_points_or_a_reason(string name)
    {
        var whole = FormatSamples.Points[name];
        for (var length = 0; length < whole.Length; length++)
            ReadPoints(whole[..length], $"{name} cut to {length}");
        for (var at = 0; at < whole.Length; at++)
        {
            for (var change = 1; change < 256; change++)
            {
                var changed = (byte[])whole.Clone();
                changed[at] ^= (byte)change;
                ReadPoints(changed, $"{name} byte {at} xor {change}");
            }
        }
    }

    public static TheoryData<string, string> Claims => new()
    {
        { "stl-binary", "" },
        { "ply-text", "ply\nformat ascii 1.0\nelement vertex 100000000\nproperty float x\nproperty float y\nproperty float z\nelement face 100000000\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n" },
        { "ply-binary", "ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty char x\nproperty char y\nproperty char z\nelement face 100000000\nproperty list uchar int vertex_indices\nend_header\n\0\0\0\u0001\0\0\0\u0001\0\u0003" },
        { "ply-list", "ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty char x\nproperty char y\nproperty char z\nelement face 1\nproperty list uint int vertex_indices\nend_header\n\0\0\0\u0001\0\0\0\u0001\0\u007f\u007f\u007f\u007f" },
        { "ply-empty-element", "ply\nformat ascii 1.0\nelement nothing 999999999999\nelement vertex 100000000\nproperty float x\nproperty float y\nproperty float z\nend_header\n" },
        { "off", "OFF\n100000000 100000000 0\n0 0 0\n" },
        { "off-face", "OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n100000000 0 1 2\n" },
        { "obj", "v 0 0 0\nf 1 100000000 2\n" },
    };

    /// <summary>1 kB files that claim 100 million of something are refused before anything of that size is made.</summary>
    [Theory]
    [MemberData(nameof(Claims))]
    public void A_small_file_with_a_large_claim_costs_little_memory(string name, string text)
    {
        var bytes = name == "stl-binary" ? FormatSamples.StlBinary(count: 100_000_000, extraBytes: 700) : Encoding.Latin1.GetBytes(text.PadRight(1000));
        FluentActions.Invoking(() => FormatSamples.Read(bytes)).Should().Throw<BadInputException>();
        var before = GC.GetAllocatedBytesForCurrentThread();
        FluentActions.Invoking(() => FormatSamples.Read(bytes)).Should().Throw<BadInputException>();
        // Buffers of fixed size: 64 KiB each for text and rows; 100 million triangles would be 1.2 GB.
        (GC.GetAllocatedBytesForCurrentThread() - before).Should().BeLessThan(2_000_000);
    }

    [Fact]
    public void A_package_that_unpacks_to_a_thousand_times_its_size_is_refused()
    {
        // 200 MB of blanks inside the model part pack to 200 kB.
        var bomb = FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(before: new string(' ', 200_000_000)));
        bomb.Length.Should().BeLessThan(400_000);
        FluentActions.Invoking(() => FormatSamples.Read(bomb)).Should().Throw<BadInputException>().WithMessage("*100 times its size*");
    }

    [Fact]
    public void A_document_type_is_refused_before_its_entities_are_looked_at()
    {
        const string laughs = "<!DOCTYPE model [<!ENTITY a \"ha\"><!ENTITY b SYSTEM \"file:///etc/hostname\">]>";
        var model = FormatSamples.ThreeMfModel().Replace("<model", laughs + "<model", StringComparison.Ordinal);
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(model))).Should().Throw<BadInputException>().WithMessage("*DTD*");
    }

    /// <summary>Thirty objects, each twice the one before: 2^30 tetrahedra out of 3 kB.</summary>
    [Fact]
    public void Copies_of_copies_are_counted_before_they_are_made()
    {
        var doubling = new StringBuilder();
        for (var id = 2; id <= 31; id++)
            doubling.Append($"<object id=\"{id}\"><components><component objectid=\"{id - 1}\"/><component objectid=\"{id - 1}\"/></components></object>");
        var model = FormatSamples.ThreeMfModel(more: doubling.ToString(), build: "<item objectid=\"31\"/>");
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(model))).Should().Throw<BadInputException>().WithMessage("*by copying*");
    }

    /// <summary>The same with nothing to copy: no triangles, and yet 2^60 places to visit if one went to each.</summary>
    [Fact]
    public void Copies_of_nothing_take_no_time()
    {
        var doubling = new StringBuilder("<object id=\"2\"><components/></object>");
        for (var id = 3; id <= 33; id++)
            doubling.Append($"<object id=\"{id}\"><components><component objectid=\"{id - 1}\"/><component objectid=\"{id - 1}\"/></components></object>");
        var model = FormatSamples.ThreeMfModel(more: doubling.ToString(), build: "<item objectid=\"33\"/><item objectid=\"1\"/>");
        FormatSamples.Read(FormatSamples.ThreeMf(model)).Mesh.TriangleCount.Should().Be(4);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void Deep_nesting_of_objects_is_refused_from_either_end(bool itemsFromBelow)
    {
        var chain = new StringBuilder();
        var items = new StringBuilder();
        for (var id = 2; id <= 50_000; id++)
        {
            chain.Append($"<object id=\"{id}\"><components><component objectid=\"{id - 1}\"/></components></object>");
            if (itemsFromBelow)
                items.Append($"<item objectid=\"{id}\"/>");
        }

        items.Append("<item objectid=\"50000\"/>");
        var model = FormatSamples.ThreeMfModel(more: chain.ToString(), build: items.ToString());
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(model))).Should().Throw<BadInputException>().WithMessage("*deep*");
    }

    /// <summary>A comb: 4,096 corners, no two neighbours convex, the worst case of ear clipping that is still cut.</summary>
    [Fact]
    public void The_largest_polygon_that_is_cut_takes_less_than_a_few_seconds()
    {
        var text = new StringBuilder($"OFF\n{PolygonTriangulation.MostCorners} 1 0\n");
        for (var i = 0; i < PolygonTriangulation.MostCorners / 2; i++)
            text.Append($"{i} {(i % 2 == 0 ? 0 : 5)} 0\n");
        for (var i = (PolygonTriangulation.MostCorners / 2) - 1; i >= 0; i--)
            text.Append($"{i} {(i % 2 == 0 ? 10 : 6)} 0\n");
        text.Append(PolygonTriangulation.MostCorners).AppendJoin("", Enumerable.Range(0, PolygonTriangulation.MostCorners).Select(i => $" {i}"));
        var watch = Stopwatch.StartNew();
        FormatSamples.Read(text.ToString()).Mesh.TriangleCount.Should().Be(PolygonTriangulation.MostCorners - 2);
        watch.Elapsed.Should().BeLessThan(TimeSpan.FromSeconds(20), "n² / 2 tests of a nanosecond or two take well under a second; the rest is for a busy machine");
    }

    [Theory]
    [InlineData("missing.stl")]
    [InlineData("folder")]
    [InlineData("empty.stl")]
    public void A_file_that_is_not_there_or_empty_is_bad_input_without_its_folder(string name)
    {
        using var folder = new TestFolder();
        Directory.CreateDirectory(folder["folder"]);
        File.WriteAllBytes(folder["empty.stl"], []);
        var act = () => MeshFile.Read(folder[name], MeshReadOptions.Default, RunContext.Default);
        act.Should().Throw<BadInputException>().Which.Message.Should().StartWith(name + ":").And.NotContain(folder.Path);
    }

    [Fact]
    public void A_named_pipe_does_not_make_the_reader_wait()
    {
        using var folder = new TestFolder();
        using (var mkfifo = Process.Start("mkfifo", folder["pipe.stl"]))
            mkfifo.WaitForExit();
        FluentActions.Invoking(() => MeshFile.Read(folder["pipe.stl"], MeshReadOptions.Default, RunContext.Default)).Should().Throw<BadInputException>();
    }

    /// <summary>By counts where the file begins with them, by its size where it does not: refused before it is read.</summary>
    [Theory]
    [MemberData(nameof(Names))]
    public void A_budget_too_small_for_the_mesh_is_said_before_it_is_made(string name)
    {
        var run = new RunContext(threads: 1, memory: new MemoryBudget(100));
        FluentActions.Invoking(() => MeshFile.Read(FormatSamples.All[name], name, MeshReadOptions.Default, run)).Should().Throw<BadInputException>().WithMessage("*memory*");
    }

    [Fact]
    public void Cancelling_stops_every_reader_with_nothing_but_that()
    {
        using var stop = new CancellationTokenSource();
        stop.Cancel();
        var run = new RunContext(threads: 2, cancellation: stop.Token);
        foreach (var (name, bytes) in FormatSamples.All)
            FluentActions.Invoking(() => MeshFile.Read(bytes, name, MeshReadOptions.Default, run)).Should().Throw<OperationCanceledException>(name);
    }

    private static readonly byte[][] s_tellingBytes =
    [
        .. new[] { "-1", "4294967295", "1e999", "nan", "0", "99999999999999999999", "1e-400", "\n", "\r", "#", "\\\n", "/", "f 1 2 3 4\n", "3 0 0 0\n", "<", "\"", "&#0;", "\uFEFF" }.Select(Encoding.UTF8.GetBytes),
        [0xFF, 0xFF, 0xFF, 0xFF], [0, 0, 0x80, 0x7F], [0, 0, 0xC0, 0x7F], [0, 0, 0, 0x80], [0, 0, 0, 0], [0xFF, 0xFF, 0x7F, 0x7F],
    ];

    // Deletes, repeats, turns round or overwrites a stretch, or writes a telling number.
    private static void MutateOnce(List<byte> bytes, Random random)
    {
        var at = random.Next(bytes.Count + 1);
        var length = Math.Min(random.Next(1, 24), bytes.Count - at);
        switch (random.Next(6))
        {
            case 0:
                bytes.RemoveRange(at, length);
                break;
            case 1:
                bytes.InsertRange(at, bytes.GetRange(at, length));
                break;
            case 2:
                bytes.Reverse(at, length);
                break;
            case 3:
                for (var i = at; i < at + length; i++)
                    bytes[i] = (byte)random.Next(256);
                break;
            case 4:
                bytes.InsertRange(at, s_tellingBytes[random.Next(s_tellingBytes.Length)]);
                break;
            default:
                var telling = s_tellingBytes[random.Next(s_tellingBytes.Length)];
                for (var i = 0; i < telling.Length && at + i < bytes.Count; i++)
                    bytes[at + i] = telling[i];
                break;
        }
    }

    private static void ReadAnything(byte[] bytes, string what) => Attempt(bytes, what, () =>
    {
        var read = FormatSamples.Read(bytes);
        return (read.Mesh.TriangleCount, read.Mesh.PositionArray);
    });

    private static void ReadPoints(byte[] bytes, string what) => Attempt(bytes, what, () =>
    {
        var read = PointCloudFile.Read(bytes, "points", MeshReadOptions.Default, FormatSamples.OneThread);
        return (read.Cloud.Count, read.Cloud.PositionArray);
    });

    // Plain comparisons: this runs half a million times.
    private static void Attempt(byte[] bytes, string what, Func<(int Count, float[] Positions)> read)
    {
        var before = GC.GetAllocatedBytesForCurrentThread();
        try
        {
            var (count, positions) = read();
            if (count == 0 || positions.Any(c => !float.IsFinite(c)))
                throw new InvalidDataException("empty, or a coordinate that is not finite");
        }
        catch (BadInputException)
        {
            // A reason; that it names file, field, value and remedy is the exception's own business.
        }
        catch (Exception e)
        {
            throw new InvalidOperationException(what, e);
        }

        // Scanners and unpacking work in buffers of fixed size, 1 MB together; a small package may unpack to 4 MiB, which
        // is 160,000 vertices of 24 bytes, in lists that double.
        if (GC.GetAllocatedBytesForCurrentThread() - before > 16_000_000)
            throw new InvalidOperationException($"{what}: {GC.GetAllocatedBytesForCurrentThread() - before} bytes for a file of {bytes.Length}");
    }
}
