using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Inspections;

/// <summary>Which record an addition belongs to.</summary>
/// <param name="RecordSha256">Of record.json, every byte of it.</param>
public sealed record RecordReference(string RunId, string RecordSha256);

/// <summary>What is said about a printed part: the predicate of an addition. Exactly one of caliper and scan is there.</summary>
public sealed record InspectionFacts
{
    /// <summary>1 for the first addition of a record.</summary>
    public required int Number { get; init; }

    public required RecordReference Record { get; init; }

    /// <summary>Hash of the envelope of the addition before; null for the first.</summary>
    public string? PreviousSha256 { get; init; }

    public string Warning { get; init; } = EducationAndPlanning.Warning;

    public required DateTimeOffset At { get; init; }

    /// <summary>Code of who measured; never a name.</summary>
    public string? InspectorCode { get; init; }

    /// <summary>Program, version and revision.</summary>
    public required string Software { get; init; }

    /// <summary>The file of the run that the part was printed from.</summary>
    public required string ModelFile { get; init; }

    public required Purpose Purpose { get; init; }

    public required double ToleranceMm { get; init; }

    /// <summary>Computed from the figures and the tolerance.</summary>
    public required bool Passed { get; init; }

    public CaliperFacts? Caliper { get; init; }

    public RescanFacts? Scan { get; init; }

    public required IReadOnlyList<Finding> Findings { get; init; }

    /// <summary>Largest deviation found, without sign.</summary>
    public double LargestMm() => Caliper?.Agreement.LargestMm ?? Scan!.MaxMm;

    /// <summary>What <see cref="Passed"/> must be.</summary>
    public bool Passes() => Caliper?.Agreement.IsWithin(ToleranceMm) ?? Scan!.IsWithin(ToleranceMm);
}
