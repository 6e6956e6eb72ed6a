using System.Globalization;
using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire.Grids;
using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests.Imaging.Acquire.Grids;

/// <summary>Volume files: the same value at the same place in the patient, whatever format, packing and order of axes.</summary>
public sealed class GridFileTests : IDisposable
{
    // NIfTI-1 holds its map in float32: 24 bits of 900 mm is 5e-5 mm, per part of a sum of four.
    private const double Float32Mm = 2e-4;

    private static readonly Affine3 s_plain = new(new Vec3(0.5, 0, 0), new Vec3(0, 0.75, 0), new Vec3(0, 0, 2), new Vec3(-10, 20, 30));

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    /// <summary>ITK 5.2 (Debian libinsighttoolkit5-dev) reads all three formats into LPS; its index order is the file's own, so every sample is compared.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void An_outside_library_puts_every_sample_at_the_same_place()
    {
        var random = new Random(4711);
        var paths = new List<string>();
        for (var n = 0; n < 8; n++)
            // This release of ITK does not know NIfTI-2 and finds some float32 matrices too crooked; the other outside reader takes both.
            paths.AddRange(WriteAll(TestGrid.Create(5, 4, 3, TestGrid.RandomMap(random, n % 2 == 1)), n).Where(p => !p.EndsWith("-2.nii", StringComparison.Ordinal) && !p.EndsWith("-2q.nii", StringComparison.Ordinal) && !p.EndsWith("-s.nii", StringComparison.Ordinal)));
        var program = _folder["readgrids"];
        var built = Tool.Run("g++", "-O0", "-w", "-std=c++17", "-I/usr/include/ITK-5.2", Path.Combine(Repository.Root, "tests/AnatomyPrep.Tests/Imaging/Acquire/Grids/readgrids.cpp"), "-o", program,
            "-Wl,--copy-dt-needed-entries", "-lITKCommon-5.2", "-lITKIOImageBase-5.2", "-lITKIONIFTI-5.2", "-lITKIONRRD-5.2", "-lITKIOMeta-5.2", "-litksys-5.2", "-litkvnl_algo-5.2", "-litkvnl-5.2");
        built.ExitCode.Should().Be(0, built.Errors);
        var said = Tool.Run(program, paths);
        said.ExitCode.Should().Be(0, said.Errors);
        var lines = said.Output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => l.Split(' ').Select(w => double.Parse(w, CultureInfo.InvariantCulture)).ToArray()).ToLookup(l => (int)l[0]);
        for (var n = 0; n < paths.Count; n++)
        {
            using var grid = GridFile.Read(paths[n], RunContext.Default);
            grid.Volume.Map.IsRightHanded.Should().BeTrue();
            var theirs = lines[n].ToArray();
            theirs.Should().HaveCount(60);
            theirs.Should().AllSatisfy(l => ValueAt(grid.Volume, new Vec3(l[1], l[2], l[3]), Float32Mm, paths[n]).Should().Be((short)l[4]));
        }
    }

    /// <summary>nibabel 5.0 (Debian python3-nibabel) also takes sheared maps, which ITK does not.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Another_outside_reader_agrees_on_sheared_maps_and_scaled_values()
    {
        var random = new Random(99);
        var paths = new List<string>();
        for (var n = 0; n < 12; n++)
        {
            var map = TestGrid.RandomMap(random, n % 3 == 0);
            var sheared = map with { Z = map.Z + (map.X * 0.4) - (map.Y * 0.2), Y = map.Y + (map.X * 0.1) };
            var grid = TestGrid.Create(4, 3, 5, sheared) with { Slope = 0.5, Intercept = -24 };
            paths.Add(_folder[FormattableString.Invariant($"s{n}.nii")]);
            File.WriteAllBytes(paths[^1], grid.Nifti(second: n % 2 == 0, type: n % 4 < 2 ? "int16" : "float32", big: n % 5 == 0));
        }

        const string script = """
            import sys, numpy as np, nibabel
            for n, f in enumerate(sys.argv[1:]):
                im = nibabel.load(f)
                d = np.asanyarray(im.dataobj, dtype=float)
                for ijk in np.ndindex(*d.shape):
                    p = im.affine @ np.array([*ijk, 1.0])
                    print(n, repr(float(-p[0])), repr(float(-p[1])), repr(float(p[2])), repr(float(d[ijk])))
            """;
        var said = Tool.Run("/usr/bin/python3", ["-c", script, .. paths]);
        said.ExitCode.Should().Be(0, said.Errors);
        var lines = said.Output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => l.Split(' ').Select(w => double.Parse(w, CultureInfo.InvariantCulture)).ToArray()).ToLookup(l => (int)l[0]);
        for (var n = 0; n < paths.Count; n++)
        {
            using var grid = GridFile.Read(paths[n], RunContext.Default);
            grid.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.AxesSkewed);
            grid.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.GantryTilt);
            foreach (var l in lines[n])
                ValueAt(grid.Volume, new Vec3(l[1], l[2], l[3]), Float32Mm, paths[n]).Should().Be((short)Math.Round(l[4], MidpointRounding.ToEven));
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_form_gives_the_value_that_was_written_at_its_place()
    {
        var random = new Random(12);
        foreach (var leftHanded in (bool[])[false, true])
        {
            var grid = TestGrid.Create(5, 4, 3, TestGrid.RandomMap(random, leftHanded));
            foreach (var path in WriteAll(grid, leftHanded ? 1 : 0))
            {
                using var read = GridFile.Read(path, RunContext.Default);
                Check(grid, read.Volume, path);
            }
        }
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("int8")]
    [InlineData("uint8")]
    [InlineData("int16")]
    [InlineData("uint16")]
    [InlineData("int32")]
    [InlineData("uint32")]
    [InlineData("int64")]
    [InlineData("uint64")]
    [InlineData("float32")]
    [InlineData("float64")]
    public void Every_sample_type_is_read_in_both_byte_orders_and_scaled(string type)
    {
        var grid = TestGrid.Create(5, 4, 3, s_plain) with { Stored = [.. Enumerable.Range(0, 60).Select(i => (double)i)], Slope = 20, Intercept = -1000 };
        foreach (var big in (bool[])[false, true])
            foreach (var second in (bool[])[false, true])
            {
                File.WriteAllBytes(_folder["a.nii"], grid.Nifti(second, type, big));
                using var read = GridFile.Read(_folder["a.nii"], RunContext.Default);
                Check(grid, read.Volume, type);
                (read.Facts.MinHu, read.Facts.MaxHu).Should().Be(((short)-1000, (short)180));
                read.Facts.TransferSyntax.Should().Be($"NIfTI-{(second ? 2 : 1)}, {type}");
            }
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(1, 1e-4)]
    [InlineData(3, 1e-4)]
    [InlineData(0, 1e-4)]
    public void Metres_and_micrometres_become_millimetres_and_no_unit_is_a_finding(int unit, double toleranceMm)
    {
        var grid = TestGrid.Create(3, 3, 3, s_plain);
        File.WriteAllBytes(_folder["a.nii"], grid.Nifti(unit: unit));
        using var read = GridFile.Read(_folder["a.nii"], RunContext.Default);
        Vec3.Distance(read.Volume.Map.Map(2, 2, 2), grid.Place(2, 2, 2)).Should().BeLessThan(toleranceMm);
        read.Facts.Findings.Any(f => f is { Code: FindingCodes.UnitUnknown, Severity: Severity.Caution }).Should().Be(unit == 0);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Facts_and_hashes_are_those_of_the_files()
    {
        var grid = TestGrid.Create(5, 4, 3, s_plain);
        File.WriteAllBytes(_folder["a.mhd"], grid.MetaHeader("a.raw"));
        File.WriteAllBytes(_folder["a.raw"], grid.Samples());
        using var read = GridFile.Read(_folder["a.mhd"], RunContext.Default);
        read.Facts.SpacingMm.Should().Equal(0.5, 0.75, 2);
        read.Facts.Orientation.Axes.Should().Be("LPS");
        read.Facts.TiltDeg.Should().Be(0);
        read.Facts.Findings.Should().OnlyContain(f => f.Code == FindingCodes.ThickSlices || f.Code == FindingCodes.Anisotropy);
        read.Facts.Files.Select(f => f.Name).Should().Equal("a.mhd", "a.raw");
        read.Facts.Files.Should().AllSatisfy(f => f.Sha256.Should().Be(Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(_folder[f.Name])))));
        File.WriteAllBytes(_folder["b.nii.gz"], TestGrid.Gzip(grid.Nifti()));
        using var packed = GridFile.Read(_folder["b.nii.gz"], RunContext.Default);
        packed.Facts.Files.Should().ContainSingle().Which.Sha256.Should().Be(Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(_folder["b.nii.gz"]))));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void What_one_should_know_is_a_finding()
    {
        var grid = TestGrid.Create(5, 4, 3, s_plain);
        var both = grid.Nifti(qform: true);
        BitConverter.TryWriteBytes(both.AsSpan(268), 77f);
        Codes(both).Should().Contain(FindingCodes.OrientationDisagrees);
        var atlas = grid.Nifti();
        atlas[254] = 4;
        Codes(atlas).Should().Contain(FindingCodes.AtlasSpace);
        Codes([.. grid.Nifti(), 1, 2]).Should().Contain(FindingCodes.ExtraBytes);
        Codes(TestGrid.Gzip([.. grid.Nifti(), 1, 2])).Should().Contain(FindingCodes.ExtraBytes);
        double[] odd = [.. grid.Stored];
        (odd[3], odd[4], odd[5], odd[6]) = (double.NaN, double.PositiveInfinity, 1e9, 0.25);
        var floats = grid with { Stored = odd };
        Codes(floats.Nifti(type: "float64")).Should().Contain(FindingCodes.SamplesNotNumbers).And.Contain(FindingCodes.HuOutOfRange).And.Contain(FindingCodes.HuRounded);
        File.WriteAllBytes(_folder["a.nii"], floats.Nifti(type: "float64"));
        using var read = GridFile.Read(_folder["a.nii"], RunContext.Default);
        read.Volume.Row(0, 0).ToArray()[3..].Should().Equal(-1024, -1024);
        read.Volume.Row(1, 0).ToArray()[..2].Should().Equal(short.MaxValue, 0);
        File.WriteAllBytes(_folder["a.mha"], [.. grid.MetaHeader(orientation: "LPI"), .. grid.Samples()]);
        using var meta = GridFile.Read(_folder["a.mha"], RunContext.Default);
        meta.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.OrientationDisagrees);
        Check(grid, meta.Volume, "the matrix is what counts");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void MetaImage_letters_alone_say_the_side_each_axis_starts_from()
    {
        var map = new Affine3(new Vec3(-0.5, 0, 0), new Vec3(0, 0, 0.75), new Vec3(0, 2, 0), new Vec3(1, 2, 3));
        var grid = TestGrid.Create(5, 4, 3, map);
        File.WriteAllBytes(_folder["a.mha"], [.. grid.MetaHeader(orientation: "LIA", matrix: false), .. grid.Samples()]);
        using var read = GridFile.Read(_folder["a.mha"], RunContext.Default);
        Check(grid, read.Volume, "L to R, I to S, A to P");
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("sizes: 5 4 3", "sizes: 5 4 2000000000", "sizes: 2000000000")]
    [InlineData("sizes: 5 4 3", "sizes: 16000 16000 16000", "sizes: 16000 x 16000 x 16000")]
    [InlineData("sizes: 5 4 3", "sizes: 5 4 0", "sizes: 0")]
    [InlineData("sizes: 5 4 3", "sizes: 5 4 -3", "sizes: not whole")]
    [InlineData("sizes: 5 4 3", "sizes: 5 4 4", "samples: 120 of the 160 bytes")]
    [InlineData("dimension: 3", "dimension: 4", "dimension: not the number")]
    [InlineData("(0.5,0,0)", "(NaN,0,0)", "space directions: not a finite number")]
    [InlineData("(0.5,0,0)", "(inf,0,0)", "space directions: not a number")]
    [InlineData("(0.5,0,0)", "(1e400,0,0)", "space directions: not a finite number")]
    [InlineData("(0.5,0,0)", "(0,0,0)", "space directions: samples 0 mm apart")]
    [InlineData("(0.5,0,0)", "(0,0.5,0)", "space directions: directions that lie in one plane")]
    [InlineData("(0.5,0,0)", "(0.5,0)", "space directions: 2 numbers")]
    [InlineData("(0.5,0,0)", "none", "sizes: not one value a sample")]
    [InlineData("space: left-posterior-superior", "space: scanner-xyz", "space: scanner-xyz")]
    [InlineData("space: left-posterior-superior", "space: LAS", "space: las")]
    [InlineData("space: left-posterior-superior", "# none", "space: missing")]
    [InlineData("space origin: (-10,20,30)", "# none", "space origin: missing")]
    [InlineData("type: short", "type: block", "type: block")]
    [InlineData("encoding: raw", "encoding: bzip2", "encoding: bzip2")]
    [InlineData("encoding: raw", "encoding: gzip", "samples: the compressed stream is broken")]
    [InlineData("encoding: raw", "encoding: raw\nbyte skip: 99999", "samples: 0 of the 120 bytes")]
    [InlineData("encoding: raw", "encoding: raw\nline skip: 3", "line skip: not 0")]
    [InlineData("encoding: raw", "encoding: raw\ndata file: ../other.raw", "data file: names a place outside")]
    [InlineData("encoding: raw", "encoding: raw\ndata file: /etc/passwd", "data file: names a place outside")]
    [InlineData("encoding: raw", "encoding: raw\ndata file: absent.raw", "data file: names a file that is not beside")]
    [InlineData("encoding: raw", "encoding: raw\ndata file: x%03d.raw 1 3 1", "data file: several files")]
    [InlineData("endian: little", "endian: middle", "endian: middle")]
    [InlineData("endian: little", "type: short", "type: stands twice")]
    [InlineData("space units: \"mm\" \"mm\" \"mm\"", "space units: \"mm\" \"mm\" \"in\"", "space units: in")]
    public void Nrrd_headers_that_cannot_be_believed_are_refused_by_field_and_value(string what, string instead, string words)
    {
        var header = System.Text.Encoding.Latin1.GetString(TestGrid.Create(5, 4, 3, s_plain).NrrdHeader());
        header.Should().Contain(what);
        Refused("a.nrrd", [.. System.Text.Encoding.Latin1.GetBytes(header.Replace(what, instead, StringComparison.Ordinal)), .. TestGrid.Create(5, 4, 3, s_plain).Samples()])
            .Message.Should().StartWith("a.nrrd: " + words);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("DimSize = 5 4 3", "DimSize = 5 4 1e12", "DimSize: 0")]
    [InlineData("DimSize = 5 4 3", "DimSize = 5 4 3.5", "DimSize: not whole")]
    [InlineData("DimSize = 5 4 3", "DimSize = 5 4", "DimSize: 2 numbers where 3")]
    [InlineData("DimSize = 5 4 3", "DimSize = 5 4 30", "samples: 120 of the 1200 bytes")]
    [InlineData("NDims = 3", "NDims = 4", "NDims: 4")]
    [InlineData("ElementSpacing = 0.5 0.75 2", "ElementSpacing = 0.5 0.75 -2", "ElementSpacing: not positive")]
    [InlineData("ElementSpacing = 0.5 0.75 2", "ElementSpacing = 0.5 0.75 NaN", "ElementSpacing: not a finite number")]
    [InlineData("ElementSpacing = 0.5 0.75 2", "Comment = none", "ElementSpacing: missing")]
    [InlineData("TransformMatrix = 1 0 0 0 1 0 0 0 1", "TransformMatrix = 1 0 0 1 0 0 0 0 1", "TransformMatrix: directions that lie in one plane")]
    [InlineData("TransformMatrix = 1 0 0 0 1 0 0 0 1", "TransformMatrix = 2 0 0 0 1 0 0 0 1", "TransformMatrix: directions that are not of length one")]
    [InlineData("TransformMatrix = 1 0 0 0 1 0 0 0 1", "Comment = none", "TransformMatrix and AnatomicalOrientation: both missing")]
    [InlineData("TransformMatrix = 1 0 0 0 1 0 0 0 1", "AnatomicalOrientation = RAX", "AnatomicalOrientation: RAX")]
    [InlineData("Offset = -10 20 30", "Comment = none", "Offset: missing")]
    [InlineData("ElementType = MET_SHORT", "ElementType = MET_STRING", "ElementType: MET_STRING")]
    [InlineData("ElementType = MET_SHORT", "ElementType = MET_SHORT\nElementNumberOfChannels = 3", "ElementNumberOfChannels: not 1")]
    [InlineData("CompressedData = False", "CompressedData = True", "samples: the compressed stream is broken")]
    [InlineData("ElementDataFile = LOCAL", "ElementDataFile = ../x.raw", "ElementDataFile: names a place outside")]
    [InlineData("ElementDataFile = LOCAL", "ElementDataFile = LIST", "ElementDataFile: several files")]
    [InlineData("ElementDataFile = LOCAL", "ElementDataFile = gone.raw", "ElementDataFile: names a file that is not beside")]
    [InlineData("BinaryData = True", "BinaryData = False", "samples: a word that is no number")]
    [InlineData("BinaryDataByteOrderMSB = False", "DimSize = 5 4 3", "dimsize: stands twice")]
    public void MetaImage_headers_that_cannot_be_believed_are_refused_by_field_and_value(string what, string instead, string words)
    {
        var header = System.Text.Encoding.Latin1.GetString(TestGrid.Create(5, 4, 3, s_plain).MetaHeader());
        header.Should().Contain(what);
        Refused("a.mha", [.. System.Text.Encoding.Latin1.GetBytes(header.Replace(what, instead, StringComparison.Ordinal)), .. TestGrid.Create(5, 4, 3, s_plain).Samples()])
            .Message.Should().StartWith("a.mha: " + words);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nifti_headers_that_cannot_be_believed_are_refused_by_field_and_value()
    {
        var whole = TestGrid.Create(5, 4, 3, s_plain).Nifti();
        void Changed(int at, byte[] bytes, string words)
        {
            byte[] file = [.. whole];
            bytes.CopyTo(file, at);
            Refused("a.nii", file).Message.Should().StartWith("a.nii: " + words);
        }

        Changed(40, [9, 0], "dim[0]: 9");
        Changed(42, [0xFF, 0xFF], "dim: -1");
        Changed(40, [4, 0, 5, 0, 4, 0, 3, 0, 2, 0], "dim[4]: 2");
        Changed(46, [4, 0], "samples: 120 of the 160 bytes");
        Changed(70, [128, 0], "datatype: 128");
        Changed(108, BitConverter.GetBytes(12f), "vox_offset: 12");
        Changed(108, BitConverter.GetBytes(float.NaN), "vox_offset: NaN");
        Changed(112, BitConverter.GetBytes(float.PositiveInfinity), "scl_slope: not a finite number");
        Changed(123, [5], "xyzt_units: 5");
        Changed(254, [0], "qform_code and sform_code: both 0");
        Changed(280, BitConverter.GetBytes(float.NaN), "sform: not a finite number");
        Changed(280, new byte[16], "sform: samples 0 mm apart");
        Changed(292, BitConverter.GetBytes(1e9f), "sform: an origin that is no place");
        Changed(344, [0, 0, 0, 0], "magic: missing: the older Analyze form");
        Changed(344, "ni1\0"u8.ToArray(), "magic: that of a pair");
        var quatern = TestGrid.Create(5, 4, 3, s_plain).Nifti(sform: false, qform: true);
        BitConverter.TryWriteBytes(quatern.AsSpan(256), 3f);
        Refused("a.nii", quatern).Message.Should().StartWith("a.nii: quatern_b, quatern_c, quatern_d: longer than one");
        File.WriteAllBytes(_folder["b.hdr"], TestGrid.Create(5, 4, 3, s_plain).NiftiHeader(pair: true));
        FluentActions.Invoking(() => GridFile.Read(_folder["b.hdr"], RunContext.Default)).Should().Throw<BadInputException>().WithMessage("b.hdr: samples: no .img beside the .hdr*");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_prefix_and_single_byte_change_gives_a_volume_or_a_refusal()
    {
        var grid = TestGrid.Create(5, 4, 3, s_plain);
        var random = new Random(8);
        (string Name, byte[] Bytes)[] wholes =
        [
            ("a.nii", grid.Nifti()),
            ("b.nii", grid.Nifti(second: true)),
            ("c.nii.gz", TestGrid.Gzip(grid.Nifti())),
            ("d.nrrd", [.. grid.NrrdHeader(), .. grid.Samples()]),
            ("e.nrrd", [.. grid.NrrdHeader(encoding: "gzip"), .. TestGrid.Gzip(grid.Samples())]),
            ("f.mha", [.. grid.MetaHeader(), .. grid.Samples()]),
            ("g.mha", [.. grid.MetaHeader(compressed: true), .. TestGrid.Zlib(grid.Samples())]),
            ("h.nrrd", [.. grid.NrrdHeader(encoding: "ascii"), .. grid.Numbers()]),
        ];
        var read = 0;
        foreach (var (name, bytes) in wholes)
        {
            for (var length = 0; length < bytes.Length; length += 1 + (bytes.Length / 60))
                Try(name, bytes[..length]).Should().Be(length >= bytes.Length - Trailer(name) && Try(name, bytes[..length]), "of {0} bytes of {1}", length, name);
            for (var round = 0; round < 250; round++)
            {
                byte[] changed = [.. bytes];
                changed[random.Next(bytes.Length)] ^= (byte)(1 << random.Next(8));
                read += Try(name, changed) ? 1 : 0;
            }
        }

        read.Should().BePositive();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_small_file_that_claims_much_costs_nothing()
    {
        // 8 GB of samples claimed by a gzip stream that could hold no more than half a megabyte.
        var huge = TestGrid.Create(5, 4, 3, s_plain).Nifti(second: true);
        BitConverter.TryWriteBytes(huge.AsSpan(24), 2000L);
        BitConverter.TryWriteBytes(huge.AsSpan(32), 2000L);
        BitConverter.TryWriteBytes(huge.AsSpan(40), 1000L);
        var before = GC.GetTotalAllocatedBytes();
        Refused("a.nii.gz", TestGrid.Gzip(huge)).Message.Should().Contain("too few for the 8000000000 bytes");
        (GC.GetTotalAllocatedBytes() - before).Should().BeLessThan(4 << 20);
        FluentActions.Invoking(() => GridFile.Read(_folder["a.nii.gz"], new RunContext(memory: new MemoryBudget(1000)))).Should().Throw<BadInputException>().Which.Field.Should().Be("memory");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Pipes_are_not_waited_for()
    {
        Tool.Run("mkfifo", _folder["a.raw"]);
        File.WriteAllBytes(_folder["a.mhd"], TestGrid.Create(5, 4, 3, s_plain).MetaHeader("a.raw"));
        FluentActions.Invoking(() => GridFile.Read(_folder["a.mhd"], RunContext.Default)).Should().Throw<BadInputException>().WithMessage("a.raw: file: empty, or not a regular file*");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Other_files_are_not_taken_for_volumes()
    {
        File.WriteAllText(_folder["notes.txt"], "NDims are three");
        File.WriteAllText(_folder["solid.stl"], "solid x\nfacet normal 0 0 1\n");
        File.WriteAllBytes(_folder["zeros"], new byte[400]);
        File.WriteAllBytes(_folder["packed.gz"], TestGrid.Gzip(new byte[1000]));
        foreach (var name in (string[])["notes.txt", "solid.stl", "zeros", "packed.gz"])
            GridFile.Identify(_folder[name]).Should().BeNull(name);
    }

    /// <summary>Bytes that may be lost from the end of a compressed file without losing a sample: its check sum, and the mark of the last block.</summary>
    private static int Trailer(string name) => name is "c.nii.gz" or "e.nrrd" or "g.mha" ? 12 : 0;

    private List<string> WriteAll(TestGrid grid, int n)
    {
        var paths = new List<string>();
        string Add(string name, params ReadOnlySpan<byte> bytes)
        {
            var path = _folder[FormattableString.Invariant($"{n}-{name}")];
            File.WriteAllBytes(path, bytes);
            paths.Add(path);
            return Path.GetFileName(path);
        }

        Add("s.nii", grid.Nifti());
        Add("q.nii", grid.Nifti(sform: false, qform: true));
        Add("b.nii", grid.Nifti(big: true, sform: true, qform: true));
        Add("2.nii", grid.Nifti(second: true));
        Add("2q.nii", grid.Nifti(second: true, sform: false, qform: true, type: "float32"));
        Add("z.nii.gz", TestGrid.Gzip(grid.Nifti(qform: true)));
        File.WriteAllBytes(_folder[FormattableString.Invariant($"{n}-p.img")], grid.Samples());
        Add("p.hdr", grid.NiftiHeader(pair: true, qform: true));
        Add("l.nrrd", [.. grid.NrrdHeader(), .. grid.Samples()]);
        Add("r.nrrd", [.. grid.NrrdHeader("right-anterior-superior", encoding: "gzip", big: true), .. TestGrid.Gzip(grid.Samples(big: true))]);
        Add("a.nrrd", [.. grid.NrrdHeader("RAS", encoding: "ascii"), .. grid.Numbers()]);
        File.WriteAllBytes(_folder[FormattableString.Invariant($"{n}-d.raw")], grid.Samples());
        Add("d.nhdr", grid.NrrdHeader(dataFile: FormattableString.Invariant($"{n}-d.raw")));
        Add("m.mhd", grid.MetaHeader(FormattableString.Invariant($"{n}-d.raw")));
        Add("m.mha", [.. grid.MetaHeader(big: true), .. grid.Samples(big: true)]);
        var packed = TestGrid.Zlib(grid.Samples("float64"));
        Add("z.mha", [.. grid.MetaHeader(compressed: true, type: "MET_DOUBLE", more: FormattableString.Invariant($"CompressedDataSize = {packed.Length}")), .. packed]);
        return paths;
    }

    private static void Check(TestGrid grid, Volume volume, string because)
    {
        volume.Count.Should().Be(grid.Stored.Length);
        volume.Map.IsRightHanded.Should().BeTrue();
        for (var k = 0; k < grid.Slices; k++)
            for (var j = 0; j < grid.Rows; j++)
                for (var i = 0; i < grid.Columns; i++)
                    ValueAt(volume, grid.Place(i, j, k), Float32Mm, because).Should().Be((short)grid.Hu(i, j, k));
    }

    /// <summary>The value of the sample at a place in the patient, which must be the place of a sample.</summary>
    private static short ValueAt(Volume volume, Vec3 placeMm, double toleranceMm, string because)
    {
        var at = volume.Map.Invert(placeMm);
        int i = (int)Math.Round(at.X), j = (int)Math.Round(at.Y), k = (int)Math.Round(at.Z);
        Vec3.Distance(volume.Map.Map(i, j, k), placeMm).Should().BeLessThan(toleranceMm, because);
        return volume[i, j, k];
    }

    private string[] Codes(byte[] nifti)
    {
        File.WriteAllBytes(_folder["x.nii"], nifti);
        using var read = GridFile.Read(_folder["x.nii"], RunContext.Default);
        return [.. read.Facts.Findings.Select(f => f.Code)];
    }

    private BadInputException Refused(string name, byte[] bytes)
    {
        File.WriteAllBytes(_folder[name], bytes);
        return FluentActions.Invoking(() => GridFile.Read(_folder[name], RunContext.Default)).Should().Throw<BadInputException>().Which;
    }

    private bool Try(string name, byte[] bytes)
    {
        File.WriteAllBytes(_folder[name], bytes);
        try
        {
            GridFile.Identify(_folder[name]);
            using var read = GridFile.Read(_folder[name], RunContext.Default);
            return true;
        }
        catch (BadInputException)
        {
            return false;
        }
    }
}
