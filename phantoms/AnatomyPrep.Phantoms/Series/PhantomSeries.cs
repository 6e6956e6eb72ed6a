using System.Buffers;
using System.Globalization;
using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Scenes;

namespace AnatomyPrep.Phantoms.Series;

/// <summary>A scene as one CT series: in memory, or as DICOM files.</summary>
/// <remarks>
/// Same bytes for the same settings, on any number of threads: every slice follows from scene, acquisition, format,
/// identity and seed alone. Slices are counted along the slice normal. Peak memory: one slice a thread (stored values,
/// doubles and the file: about 16 bytes a pixel), and 2 bytes a sample for a volume.
/// </remarks>
public sealed record PhantomSeries(Scene Scene, Acquisition Acquisition)
{
    public StoredFormat Stored { get; init; } = new();

    public Identity Identity { get; init; } = Identity.Invented;

    /// <summary>Does not enter the geometry: positions and directions are the patient's own.</summary>
    public string PatientPosition { get; init; } = "HFS";

    public int SeriesNumber { get; init; } = 1;

    /// <summary>How Instance Number runs along the stack.</summary>
    public SliceOrder InstanceOrder { get; init; } = SliceOrder.AlongNormal;

    /// <summary>Series with the same study text are one study in one frame of reference.</summary>
    public string StudyText { get; init; } = "phantom study";

    public int Slices => Acquisition.TablePositionsMm.Count;

    public string StudyUid => DicomUid.From(Text($"{StudyText}|{Acquisition.Seed}|study"));

    public string FrameOfReferenceUid => DicomUid.From(Text($"{StudyText}|{Acquisition.Seed}|frame"));

    public string SeriesUid => DicomUid.From(Signature + "|series");

    /// <summary>Every setting that decides a pixel or an attribute, as one text.</summary>
    private string Signature => string.Join(
        '|',
        Text($"{StudyText}|{Scene.Name}|{Scene.RampHalfWidthMm:R}|{SeriesNumber}|{PatientPosition}|{InstanceOrder}|{Identity.PatientId}"),
        Text($"{Acquisition.Columns}|{Acquisition.Rows}|{Acquisition.ColumnSpacingMm:R}|{Acquisition.RowSpacingMm:R}|{Acquisition.CenterMm}"),
        Text($"{Acquisition.Orientation}|{Acquisition.GantryTiltDeg:R}|{Acquisition.SliceThicknessMm:R}|{Acquisition.SubsamplesPerAxis}"),
        Text($"{Acquisition.NoiseSigmaHu:R}|{Acquisition.Seed}|{Acquisition.CircleRadiusMm:R}|{Stored.BitsStored}|{Stored.Signed}|{Stored.Padding}"),
        string.Join(',', Acquisition.TablePositionsMm.Select(p => Text($"{p:R}"))),
        string.Join(',', Stored.Rescales.Select(r => Text($"{r.Slope:R} {r.InterceptHu:R}"))));

    public string SopInstanceUid(int slice) => SopInstanceUid(SeriesUid, slice);

    /// <summary>The series as a reader must give it: the stored values of each slice through its rescale, rounded to HU.</summary>
    public unsafe Volume ToVolume(RunContext run)
    {
        var sampler = Sampler(out var geometry);
        var pixels = Acquisition.Columns * Acquisition.Rows;
        run.Memory.Require("phantom", (long)pixels * Slices * sizeof(short), "Ask for larger voxels or fewer slices.");
        var samples = new NativeBuffer<short>((long)pixels * Slices);
        try
        {
            var done = 0;
            Partition.For(run, Slices, slice =>
            {
                run.ThrowIfCancelled();
                var stored = ArrayPool<int>.Shared.Rent(pixels);
                try
                {
                    sampler.Stored(slice, stored.AsSpan(0, pixels));
                    ToHu(stored.AsSpan(0, pixels), Stored.Of(slice), samples.Span((long)slice * pixels, pixels));
                }
                finally
                {
                    ArrayPool<int>.Shared.Return(stored);
                }

                run.Report("phantom", "slices", Interlocked.Increment(ref done) / (double)Slices);
            });
            return new Volume(Acquisition.Columns, Acquisition.Rows, samples, geometry.Map);
        }
        catch
        {
            samples.Dispose();
            throw;
        }
    }

    /// <summary>One slice as a file that can still be changed.</summary>
    public DicomFile FileOf(int slice)
    {
        var sampler = Sampler(out var geometry);
        return FileOf(slice, sampler, new CtImage(this, geometry));
    }

    /// <summary>Writes the series; the folder is made if it is not there.</summary>
    /// <returns>File names in order of slices, doubles last.</returns>
    /// <exception cref="OperationCanceledException">Asked once per slice; files written until then are removed.</exception>
    public IReadOnlyList<string> Write(string folder, RunContext run, SeriesLayout? layout = null)
    {
        var how = layout ?? new SeriesLayout();
        var sampler = Sampler(out var geometry);
        var image = new CtImage(this, geometry);
        var files = Files(how);
        Directory.CreateDirectory(folder);
        var done = 0;
        try
        {
            Partition.For(run, files.Count, at =>
            {
                run.ThrowIfCancelled();
                var (name, slice, isDouble) = files[at];
                var file = FileOf(slice, sampler, image);
                if (isDouble)
                    file.DataSet.Text(Tags.SopInstanceUid, Vr.UI, DicomUid.From(Text($"{SopInstanceUid(slice)}|double")));
                how.Change?.Invoke(slice, file);
                var bytes = file.Encode();
                File.WriteAllBytes(Path.Combine(folder, name), how.ChangeBytes?.Invoke(slice, bytes) ?? bytes);
                run.Report("phantom", "files", Interlocked.Increment(ref done) / (double)files.Count);
            });
        }
        catch
        {
            foreach (var (name, _, _) in files)
                File.Delete(Path.Combine(folder, name));
            throw;
        }

        return [.. files.Select(f => f.Name)];
    }

    /// <summary>Writes FOLDER/ct/*.dcm and, last, FOLDER/truth.json.</summary>
    public WrittenPhantom WriteWithTruth(string folder, RunContext run, SeriesLayout? layout = null)
    {
        var seriesFolder = Path.Combine(folder, "ct");
        var truthFile = Path.Combine(folder, "truth.json");
        var files = Write(seriesFolder, run, layout);
        File.WriteAllText(truthFile, Sidecar.Of(this, run));
        return new WrittenPhantom(seriesFolder, truthFile, files);
    }

    internal static string SopInstanceUid(string seriesUid, int slice) => DicomUid.From(Text($"{seriesUid}|{slice}"));

    /// <summary>Instance Number of every slice.</summary>
    internal int[] InstanceNumbers() => [.. Numbered(InstanceOrder, salt: 2).Select(n => n + 1)];

    private static string Text(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);

    private static void ToHu(ReadOnlySpan<int> stored, Rescale rescale, Span<short> hu)
    {
        for (var i = 0; i < stored.Length; i++)
            hu[i] = (short)Math.Clamp(Math.Round((rescale.Slope * stored[i]) + rescale.InterceptHu), short.MinValue, short.MaxValue);
    }

    private SliceSampler Sampler(out SliceGeometry geometry)
    {
        Stored.Check();
        geometry = new SliceGeometry(Acquisition);
        return new SliceSampler(Scene, Acquisition, geometry, Stored);
    }

    private DicomFile FileOf(int slice, SliceSampler sampler, CtImage image)
    {
        var pixels = Acquisition.Columns * Acquisition.Rows;
        var stored = ArrayPool<int>.Shared.Rent(pixels);
        try
        {
            sampler.Stored(slice, stored.AsSpan(0, pixels));
            return image.Build(slice, stored.AsSpan(0, pixels));
        }
        finally
        {
            ArrayPool<int>.Shared.Return(stored);
        }
    }

    private List<(string Name, int Slice, bool IsDouble)> Files(SeriesLayout how)
    {
        var numbers = Numbered(how.NameOrder, salt: 1);
        string Name(int number) => Text($"{how.NamePrefix}{number:D4}.dcm");
        return
        [
            .. Enumerable.Range(0, Slices).Except(how.Omitted).Select(slice => (Name(numbers[slice] + 1), slice, false)),
            .. how.Doubled.Select((slice, i) => (Name(Slices + i + 1), slice, true)),
        ];
    }

    /// <summary>The number of every slice, 0 to slices − 1; scrambled by sorting on a random word each.</summary>
    private int[] Numbered(SliceOrder order, uint salt)
    {
        var slices = Enumerable.Range(0, Slices);
        return order switch
        {
            SliceOrder.AlongNormal => [.. slices],
            SliceOrder.AgainstNormal => [.. slices.Reverse()],
            _ => [.. slices.OrderBy(k => Philox.Block((uint)Acquisition.Seed, (uint)(Acquisition.Seed >> 32), (uint)k, 0, salt, 2).A).ThenBy(k => k)],
        };
    }
}
