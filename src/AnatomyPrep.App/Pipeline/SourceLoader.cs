using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Acquire.Grids;
using AnatomyPrep.Imaging.Export;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;
using RecordedSeries = AnatomyPrep.Records.Statements.SeriesFacts;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A source that was read: its values, its facts for the record, and where its files lie on this machine.</summary>
/// <param name="PartPaths">Path of each part, by the hash of its file.</param>
/// <param name="Archive">True identifiers; null unless they were asked for.</param>
/// <param name="SliceThicknessMm">The largest that the headers of its slices state; null where none does.</param>
internal sealed record LoadedSource(
    string Path, PipelineState State, SourceFacts Facts, IReadOnlyList<Finding> Findings, IReadOnlyDictionary<string, string> PartPaths, ArchivePlace? Archive = null, double? SliceThicknessMm = null) : IDisposable
{
    public void Dispose() => State.Dispose();
}

/// <summary>Where in an archive a model of this source belongs.</summary>
/// <param name="FrameOfReferenceUid">Null where the images name none.</param>
internal sealed record ArchivePlace(string StudyUid, string? FrameOfReferenceUid, PatientStudy Patient);

/// <summary>Reads a CT series, a volume file, a mesh or points, and further meshes, and hashes every file.</summary>
internal sealed class SourceLoader(AppFolders folders)
{
    private static readonly SortedDictionary<string, string> s_noParts = [];

    public static ReaderCommand Reader { get; } = ReaderCommand.ThisProgram(Program.ReaderCommand);

    /// <exception cref="BadInputException">The source cannot be used; the message says why.</exception>
    /// <exception cref="SeveralSeriesException">Several series could be meant.</exception>
    public LoadedSource Load(SourceRequest request, RunContext run)
    {
        if (request.Identify && (IsGrid(request.Path) || IsScan(request.Path)))
            throw new PlanException("command", null, "--identify", "a file that does not say whose it is", "a CT series in DICOM");
        var source = IsGrid(request.Path) ? LoadGrid(request, run) : IsScan(request.Path) ? LoadScan(request, run) : LoadSeries(request, run);
        if (request.Parts is { Count: > 0 } parts)
            source = WithParts(source, parts, request.Unit, run);
        return request.Unit is null && request.Anatomy is null
            ? source
            : source with { Facts = source.Facts with { Stated = new(request.Unit?.Plural(), request.Anatomy) } };
    }

    /// <summary>True for a volume in one file (or two): NIfTI, NRRD, MetaImage.</summary>
    public static bool IsGrid(string path) => File.Exists(path) && !HasDicomMark(path) && GridFile.Identify(path) is not null;

    /// <summary>True for a file of a mesh or of points. A DICOM file begins with 128 bytes of anything, so its mark is looked for first.</summary>
    public static bool IsScan(string path) => File.Exists(path) && !HasDicomMark(path) && !DicomSource.IsArchive(path) && MeshFile.Identify(path) is not null;

    /// <summary>True for points without triangles.</summary>
    public static bool IsCloud(string path) => MeshFile.Identify(path) is FileContent.PlyPoints or FileContent.Xyz;

    /// <summary>Reads a recorded source again; of several series the recorded one, found by its pseudonym.</summary>
    /// <param name="partPath">Where the part with this name and hash lies.</param>
    /// <param name="identify">The recorded run exported identifiers.</param>
    public LoadedSource LoadAgain(string path, SourceFacts recorded, Func<string, string, string> partPath, RunContext run, bool identify = false)
    {
        var parts = (recorded.Parts ?? []).ToDictionary(p => p.Name, p => partPath(p.Name, recorded.Files[p.File].Sha256), StringComparer.Ordinal);
        var unit = recorded.Stated?.Unit is { } stated ? LengthUnits.All.First(u => u.Plural() == stated) : (LengthUnit?)null;
        var request = new SourceRequest(path, null, unit, recorded.Stated?.Anatomy, parts, Identify: identify && recorded.Kind == SourceKind.CtSeries);
        if (recorded.Kind != SourceKind.CtSeries)
            return Load(request, run);
        var siteKey = new KeyFolder(folders.Keys).OpenSiteKey();
        try
        {
            return Load(request, run);
        }
        catch (SeveralSeriesException several)
        {
            // Several stacks of one series may be of one length: the hash of the files tells which it was.
            foreach (var candidate in several.Series.Where(s => siteKey.Pseudonym(IdentifierKind.Series, s.Uid) == recorded.Pseudonyms?.Series && s.Slices == recorded.Series?.Slices))
            {
                var loaded = Load(request with { SeriesUid = candidate.Selector }, run);
                if (loaded.Facts.TreeSha256 == recorded.TreeSha256)
                    return loaded;
                loaded.Dispose();
            }

            throw new BadInputException("replay", "source", "none of its series is the recorded one", "Give the folder the model was made from.");
        }
    }

    private LoadedSource LoadSeries(SourceRequest request, RunContext run)
    {
        var siteKey = new KeyFolder(folders.Keys).OpenSiteKey();
        var series = new DicomSource(Reader).Load(request.Path, request.SeriesUid, run, id => CheckPatient(siteKey, request.PatientId, id), request.Anatomy, request.Identify);
        try
        {
            var facts = new SourceFacts
            {
                Kind = SourceKind.CtSeries,
                Files = [.. series.Files.Select(f => new FileFacts(f.Sha256, f.Bytes))],
                Series = Recorded(series),
                Pseudonyms = new(
                    siteKey.Pseudonym(IdentifierKind.Study, series.Facts.StudyUid),
                    siteKey.Pseudonym(IdentifierKind.Series, series.Facts.Uid),
                    siteKey.Pseudonym(IdentifierKind.FrameOfReference, series.Facts.FrameOfReferenceUid),
                    series.PatientPseudonym),
            };
            var archive = series.Identity is { } patient ? new ArchivePlace(series.Facts.StudyUid, series.Facts.FrameOfReferenceUid, patient) : null;
            return new(request.Path, PipelineState.FromVolume(series.Volume), facts, series.Findings, s_noParts, archive, series.Facts.SliceThicknessMm);
        }
        catch
        {
            series.Dispose();
            throw;
        }
    }

    /// <summary>The pseudonym of the source's Patient ID; the ID itself goes no further than here.</summary>
    /// <exception cref="CheckFailedException">It is not the one that was asked for.</exception>
    private static string? CheckPatient(SiteKey siteKey, string? asked, string? found)
    {
        var pseudonym = siteKey.Pseudonym(IdentifierKind.Patient, found?.Trim());
        if (asked is not null && siteKey.Pseudonym(IdentifierKind.Patient, asked.Trim()) is var wanted && (wanted is null || wanted != pseudonym))
            throw new CheckFailedException("patient", "images of the patient that was asked for (--patient-id)", pseudonym is null ? "images without a Patient ID (0010,0020)" : "images of another patient");
        return pseudonym;
    }

    private static void RefusePatient(SourceRequest request)
    {
        if (request.PatientId is not null)
            throw new CheckFailedException("patient", "images of the patient that was asked for (--patient-id)", "a file that does not say whose it is");
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

    private static LoadedSource LoadGrid(SourceRequest request, RunContext run)
    {
        RefusePatient(request);
        var grid = GridFile.Read(request.Path, run, request.Anatomy);
        var f = grid.Facts;
        var facts = new SourceFacts
        {
            Kind = SourceKind.Volume,
            Files = [.. f.Files.Select(x => new FileFacts(x.Sha256, x.Bytes))],
            Series = new()
            {
                Modality = f.Modality,
                Rows = f.Rows,
                Columns = f.Columns,
                Slices = f.Slices,
                SpacingMm = [f.SpacingMm[0], f.SpacingMm[1]],
                SliceSpacingMm = f.SliceSpacingMm,
                TiltDeg = f.TiltDeg,
                Orientation = f.Orientation.Axes,
                TransferSyntax = f.TransferSyntax,
                MinHu = f.MinHu,
                MaxHu = f.MaxHu,
            },
        };
        return new(request.Path, PipelineState.FromVolume(grid.Volume), facts, f.Findings, s_noParts);
    }

    private static LoadedSource LoadScan(SourceRequest request, RunContext run)
    {
        RefusePatient(request);
        var bytes = File.ReadAllBytes(request.Path);
        var name = Path.GetFileName(request.Path);
        var options = new MeshReadOptions(request.Unit, request.Anatomy);
        if (IsCloud(request.Path))
        {
            var read = PointCloudFile.Read(bytes, name, options, run);
            return Scan(SourceKind.PointCloud, PipelineState.FromCloud(read.Cloud), new(read.Format, read.Unit.Plural(), read.Cloud.Count, 0), read.Findings);
        }

        var mesh = MeshFile.Read(bytes, name, options, run);
        return Scan(SourceKind.Mesh, PipelineState.FromMesh(mesh.Mesh), FactsOf(mesh), mesh.Findings);

        LoadedSource Scan(SourceKind kind, PipelineState state, ScanFacts scan, IReadOnlyList<Finding> findings)
        {
            RefuseStops(name, findings);
            return new(request.Path, state, new() { Kind = kind, Files = [HashOf(bytes)], Scan = scan }, findings, s_noParts);
        }
    }

    private static LoadedSource WithParts(LoadedSource source, IReadOnlyDictionary<string, string> paths, LengthUnit? unit, RunContext run)
    {
        try
        {
            var files = source.Facts.Files.ToList();
            var findings = source.Findings.ToList();
            var meshes = new SortedDictionary<string, Mesh>(StringComparer.Ordinal);
            var facts = new List<PartFacts>();
            var pathOf = new SortedDictionary<string, string>(StringComparer.Ordinal);
            foreach (var (name, path) in paths.OrderBy(p => p.Key, StringComparer.Ordinal))
            {
                var bytes = File.ReadAllBytes(path);
                var read = MeshFile.Read(bytes, Path.GetFileName(path), new MeshReadOptions(unit), run);
                RefuseStops(name, read.Findings);
                meshes.Add(name, read.Mesh);
                facts.Add(new(name, files.Count, FactsOf(read)));
                files.Add(HashOf(bytes));
                findings.AddRange(read.Findings.Select(f => f with { Message = $"Part {name}: {f.Message}" }));
                pathOf[files[^1].Sha256] = path;
            }

            return new(source.Path, source.State.With(meshes), source.Facts with { Files = files, Parts = facts }, findings, pathOf, source.Archive, source.SliceThicknessMm);
        }
        catch
        {
            source.Dispose();
            throw;
        }
    }

    private static ScanFacts FactsOf(MeshReadResult read) => new(read.Format, read.Unit.Plural(), read.Mesh.VertexCount, read.Mesh.TriangleCount);

    // Of the same bytes that were parsed: a file that changes in between must not be recorded as what it was not.
    private static FileFacts HashOf(byte[] bytes) => new(Convert.ToHexStringLower(SHA256.HashData(bytes)), bytes.Length);

    private static void RefuseStops(string name, IReadOnlyList<Finding> findings)
    {
        if (findings.FirstOrDefault(f => f.Severity == Severity.Stop) is { } stop)
            throw new BadInputException(name, stop.Code, stop.Message.TrimEnd('.'), stop.Remedy, findings);
    }

    private static bool HasDicomMark(string path)
    {
        using var file = File.OpenHandle(path);
        Span<byte> mark = stackalloc byte[4];
        return RandomAccess.Read(file, mark, 128) == mark.Length && mark.SequenceEqual("DICM"u8);
    }
}
