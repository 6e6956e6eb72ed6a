using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>One file that came in, by its header. UIDs are for grouping only: none may be logged or shown.</summary>
/// <param name="SourceTitle">Calling title of the association that brought it; null where it is none.</param>
/// <param name="Refusal">Why it is no usable CT image; the other values are then null.</param>
public sealed record ArrivedFile(string Path, string? StudyUid, string? SeriesUid, string? InstanceUid, string? SourceTitle, Finding? Refusal, ImageFacts? Facts = null, string? SopClass = null);

/// <summary>What a header says of its picture.</summary>
/// <param name="BodyPart">One of <see cref="BodyParts.Terms"/>.</param>
/// <param name="Laterality">R, L, B (both) or U (not paired).</param>
/// <param name="Samples">Rows × columns × frames.</param>
public sealed record ImageFacts(string? BodyPart, string? Laterality, long Samples);

/// <summary>Tells of files that came in which are CT images, and which series they belong to.</summary>
/// <remarks>Headers are read in a child process, structure is checked by dcmdump; nothing is decoded. About 2 ms a file.</remarks>
public sealed class ArrivalReader(ReaderCommand reader, ReaderLimits? limits = null)
{
    private readonly ReaderLimits _limits = limits ?? ReaderLimits.Default;

    /// <summary>One entry per path, in their order.</summary>
    /// <exception cref="BadInputException">Too many files crash the reader.</exception>
    public IReadOnlyList<ArrivedFile> Read(IReadOnlyList<string> paths, RunContext run)
    {
        if (paths.Count == 0)
            return [];
        using var process = new ReaderProcess(reader, _limits, paths.Max(p => new FileInfo(p).Length));
        var replies = process.Run(ReaderTask.Scan, [.. paths.Select((p, i) => new ReaderItem(i, p))], null, "reading headers", run);
        var scans = replies.Select(r => r.Scan ?? new ScanResult(null, r.Fault)).ToArray();
        var sound = Enumerable.Range(0, scans.Length).Where(i => scans[i] is { Ct: not null, Fault: null }).ToArray();
        var refused = new StructureGate(_limits).Check([.. sound.Select(i => paths[i])], run);
        var faults = scans.Select(s => s.Fault).ToArray();
        for (var k = 0; k < sound.Length; k++)
            faults[sound[k]] = refused[k];
        return [.. paths.Select((p, i) => Describe(p, scans[i].Ct, faults[i]))];
    }

    /// <summary>The Patient ID of a file as <paramref name="keep"/> keeps it; the ID itself goes no further.</summary>
    public string? Patient(string path, Func<string?, string?> keep, RunContext run)
    {
        using var process = new ReaderProcess(reader, _limits, new FileInfo(path).Length);
        var reply = process.Run(ReaderTask.Identify, [new ReaderItem(0, path)], null, "reading identifiers", run)[0];
        return keep(reply.Identifiers?.FirstOrDefault(i => i.Tag == Tag.PatientId)?.Value);
    }

    private static ArrivedFile Describe(string path, FileFacts? facts, Fault? fault)
    {
        var missing = facts is { SopInstance: "" } ? new Fault(FindingCodes.FileUnreadable, Tag.Name(Tag.SopInstanceUid), "missing", "Send this file again from its source.") : null;
        return (fault ?? missing) is { } why
            ? new(path, null, null, null, facts?.SourceTitle, why.ToFinding(Severity.Caution, "A file that came in"))
            : new(path, facts!.Study, facts.Series, facts.SopInstance, facts.SourceTitle, null, new(facts.BodyPart, facts.Laterality, (long)facts.Rows * facts.Columns * facts.Slices.Count), facts.SopClass);
    }
}
