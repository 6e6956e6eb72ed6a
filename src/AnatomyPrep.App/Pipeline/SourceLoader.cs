using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;
using RecordedSeries = AnatomyPrep.Records.Statements.SeriesFacts;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A source that was read: its values, its facts for the record, and where it lies on this machine.</summary>
internal sealed record LoadedSource(string Path, PipelineState State, SourceFacts Facts, IReadOnlyList<Finding> Findings) : IDisposable
{
    public void Dispose() => State.Dispose();
}

/// <summary>Reads a CT series or a mesh file and hashes every file of it.</summary>
internal sealed class SourceLoader(AppFolders folders)
{
    public static ReaderCommand Reader { get; } = ReaderCommand.ThisProgram(Program.ReaderCommand);

    /// <exception cref="BadInputException">The source cannot be used; the message says why.</exception>
    /// <exception cref="SeveralSeriesException">Several series could be meant.</exception>
    public LoadedSource Load(string path, string? seriesUid, LengthUnit? unit, RunContext run) =>
        IsMesh(path)
            ? LoadMesh(path, unit, run)
            : LoadSeries(path, seriesUid, run);

    /// <summary>True for a mesh file. A DICOM file begins with 128 bytes of anything, so its mark is looked for first.</summary>
    public static bool IsMesh(string path) => File.Exists(path) && !HasDicomMark(path) && MeshFile.Identify(path) is not null;

    /// <summary>Reads a recorded source again; of several series the recorded one, found by its pseudonym.</summary>
    public LoadedSource LoadAgain(string path, SourceFacts recorded, RunContext run)
    {
        if (recorded.Scan is { } scan)
            return Load(path, null, LengthUnits.All.First(u => u.Plural() == scan.Unit), run);
        var siteKey = new KeyFolder(folders.Keys).OpenSiteKey();
        try
        {
            return LoadSeries(path, null, run);
        }
        catch (SeveralSeriesException several)
        {
            var wanted = several.Series.FirstOrDefault(s => siteKey.Pseudonym(IdentifierKind.Series, s.Uid) == recorded.Pseudonyms?.Series && s.Slices == recorded.Series?.Slices);
            return LoadSeries(path, wanted?.Selector ?? throw new BadInputException("replay", "source", "none of its series is the recorded one", "Give the folder the model was made from."), run);
        }
    }

    private LoadedSource LoadSeries(string path, string? seriesUid, RunContext run)
    {
        var series = new DicomSource(Reader).Load(path, seriesUid, run);
        try
        {
            var siteKey = new KeyFolder(folders.Keys).OpenSiteKey();
            var facts = new SourceFacts
            {
                Kind = SourceKind.CtSeries,
                Files = [.. series.Files.Select(f => new FileFacts(f.Sha256, f.Bytes))],
                Series = Recorded(series),
                Pseudonyms = new(
                    siteKey.Pseudonym(IdentifierKind.Study, series.Facts.StudyUid),
                    siteKey.Pseudonym(IdentifierKind.Series, series.Facts.Uid),
                    siteKey.Pseudonym(IdentifierKind.FrameOfReference, series.Facts.FrameOfReferenceUid)),
            };
            return new(path, PipelineState.FromVolume(series.Volume), facts, series.Findings);
        }
        catch
        {
            series.Dispose();
            throw;
        }
    }

    private static RecordedSeries Recorded(LoadedSeries series)
    {
        var f = series.Facts;
        return new()
        {
            Modality = f.Modality,
            Rows = f.Rows,
            Columns = f.Columns,
            Slices = f.Slices,
            SpacingMm = [series.Volume.Map.ColumnStepMm.Length, series.Volume.Map.RowStepMm.Length],
            SliceSpacingMm = f.SliceSpacingMm ?? 0,
            TiltDeg = series.Volume.Map.TiltDeg,
            Orientation = f.Orientation?.Axes ?? "",
            TransferSyntax = f.TransferSyntax,
            MinHu = f.MinHu ?? 0,
            MaxHu = f.MaxHu ?? 0,
        };
    }

    private static LoadedSource LoadMesh(string path, LengthUnit? unit, RunContext run)
    {
        // Hash and parse the same bytes: a file that changes in between must not be recorded as what it was not.
        var bytes = File.ReadAllBytes(path);
        var read = MeshFile.Read(bytes, Path.GetFileName(path), new MeshReadOptions(unit), run);
        var facts = new SourceFacts
        {
            Kind = SourceKind.Mesh,
            Files = [new FileFacts(Convert.ToHexStringLower(SHA256.HashData(bytes)), bytes.Length)],
            Scan = new ScanFacts(read.Format, read.Unit.Plural(), read.Mesh.VertexCount, read.Mesh.TriangleCount),
        };
        return new(path, PipelineState.FromMesh(read.Mesh), facts, read.Findings);
    }

    private static bool HasDicomMark(string path)
    {
        using var file = File.OpenHandle(path);
        Span<byte> mark = stackalloc byte[4];
        return RandomAccess.Read(file, mark, 128) == mark.Length && mark.SequenceEqual("DICM"u8);
    }
}
