using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Export;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire.Fitness;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Reads DICOM CT series from a folder, file, zip archive or DICOMDIR.</summary>
/// <remarks>
/// Every byte of an input file is read in child processes only (<see cref="ReaderChild"/>, dcmdump); this process sees
/// names, numbers and HU. Stages: list files, read headers, sort into stacks, check by headers, gate by dcmdump, decode.
/// Peak memory of <see cref="Load"/>: the volume (2 bytes a sample, shared with the child), plus per thread of the
/// child one file and 6 bytes a sample of one slice. Results do not depend on file names, order or threads.
/// </remarks>
public sealed class DicomSource(ReaderCommand reader, ReaderLimits? limits = null)
{
    private const string Source = "the source";
    private const uint PatientName = 0x0010_0010;
    private const uint PatientBirthDate = 0x0010_0030;
    private const uint PatientSex = 0x0010_0040;
    private const uint StudyDate = 0x0008_0020;
    private const uint AccessionNumber = 0x0008_0050;
    private readonly ReaderLimits _limits = limits ?? ReaderLimits.Default;

    /// <summary>True for a zip archive of images, which begins as a 3MF model does.</summary>
    public static bool IsArchive(string path) => SourceArchive.IsZip(path);

    /// <summary>All CT stacks with their facts, HU range and findings, and every other file with the reason.</summary>
    /// <exception cref="BadInputException">The path holds no files.</exception>
    /// <param name="identify">Also tell who the patients are.</param>
    /// <param name="anatomy">What the model is to show; fitness and suggestion are then judged by it.</param>
    public SeriesListing Inspect(string path, RunContext run, bool identify = false, string? anatomy = null)
    {
        using var study = Open(path, run);
        var series = new List<SeriesFacts>();
        foreach (var stack in study.Stacks)
        {
            using var loaded = Decode(study, stack, [], anatomy, run);
            series.Add(Named(loaded.Facts));
        }

        return new SeriesListing(series, study.Others, [.. study.Findings.Select(MarkedName.Plain)], SeriesChoice.Suggest(series, anatomy))
        {
            Identities = identify ? [.. study.Stacks.Select(s => Identity(s, study, run))] : null,
        };
    }

    /// <summary>One CT series as a volume in HU.</summary>
    /// <param name="seriesUid">A selector from <see cref="SeriesFacts.Selector"/>, or null where the source holds one volume.</param>
    /// <param name="patient">
    /// Called with the Patient ID, or null where there is none, before anything is decoded: gives what may be kept of it, or throws
    /// when it is the wrong one. The ID is kept nowhere.
    /// </param>
    /// <param name="anatomy">What the model is to show; fitness is then judged by it.</param>
    /// <param name="identify">Also give the true identifiers, for a model that goes back to the archive.</param>
    /// <exception cref="BadInputException">No series, or one with a stop finding; the message is the first of them.</exception>
    /// <exception cref="SeveralSeriesException">Several could be meant.</exception>
    public LoadedSeries Load(string path, string? seriesUid, RunContext run, Func<string?, string?>? patient = null, string? anatomy = null, bool identify = false)
    {
        using var study = Open(path, run);
        var stack = Choose(study, seriesUid);
        ThrowIfStopped(stack.Stops, stack.Findings);
        var identifiers = patient is null && !identify ? [] : study.Identify(stack, run);
        string? Of(uint tag) => identifiers.FirstOrDefault(i => i.Tag == tag)?.Value;
        var pseudonym = patient?.Invoke(Of(Tag.PatientId));
        var identity = identify
            ? new PatientStudy(Of(PatientName) ?? "", Of(Tag.PatientId) ?? "", Of(PatientBirthDate) ?? "", Of(PatientSex) ?? "", Of(StudyDate) ?? "", Of(AccessionNumber) ?? "")
            : null;
        var loaded = Decode(study, stack, study.Findings, anatomy, run);
        if (loaded.Volume is { } volume)
            return new LoadedSeries(volume, Named(loaded.Facts), loaded.Facts.Files, [.. loaded.Facts.Findings.Select(f => MarkedName.Numbered(f, loaded.Facts.Files))], pseudonym, identity);
        ThrowIfStopped(loaded.Stops, stack.Findings);
        throw new InvalidOperationException("A stack without stops has a volume.");
    }

    /// <summary>Decodes a stack and judges it; the volume is there unless something stops it.</summary>
    private static DecodedStack Decode(Study study, CheckedStack stack, IReadOnlyList<Finding> ofFolder, string? anatomy, RunContext run)
    {
        if (stack.Stops.Count > 0)
        {
            var counted = study.Decode(stack, null, run);
            return new(Describe(stack, counted, ofFolder, null), null, counted.Stops);
        }

        var facts = stack.Stack.Facts;
        var bytes = (long)facts.Rows * facts.Columns * stack.Slices.Count * sizeof(short);
        run.Memory.Require("acquire", bytes, "Give a smaller series, or raise the memory limit.");
        if (bytes > ReaderProcess.LargestVolumeBytes)
            throw new BadInputException(Source, "volume", FormattableString.Invariant($"{bytes / 1e9:F1} GB"), "Give a smaller series.");
        var file = new VolumeFile(bytes);
        try
        {
            var decoded = study.Decode(stack, file.PathForChild, run);
            if (decoded.Stops.Count > 0)
            {
                file.Dispose();
                return new(Describe(stack, decoded, ofFolder, null), null, decoded.Stops);
            }

            var volume = Map(file, stack);
            var fitness = FitnessCheck.Judge(volume, ContextOf(stack, anatomy), run);
            return new(Describe(stack, decoded, ofFolder, fitness), volume, []);
        }
        catch
        {
            file.Dispose();
            throw;
        }
    }

    private static FitnessContext ContextOf(CheckedStack stack, string? anatomy) => new(
        Math.Max(stack.Geometry!.StepsMm.Max(), stack.Slices.Max(s => s.Slice.ThicknessMm) ?? 0),
        stack.Stack.Facts.Kernel,
        stack.Slices.Any(s => s.Facts.HasContrast),
        anatomy);

    private Study Open(string path, RunContext run)
    {
        var study = new Study(reader, _limits, SourceFolder.Open(path, run));
        try
        {
            study.Scan(run);
            return study;
        }
        catch
        {
            study.Dispose();
            throw;
        }
    }

    private static unsafe Volume Map(VolumeFile file, CheckedStack stack)
    {
        var facts = stack.Stack.Facts;
        return new Volume(facts.Columns, facts.Rows, file, file.Map(), (long)facts.Rows * facts.Columns * stack.Slices.Count, stack.Geometry!.Map);
    }

    private static void ThrowIfStopped(IReadOnlyList<Stop> stops, IReadOnlyList<Finding> findings)
    {
        if (stops.Count > 0)
            throw MarkedName.Plain(stops[0].Fault.ToException(stops[0].File, [.. stops.Select(s => s.ToFinding()), .. findings]));
    }

    private static CheckedStack Choose(Study study, string? selector)
    {
        if (study.Stacks.Count == 0)
            throw study.NothingToLoad();
        var candidates = selector is null
            ? Volumes(study.Stacks)
            : [.. study.Stacks.Where(s => s.Stack.Selector == selector || s.Stack.Facts.Series == selector)];
        return candidates.Count switch
        {
            0 => throw new BadInputException(Source, Tag.Name(Tag.SeriesInstanceUid), "the one asked for is not there", "Choose one that inspect lists."),
            1 => candidates[0],
            _ => throw new SeveralSeriesException([.. candidates.Select(c => Named(Describe(c, Decoded.None, [], null)))]),
        };
    }

    /// <summary>Stacks of two slices or more; single pictures count only where there is nothing else.</summary>
    private static IReadOnlyList<CheckedStack> Volumes(IReadOnlyList<CheckedStack> stacks)
    {
        var volumes = stacks.Where(s => s.Slices.Count > 1).ToArray();
        return volumes.Length > 0 ? volumes : stacks;
    }

    private static SeriesIdentity Identity(CheckedStack stack, Study study, RunContext run)
    {
        var names = Tag.Identifiers.ToDictionary(i => i.Tag, i => i.Name);
        return new(stack.Stack.Selector, [.. study.Identify(stack, run).Select(i => KeyValuePair.Create(names[i.Tag], i.Value))]);
    }

    private static SeriesFacts Named(SeriesFacts facts) => facts with { Findings = [.. facts.Findings.Select(MarkedName.Plain)] };

    private static SeriesFacts Describe(CheckedStack stack, Decoded decoded, IReadOnlyList<Finding> ofFolder, FitnessReport? fitness)
    {
        var (facts, g) = (stack.Stack.Facts, stack.Geometry);
        var counts = decoded.Counts.Where(c => c.Counts is not null).Select(c => c.Counts!).ToArray();
        var syntaxes = stack.Slices.Select(s => s.Facts.Syntax).Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal).Select(TransferSyntax.Find).ToArray();
        var step = g is { StepsMm.Count: > 0 } ? SpacingRule.Median(g.StepsMm) : (double?)null;
        var stops = stack.Stops.Concat(decoded.Stops).Select(s => s.ToFinding());
        return new SeriesFacts
        {
            Selector = stack.Stack.Selector,
            Uid = facts.Series,
            StudyUid = facts.Study,
            FrameOfReferenceUid = facts.FrameOfReference.Length > 0 ? facts.FrameOfReference : null,
            SopClassUid = facts.SopClass,
            SopClassName = SopClass.Name(facts.SopClass),
            Rows = facts.Rows,
            Columns = facts.Columns,
            Slices = stack.Slices.Count,
            PixelSpacingMm = g?.PixelSpacingMm,
            SpacingMm = step is { } s ? [g!.PixelSpacingMm[1], g.PixelSpacingMm[0], s] : null,
            SliceSpacingMm = step,
            SliceSpacingsMm = g?.StepsMm ?? [],
            TiltDeg = g is { StepsMm.Count: > 0 } && g.DepthsMm[^1] > g.DepthsMm[0] ? g.Map.TiltDeg : null,
            Orientation = g?.Orientation(),
            ExtentAlongNormalMm = g is null ? null : [g.DepthsMm[0], g.DepthsMm[^1]],
            TransferSyntaxUid = string.Join(", ", syntaxes.Select(t => t.Uid)),
            TransferSyntax = string.Join(", ", syntaxes.Select(t => t.Name)),
            MinHu = counts.Length > 0 ? counts.Min(c => c.MinHu) : null,
            MaxHu = counts.Length > 0 ? counts.Max(c => c.MaxHu) : null,
            PatientPosition = facts.PatientPosition,
            SliceThicknessMm = stack.Slices.Max(x => x.Slice.ThicknessMm),
            Kernel = facts.Kernel,
            SeriesNumber = facts.SeriesNumber,
            Derived = stack.Slices.Any(x => x.Facts.Derived),
            ToldApartBy = stack.Stack.Part?.How,
            HasContrast = stack.Slices.Any(x => x.Facts.HasContrast),
            Lossy = stack.Slices.Any(x => x.Facts.Lossy),
            Findings = [.. stops, .. stack.Findings, .. HuFindings.Describe(decoded.Counts), .. fitness?.Findings ?? [], .. ofFolder],
            Fitness = fitness?.Measures ?? [],
            Files = decoded.Files,
        };
    }

    private sealed record DecodedStack(SeriesFacts Facts, Volume? Volume, IReadOnlyList<Stop> Stops) : IDisposable
    {
        public void Dispose() => Volume?.Dispose();
    }
}
