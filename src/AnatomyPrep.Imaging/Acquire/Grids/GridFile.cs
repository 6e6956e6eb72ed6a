using System.Globalization;
using System.IO.Compression;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire.Fitness;

namespace AnatomyPrep.Imaging.Acquire.Grids;

public enum GridFormat
{
    Nifti,
    Nrrd,
    MetaImage,
}

/// <summary>Reads a volume file (NIfTI, NRRD, MetaImage) of any known format, which its content tells.</summary>
/// <remarks>
/// Read in this process, unlike DICOM: the parsers are managed code over spans of at most 64 KB of header, the only native code
/// is the runtime's own DEFLATE, and every count is checked before memory is taken. Promise for any bytes at all: a
/// volume, or a <see cref="BadInputException"/>. Files with left-handed indices get their slices in reverse order: the
/// same sample at the same place, nothing resampled.
/// Memory: 2 bytes a sample and the bytes of one slice. Every file is read once and hashed in the same reading.
/// </remarks>
public static class GridFile
{
    private const double SkewDeg = 0.01;
    private const double TiltNoteDeg = 0.05;

    /// <summary>What the file is, by its first bytes; null when it is no volume file.</summary>
    public static GridFormat? Identify(string path)
    {
        var head = Head(HeaderOf(path), out _);
        if (NrrdHeader.Begins(head))
            return GridFormat.Nrrd;
        if (MetaImageHeader.Begins(head))
            return GridFormat.MetaImage;
        return NiftiHeader.Begins(head) ? GridFormat.Nifti : null;
    }

    /// <summary>The volume in HU, LPS.</summary>
    /// <param name="anatomy">What the model is to show; fitness is then judged by it.</param>
    /// <exception cref="BadInputException">The file cannot be used.</exception>
    public static LoadedGrid Read(string path, RunContext run, string? anatomy = null)
    {
        var headerPath = HeaderOf(path);
        var name = Path.GetFileName(headerPath);
        var head = Head(headerPath, out var packed);
        var header = ReadHeader(head, headerPath, packed, new GridChecks(name));
        run.Memory.Require("acquire", header.Samples * sizeof(short), "Give a smaller volume, or raise the memory limit.");
        // Before room is made for what a small file only says it holds.
        if (new FileInfo(header.Data.Path) is { Exists: true, Length: > 0 } data)
            new SampleReader(header, data.Name, run).CheckSize(data.Length);
        var samples = SampleMemory.For(header.Samples);
        try
        {
            var reverse = header.IndexToLps.Determinant < 0;
            var (counts, files) = ReadSamples(header, headerPath, head, packed, samples, reverse, run);
            var map = MapOf(header, reverse);
            var volume = new Volume(header.Columns, header.Rows, samples, map);
            if (header.Slices < 2)
                throw new BadInputException(name, "slices", "1", "A volume needs at least two.");
            var step = Vec3.Dot(map.Normal, map.SliceStepMm(0));
            var fitness = FitnessCheck.Judge(volume, new(step, null, ContrastTagged: false, anatomy), run);
            return new(volume, Describe(header, map, step, counts, files, fitness));
        }
        catch
        {
            samples.Dispose();
            throw;
        }
    }

    /// <summary>Somebody may point at the samples of a pair.</summary>
    private static string HeaderOf(string path)
    {
        foreach (var (samples, header) in (ReadOnlySpan<(string, string)>)[(".img", ".hdr"), (".img.gz", ".hdr.gz"), (".img.gz", ".hdr")])
            if (path.EndsWith(samples, StringComparison.OrdinalIgnoreCase) && path[..^samples.Length] + header is var beside && File.Exists(beside))
                return beside;
        return path;
    }

    /// <summary>The first bytes of a file, unpacked where it is gzip.</summary>
    private static byte[] Head(string path, out bool packed)
    {
        using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read, 1);
        var head = new byte[TextFields.LongestBytes];
        var length = file.ReadAtLeast(head, head.Length, throwOnEndOfStream: false);
        packed = head.AsSpan(0, length).StartsWith((ReadOnlySpan<byte>)[0x1F, 0x8B]);
        if (!packed)
            return head[..length];
        try
        {
            using var unpacked = new GZipStream(new MemoryStream(head, 0, length), CompressionMode.Decompress);
            var inner = new byte[NiftiHeader.Bytes2];
            return inner[..unpacked.ReadAtLeast(inner, inner.Length, throwOnEndOfStream: false)];
        }
        catch (InvalidDataException)
        {
            return [];
        }
    }

    private static GridHeader ReadHeader(byte[] head, string path, bool packed, GridChecks checks)
    {
        if (!packed && NrrdHeader.Begins(head))
            return NrrdHeader.Read(head, path, checks);
        if (!packed && MetaImageHeader.Begins(head))
            return WithSniffedZlib(MetaImageHeader.Read(head, path, checks));
        if (!NiftiHeader.Begins(head))
            throw checks.Bad("content", "no volume format that is known", "Give a NIfTI, NRRD or MetaImage file.");
        var data = SamplesOf(path, checks);
        var pair = data != path;
        return NiftiHeader.Read(head, pair, data, (pair ? IsGzip(data) : packed) ? Packing.Gzip : Packing.Raw, checks);
    }

    /// <summary>The .img of a .hdr, or the file itself.</summary>
    private static string SamplesOf(string path, GridChecks checks)
    {
        foreach (var ending in (ReadOnlySpan<string>)[".hdr", ".hdr.gz"])
        {
            if (!path.EndsWith(ending, StringComparison.OrdinalIgnoreCase))
                continue;
            foreach (var samples in (ReadOnlySpan<string>)[".img", ".img.gz", ".IMG"])
                if (path[..^ending.Length] + samples is var beside && File.Exists(beside))
                    return beside;
            throw checks.Bad("samples", "no .img beside the .hdr", "Keep both files in one folder.");
        }

        return path;
    }

    /// <summary>What MetaImage calls compressed is zlib, or gzip in some writers.</summary>
    private static GridHeader WithSniffedZlib(GridHeader header) =>
        header.Data.Packing == Packing.Zlib && IsGzip(header.Data.Path, header.Data.FileOffset) ? header with { Data = header.Data with { Packing = Packing.Gzip } } : header;

    private static bool IsGzip(string path, long at = 0)
    {
        using var file = File.OpenHandle(path);
        Span<byte> mark = stackalloc byte[2];
        return RandomAccess.Read(file, mark, at) == 2 && mark.SequenceEqual((ReadOnlySpan<byte>)[0x1F, 0x8B]);
    }

    private static (SampleCounts Counts, IReadOnlyList<SourceFile> Files) ReadSamples(
        GridHeader header, string headerPath, byte[] head, bool packed, NativeBuffer<short> into, bool reverse, RunContext run)
    {
        var files = new List<SourceFile>();
        if (header.Data.Path != headerPath)
            files.Add(HashOf(headerPath, head, packed, run));
        using var file = new HashedFile(header.Data.Path, run.Cancellation);
        var counts = new SampleReader(header, file.Name, run).Read(file, into, reverse);
        files.Add(file.Finish());
        return (counts, files);
    }

    /// <summary>A detached header is small, so it is read whole and must still begin as it was read before.</summary>
    private static SourceFile HashOf(string path, byte[] head, bool packed, RunContext run)
    {
        using var file = new HashedFile(path, run.Cancellation);
        var again = new byte[head.Length];
        if (!packed && (file.ReadAtLeast(again, again.Length, throwOnEndOfStream: false) < again.Length || !again.AsSpan().SequenceEqual(head)))
            throw new BadInputException(file.Name, "file", "changed while it was read", "Run again when nobody writes to the folder.");
        return file.Finish();
    }

    private static IndexToPatient MapOf(GridHeader header, bool reverse)
    {
        var origins = new Vec3[header.Slices];
        for (var k = 0; k < origins.Length; k++)
            origins[k] = header.IndexToLps.Map(new Vec3(0, 0, reverse ? header.Slices - 1 - k : k));
        return new(header.IndexToLps.X, header.IndexToLps.Y, origins);
    }

    private static GridFacts Describe(GridHeader header, IndexToPatient map, double step, SampleCounts counts, IReadOnlyList<SourceFile> files, FitnessReport fitness)
    {
        var packing = header.Data.Packing == Packing.Raw ? "" : $", {header.Data.Packing.ToString().ToLowerInvariant()}";
        return new()
        {
            TransferSyntax = $"{header.Format}{packing}, {header.Type.ToString().ToLowerInvariant()}",
            Rows = header.Rows,
            Columns = header.Columns,
            Slices = header.Slices,
            SpacingMm = [map.ColumnStepMm.Length, map.RowStepMm.Length, step],
            SliceSpacingMm = step,
            TiltDeg = map.TiltDeg,
            Orientation = SeriesOrientation.Of(map),
            MinHu = counts.MinHu,
            MaxHu = counts.MaxHu,
            Findings = [.. header.Findings, .. GeometryFindings(map, step), .. SampleFindings(counts), .. fitness.Findings],
            Fitness = fitness.Measures,
            Files = files,
        };
    }

    private static IEnumerable<Finding> GeometryFindings(IndexToPatient map, double stepMm)
    {
        var skew = Math.Abs((Math.Acos(Math.Clamp(Vec3.Dot(map.ColumnStepMm.Normalized(), map.RowStepMm.Normalized()), -1, 1)) * 180 / Math.PI) - 90);
        if (skew > SkewDeg)
            yield return new(FindingCodes.AxesSkewed, Severity.Caution, Text($"Rows and columns are {skew:F3} degrees off a right angle; every sample is kept at its place."), "A scanner makes no such pictures: ask how the volume was changed.");
        if (map.TiltDeg > TiltNoteDeg)
            yield return new(FindingCodes.GantryTilt, Severity.Note, Text($"The slices are stacked {map.TiltDeg:F3} degrees off their normal, as with a tilted gantry; each is kept at its own position, nothing is resampled."), "None needed.");
        if (ThicknessBands.Describe(stepMm) is { } thick)
            yield return thick;
    }

    private static IEnumerable<Finding> SampleFindings(SampleCounts counts)
    {
        if (counts.LargestRoundingHu > 0)
            yield return new(FindingCodes.HuRounded, Severity.Note, Text($"Values are not whole numbers; they are rounded, by at most {counts.LargestRoundingHu:F3}."), "None needed, if the values are HU.");
        if (counts.Clamped > 0)
            yield return new(FindingCodes.HuOutOfRange, Severity.Caution, Text($"{counts.Clamped} samples lie outside -32768 to 32767 HU and were set to the nearest end."), "Check that the values are HU; such values are no anatomy.");
        if (counts.NotNumbers > 0)
            yield return new(FindingCodes.SamplesNotNumbers, Severity.Caution, Text($"{counts.NotNumbers} samples are no numbers and were set to {SampleReader.NoDataHu} HU."), "Check in the section pictures that they lie outside the anatomy.");
        if (counts.HasMore)
            yield return new(FindingCodes.ExtraBytes, Severity.Note, "Bytes follow the last sample; left out.", "None needed if the pictures look right.");
    }

    private static string Text(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);
}
