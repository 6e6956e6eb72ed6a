using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Events;

/// <summary>The first event: the ledger's own key and the first administrator.</summary>
/// <param name="LogKey">Public key (PEM) that signs the heads of the tree.</param>
/// <param name="Administrator">Null for a ledger that a service began: the service then names the first administrator, once.</param>
public sealed record LedgerOpenedBody(string LogKey, int Schema, PersonChangeBody? Administrator = null);

/// <param name="Subject">Handle of the person the model is about (<see cref="Subjects.SubjectVault"/>); no identifier.</param>
/// <param name="Account">Who asked, where a service signs for them.</param>
public sealed record RequestBody(RunRequest Request, string? Subject = null, string? Account = null);

/// <param name="SourceSha256">Tree hash of the source files, as in the record of a run.</param>
public sealed record SourceReceivedBody(string SourceSha256, int Files);

/// <summary>One finding of a run, by code.</summary>
public sealed record FindingFact(string Code, Severity Severity);

/// <summary>A finished run.</summary>
/// <param name="Operator">Person on whose behalf it ran: the preparer, also where a service signs.</param>
/// <param name="RecordSha256">Of record.json, which holds the rest.</param>
public sealed record RunBody(
    string Run,
    string RecordSha256,
    string RecordKey,
    string SourceSha256,
    string Plan,
    string PlanSha256,
    string Software,
    string Operator,
    IReadOnlyList<FindingFact> Findings,
    IReadOnlyList<NamedFile> Files);

public sealed record NamedFile(string Name, string Sha256);

public sealed record FindingAcknowledgedBody(string Run, string Finding);

/// <summary>For review, release and rejection: which run is meant.</summary>
public sealed record RunReferenceBody(string Run, DateOnly? RetainUntil = null);

/// <param name="Parent">Such as "M-1/1".</param>
public sealed record RevisionBody(string Parent);

public sealed record PrintBody(string Printer, string Material, string Lot, int Copies = 1);

public sealed record PostProcessingBody(string Process, string? Lot = null);

/// <param name="AdditionSha256">Hash of the addition to the run's record that holds the figures; null for an inspection without one.</param>
public sealed record InspectionBody(bool Passed, string Method, double? LargestDeviationMm = null, string? AdditionSha256 = null);

/// <param name="To">Code of the receiver, not a name.</param>
public sealed record DeliveryBody(string To, int Copies = 1);

/// <param name="Subject">What it is about, in a word; what was said goes into the sealed part.</param>
public sealed record ComplaintBody(string Subject);

public sealed record RecallBody(string? Lot = null);

/// <param name="Event">Id of the event that was wrong; it stays.</param>
/// <param name="Now">What it should have said.</param>
public sealed record CorrectionBody(string Event, JsonObject Now)
{
    /// <exception cref="PlanException">Not one strict JSON object: a name twice, a number outside the range of IEEE, or no JSON.</exception>
    public static CorrectionBody Of(string e, string now)
    {
        try
        {
            return new(e, CanonicalJson.Parse(System.Text.Encoding.UTF8.GetBytes(now)) as JsonObject ?? throw Wrong("something else"));
        }
        catch (StrictJsonException strict)
        {
            throw Wrong(strict.Message);
        }

        static PlanException Wrong(string found) => new("correction", null, "now", found, "one JSON object, every name once, numbers within the range of IEEE double");
    }
}

public sealed record RedactionBody(string Subject);

/// <param name="PublicKey">PEM, for a person who is new.</param>
public sealed record PersonChangeBody(string Person, string Name, IReadOnlyList<Role> Roles, bool Active = true, string? PublicKey = null);

public sealed record KeyChangeBody(string Person, string PublicKey);

/// <param name="DoubtfulSince">From when on others may have used the key; null for a key that was merely given up.</param>
public sealed record KeyRevocationBody(string Key, DateTimeOffset? DoubtfulSince = null);

public sealed record PassphraseFailedBody(string Person);

public sealed record ExportBody(string Sha256, long Size);

public sealed record ReplayBody(string Run, bool Identical, string RecordedSoftware, string ReplayedSoftware);

public sealed record RetentionSetBody(DateOnly RetainUntil);

public sealed record DisposalBody(string What);

public sealed record BackupBody(string Sha256, long Size, string Root);

public sealed record BackupRestoredBody(string Sha256, long Size, string Root);

public sealed record SchemaUpgradeBody(int From, int To);

public sealed record VerificationBody(long Size, string Root);

public sealed record VerificationFailedBody(IReadOnlyList<string> Failures);

/// <param name="Head">A head of another ledger: its envelope as text.</param>
public sealed record HeadWitnessedBody(string Ledger, long Size, string Root, string Head);

public sealed record ClockCorrectionBody;

/// <summary>What happened in a service and is about no model by itself: an account, an access refused, a job that failed.</summary>
/// <param name="What">Such as "access.refused".</param>
/// <param name="Subject">Number of the source, job or account it happened to; no identifier of a patient.</param>
/// <param name="Actor">The account that did it; null for the service itself.</param>
/// <param name="Code">Of a finding, where it is one.</param>
public sealed record ServiceEventBody(string What, string? Subject = null, string? Actor = null, string? Code = null, string? Detail = null);

/// <summary>Which body belongs to which kind.</summary>
public static class EventBodies
{
    private static readonly Dictionary<LedgerEventKind, Type> s_types = new()
    {
        [LedgerEventKind.LedgerOpened] = typeof(LedgerOpenedBody),
        [LedgerEventKind.Request] = typeof(RequestBody),
        [LedgerEventKind.SourceReceived] = typeof(SourceReceivedBody),
        [LedgerEventKind.Run] = typeof(RunBody),
        [LedgerEventKind.FindingAcknowledged] = typeof(FindingAcknowledgedBody),
        [LedgerEventKind.Review] = typeof(RunReferenceBody),
        [LedgerEventKind.Release] = typeof(RunReferenceBody),
        [LedgerEventKind.Rejection] = typeof(RunReferenceBody),
        [LedgerEventKind.Revision] = typeof(RevisionBody),
        [LedgerEventKind.Print] = typeof(PrintBody),
        [LedgerEventKind.PostProcessing] = typeof(PostProcessingBody),
        [LedgerEventKind.Inspection] = typeof(InspectionBody),
        [LedgerEventKind.Delivery] = typeof(DeliveryBody),
        [LedgerEventKind.Complaint] = typeof(ComplaintBody),
        [LedgerEventKind.Recall] = typeof(RecallBody),
        [LedgerEventKind.Correction] = typeof(CorrectionBody),
        [LedgerEventKind.Redaction] = typeof(RedactionBody),
        [LedgerEventKind.PersonChange] = typeof(PersonChangeBody),
        [LedgerEventKind.KeyChange] = typeof(KeyChangeBody),
        [LedgerEventKind.KeyRevocation] = typeof(KeyRevocationBody),
        [LedgerEventKind.PassphraseFailed] = typeof(PassphraseFailedBody),
        [LedgerEventKind.Export] = typeof(ExportBody),
        [LedgerEventKind.Replay] = typeof(ReplayBody),
        [LedgerEventKind.RetentionSet] = typeof(RetentionSetBody),
        [LedgerEventKind.Disposal] = typeof(DisposalBody),
        [LedgerEventKind.Backup] = typeof(BackupBody),
        [LedgerEventKind.BackupRestored] = typeof(BackupRestoredBody),
        [LedgerEventKind.SchemaUpgrade] = typeof(SchemaUpgradeBody),
        [LedgerEventKind.Verification] = typeof(VerificationBody),
        [LedgerEventKind.VerificationFailed] = typeof(VerificationFailedBody),
        [LedgerEventKind.HeadWitnessed] = typeof(HeadWitnessedBody),
        [LedgerEventKind.ClockCorrection] = typeof(ClockCorrectionBody),
        [LedgerEventKind.ServiceEvent] = typeof(ServiceEventBody),
    };

    /// <exception cref="JsonException">The body has not the form of its kind.</exception>
    internal static object Read(LedgerEventKind kind, JsonObject body) =>
        body.Deserialize(s_types[kind], RecordJson.Options) ?? throw new JsonException("A body is an object.");

    internal static Type TypeOf(LedgerEventKind kind) => s_types[kind];
}
