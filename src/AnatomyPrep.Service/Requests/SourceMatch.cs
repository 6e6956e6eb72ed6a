using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Requests;

/// <summary>What a request asks for against what the headers of a source say.</summary>
/// <remarks>
/// Headers are filled in by people and often not at all: what they do not say is a caution, which a named person must acknowledge before
/// release; what they contradict is a stop. A right header proves nothing about the picture.
/// </remarks>
internal static class SourceMatch
{
    private const string OtherSource = "Choose another source, or correct the request.";

    public static IReadOnlyList<Finding> Judge(JobRequest asked, SourceEntry source)
    {
        Finding?[] found = [Patient(asked, source), Anatomy(asked, source), Side(asked, source)];
        return [.. found.OfType<Finding>()];
    }

    public static bool IsContradiction(IReadOnlyList<Finding> findings) => findings.Any(f => f.Severity == Severity.Stop);

    private static Finding? Patient(JobRequest asked, SourceEntry source) => (asked.PatientKey, source.PatientKey) switch
    {
        (null, _) => null,
        (_, null) => new(FindingCodes.PatientUnknown, Severity.Stop, "The images name no patient.", "Find out whose images these are, and send them with a Patient ID."),
        var (a, s) when a != s => new(FindingCodes.PatientMismatch, Severity.Stop, "The images are of another patient.", "Choose another source; nothing is made from this one for that patient."),
        _ => null,
    };

    private static Finding? Anatomy(JobRequest asked, SourceEntry source) => BodyRegions.CanShow(source.BodyPart, asked.Anatomy) switch
    {
        true => null,
        false => new(FindingCodes.AnatomyMismatch, Severity.Stop, $"The headers say {source.BodyPart}, and {asked.Anatomy} was asked for.", OtherSource),
        null => new(
            FindingCodes.AnatomyUnknown,
            Severity.Caution,
            source.BodyPart is null ? "The headers do not say which part of the body the images show." : $"Whether images of {source.BodyPart} show {asked.Anatomy} is not known here.",
            "Look whether the images show what was asked for."),
    };

    private static Finding? Side(JobRequest asked, SourceEntry source) => (asked.Side, source.Laterality) switch
    {
        (null, _) => null,
        (Records.Statements.Side.Left, "L") or (Records.Statements.Side.Right, "R") or (Records.Statements.Side.Both, "B") or (Records.Statements.Side.Midline, "U") => null,
        (var side, "L" or "R") => new(FindingCodes.SideMismatch, Severity.Stop, $"The headers say {(source.Laterality == "L" ? "left" : "right")}, and {Word(side)} was asked for.", OtherSource),
        (var side, "B") => new(FindingCodes.SideUnknown, Severity.Caution, $"The images show both sides, and {Word(side)} was asked for.", "Look which side the plan keeps."),
        var (side, _) => new(FindingCodes.SideUnknown, Severity.Caution, $"The headers do not say which side the images show; {Word(side)} was asked for.", "Look which side the plan keeps."),
    };

    private static string Word(Side? side) => side!.Value.ToString().ToLowerInvariant();
}
