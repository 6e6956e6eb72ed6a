using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>What decoding a stack gave: files with hashes and counts of HU in slice order, and what went wrong.</summary>
internal sealed record Decoded(IReadOnlyList<SourceFile> Files, IReadOnlyList<(string Name, SliceCounts? Counts)> Counts, IReadOnlyList<Stop> Stops)
{
    public static Decoded None { get; } = new([], [], []);
}

/// <summary>The input while it is being read: its files, the stacks they make, and the child that reads them.</summary>
/// <param name="input">Taken over.</param>
internal sealed class Study(ReaderCommand command, ReaderLimits limits, SourceInput input) : IDisposable
{
    private readonly ReaderProcess _reader = new(command, limits, input.Files.Max(f => f.Bytes));
    private readonly StructureGate _gate = new(limits);
    private readonly List<Skipped> _skipped = [];
    private readonly List<Finding> _findings = [];

    public IReadOnlyList<CheckedStack> Stacks { get; private set; } = [];

    public IReadOnlyList<SkippedFile> Others => [.. _skipped.Select(s => s.ToPublic())];

    /// <summary>About files that may belong to a series but cannot be read.</summary>
    public IReadOnlyList<Finding> Findings => _findings;

    /// <summary>Reads all headers and sorts the files into stacks.</summary>
    public void Scan(RunContext run)
    {
        var files = input.Directory is { } directory ? [directory, .. FilesOf(directory, run)] : input.Files;
        var filled = files.Where(f => f.Bytes > 0).ToArray();
        var replies = _reader.Run(ReaderTask.Scan, [.. filled.Select((f, i) => new ReaderItem(i, f.Path))], null, "reading headers", run);
        var scanned = filled.Select((f, i) => new ScannedFile(i, f, replies[i].Scan ?? new ScanResult(null, replies[i].Fault), replies[i].Digest)).ToArray();
        var (stacks, skipped) = SeriesSorter.Sort(DropCopies(scanned, run));
        _skipped.AddRange(skipped);
        _skipped.AddRange(files.Where(f => f.Bytes == 0).Select(f => Skip(MarkedName.Of(f.Name), FindingCodes.FileNotDicom, "empty, or not a regular file")));
        Stacks = [.. stacks.Select(StackCheck.Check)];
        foreach (var file in scanned.Where(f => f.Scan.Ct is null && IsSuspicious(f.Scan.Fault!)))
            _findings.Add(file.Scan.Fault!.ToFinding(Severity.Caution, file.Name));
        foreach (var file in scanned.Where(f => f.Scan.References is not null))
            if (DirectoryListing.Resolve(file.Input, file.Scan.References!, files).Missing is { Count: > 0 } missing)
                _findings.Add(DirectoryListing.Missing(missing));
        var patients = scanned.Select(f => f.Scan.Ct?.PatientMark).Where(m => m is not null).Distinct().Count();
        if (patients > 1)
            _findings.Add(new(FindingCodes.SeveralPatients, Severity.Caution, FormattableString.Invariant($"The source holds images with {patients} different Patient IDs (0010,0020)."), "Check that the series chosen is the right patient's: prepare --patient-id compares it."));
    }

    /// <summary>Who the patient of a stack is: the one answer that carries it.</summary>
    public IReadOnlyList<Identifier> Identify(CheckedStack stack, RunContext run)
    {
        var file = stack.Slices[0].File;
        var reply = _reader.Run(ReaderTask.Identify, [new ReaderItem(0, file.Input.Path)], null, "reading identifiers", run)[0];
        if (reply.Fault is { } fault)
            throw MarkedName.Plain(fault.ToException(file.Name));
        return reply.Digest == file.Digest
            ? reply.Identifiers!
            : throw new BadInputException(file.Input.Name, "file", "changed while it was read", "Run again when nobody writes to the folder.");
    }

    private IReadOnlyList<InputFile> FilesOf(InputFile directory, RunContext run)
    {
        var reply = _reader.Run(ReaderTask.Scan, [new ReaderItem(0, directory.Path)], null, "reading the directory", run)[0];
        if (reply.Scan?.References is { } references)
            return DirectoryListing.Resolve(directory, references, input.Files).Found;
        var fault = reply.Fault ?? reply.Scan?.Fault;
        throw fault?.ToException(directory.Name) ?? new BadInputException(directory.Name, "file", "a CT image, not a directory of files", "Give the folder.");
    }

    /// <summary>Gates and decodes the stack; faultless slices go to <paramref name="outputPath"/> where there is one.</summary>
    public Decoded Decode(CheckedStack stack, string? outputPath, RunContext run)
    {
        // A file that is known to be bad is not opened again; its stop is there already.
        var sources = stack.Slices.Select(s => s.File).DistinctBy(f => f.Index).Where(f => f.Scan.Fault is null && HasScale(f.Scan.Ct!)).ToArray();
        var refused = _gate.Check([.. sources.Select(f => f.Input.Path)], run);
        var sound = sources.Where((_, i) => refused[i] is null).ToArray();
        var slots = Slots(stack);
        var items = sound.Select((f, i) => new ReaderItem(i, f.Input.Path, f.Digest, slots[f.Index])).ToArray();
        var replies = _reader.Run(ReaderTask.Decode, items, outputPath, "decoding slices", run);
        var stops = sources.Zip(refused).Where(x => x.Second is not null).Select(x => new Stop(x.First.Name, x.Second!))
            .Concat(sound.Zip(replies).Where(x => x.Second.Fault is not null).Select(x => new Stop(x.First.Name, x.Second.Fault!)));
        var answers = sound.Zip(replies).Where(x => x.Second.Fault is null).ToDictionary(x => x.First.Index, x => x.Second);
        var counts = stack.Slices.Select(s => (s.Name, answers.TryGetValue(s.File.Index, out var a) ? a.Slices![s.Frame] : null)).ToArray();
        var hashed = stack.Slices.Select(s => s.File).DistinctBy(f => f.Index)
            .Where(f => answers.ContainsKey(f.Index))
            .Select(f => new SourceFile(f.Input.Name, answers[f.Index].Bytes, answers[f.Index].Sha256!));
        return new Decoded([.. hashed], counts, [.. stops]);
    }

    /// <summary>Why there is no CT series here, in the words of the first file that says most.</summary>
    public BadInputException NothingToLoad()
    {
        string[] telling = [FindingCodes.FileCrashedReader, FindingCodes.FileTimedOut, FindingCodes.FileTruncated, FindingCodes.FileNotCt, FindingCodes.Localizer, FindingCodes.FileUnreadable, FindingCodes.FileNotImage, FindingCodes.FileNotDicom];
        var (name, fault) = _skipped.OrderBy(s => Array.IndexOf(telling, s.Fault.Code) is var i && i < 0 ? telling.Length : i).First();
        var others = _skipped.Count switch
        {
            1 => "",
            2 => ", and the other file is no CT slice either",
            _ => FormattableString.Invariant($", and the other {_skipped.Count - 1} files are no CT slices either"),
        };
        return MarkedName.Plain(new BadInputException(name, fault.Field, fault.Value + others, fault.Remedy, _findings));
    }

    public void Dispose()
    {
        _reader.Dispose();
        input.Dispose();
    }

    /// <summary>A broken file that means to be DICOM may have been a slice.</summary>
    private static bool IsSuspicious(Fault fault) =>
        fault.Code is FindingCodes.FileTruncated or FindingCodes.FileUnreadable or FindingCodes.FileCrashedReader or FindingCodes.FileTimedOut;

    private static Skipped Skip(string name, string code, string why) => new(name, new Fault(code, "file", why, "Give the folder of a CT series."));

    private static bool HasScale(FileFacts facts) => facts.Slices.All(s => s is { Slope: not null, Intercept: not null });

    private static Dictionary<int, int[]> Slots(CheckedStack stack)
    {
        var slots = stack.Slices.GroupBy(s => s.File.Index).ToDictionary(g => g.Key, g => Enumerable.Repeat(-1, g.First().Facts.Slices.Count).ToArray());
        for (var k = 0; k < stack.Slices.Count; k++)
            slots[stack.Slices[k].File.Index][stack.Slices[k].Frame] = k;
        return slots;
    }

    /// <summary>The same file twice, byte for byte, is one file; only files with equal facts need be read to know.</summary>
    private ScannedFile[] DropCopies(ScannedFile[] scanned, RunContext run)
    {
        var alike = scanned.Where(f => f.Scan.Ct is { SopInstance.Length: > 0 })
            .GroupBy(f => (f.Scan.Ct!.SopInstance, f.Digest, f.Input.Bytes)).Where(g => g.Count() > 1).SelectMany(g => g).ToArray();
        if (alike.Length == 0)
            return scanned;
        var replies = _reader.Run(ReaderTask.Hash, [.. alike.Select((f, i) => new ReaderItem(i, f.Input.Path))], null, "comparing copies", run);
        var copies = alike.Zip(replies).Where(x => x.Second.Sha256 is not null).GroupBy(x => x.Second.Sha256!).SelectMany(g => g.Skip(1).Select(x => (Copy: x.First, Kept: g.First().First))).ToArray();
        _skipped.AddRange(copies.Select(c => Skip(c.Copy.Name, FindingCodes.FileDuplicate, $"the same bytes as {c.Kept.Name}")));
        return [.. scanned.ExceptBy(copies.Select(c => c.Copy.Index), f => f.Index)];
    }
}
