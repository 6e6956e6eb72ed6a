using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Records.Statements;

/// <summary>Everything about one run: the predicate of its statement, and the content of run.json.</summary>
/// <remarks>
/// Fields are described in docs/formats/record.md. Plain data: no geometry, no identifiers, no paths, nothing that depends on
/// the machine or its number of threads. Doubles must be finite.
/// </remarks>
public sealed record RunFacts
{
    /// <summary>Names this run on report and label, before the record exists. See <see cref="RunIdText"/>.</summary>
    public string RunId => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(RunIdText())));

    public string Warning { get; } = EducationAndPlanning.Warning;

    public required RunRequest Request { get; init; }

    public required SourceFacts Source { get; init; }

    public required PlanFacts Plan { get; init; }

    public required SoftwareFacts Software { get; init; }

    public required IReadOnlyList<StepFacts> Steps { get; init; }

    public required IReadOnlyList<Finding> Findings { get; init; }

    /// <summary>Of the model; of all structures together where there are several.</summary>
    public required Measurements Measurements { get; init; }

    /// <summary>Where a plan makes several solids: each of them, in the plan's order; else null.</summary>
    public IReadOnlyList<StructureFacts>? Structures { get; init; }

    /// <summary>Volume that two structures share, summed over all pairs; null where there is one model.</summary>
    public double? SharedMm3 { get; init; }

    /// <summary>From the injected clock; kept to the millisecond, in UTC.</summary>
    public required DateTimeOffset StartedAt { get; init; }

    public required DateTimeOffset FinishedAt { get; init; }

    /// <summary>
    /// The text whose SHA-256 is the run id: source, plan, software and start. A report can only carry what is known before
    /// it is hashed into the record, and these four name the run.
    /// </summary>
    public string RunIdText() =>
        $"source {Source.TreeSha256}\nplan {Plan.Sha256}\n"
        + $"software {Software.NameAndRevision()}\nstarted {RecordTime.Text(StartedAt)}\n";
}
