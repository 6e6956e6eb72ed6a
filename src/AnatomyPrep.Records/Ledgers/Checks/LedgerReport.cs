namespace AnatomyPrep.Records.Ledgers.Checks;

/// <summary>One thing that does not hold.</summary>
/// <param name="Code">One of <see cref="LedgerFailures"/>.</param>
/// <param name="Where">Such as "event 17".</param>
public sealed record LedgerFailure(string Code, string Where, string Expected, string Found);

/// <summary>What a verification found.</summary>
/// <param name="LogKeyId">Fingerprint of the key that signs the heads: compare it with one you have from another place.</param>
public sealed record LedgerReport(
    bool Holds, long Size, string? Root, string? Ledger, string? LogKeyId, IReadOnlyList<LedgerFailure> Failures, IReadOnlyList<string> Notes);

/// <summary>Stable names of what a verification can find; docs/formats/ledger.md lists them.</summary>
public static class LedgerFailures
{
    public const string Database = "database";
    public const string EventForm = "event-form";
    public const string EventRow = "event-row";
    public const string EventMissing = "event-missing";
    public const string EventDuplicate = "event-duplicate";
    public const string EventSignature = "event-signature";
    public const string EventNotAllowed = "event-not-allowed";
    public const string Fork = "fork";
    public const string Head = "head";
    public const string HeadRoot = "head-root";
    public const string Identity = "identity";
    public const string Index = "index";
    public const string ModelState = "model-state";
    public const string Rewritten = "rewritten";
    public const string RolledBack = "rolled-back";
    public const string Stamp = "stamp";
    public const string Subject = "subject";
    public const string TailRemoved = "tail-removed";
    public const string TreeNode = "tree-node";
    public const string Witness = "witness";
}
