namespace AnatomyPrep.Records.Ledgers;

/// <summary>The ledger will not do it: exit code 1; the ledger is as it was. <see cref="Code"/> is one of <see cref="Refusals"/>.</summary>
public sealed class LedgerRefusedException(string code, string message, string remedy, Exception? cause = null)
    : Exception($"{code}: {message} {remedy}", cause)
{
    public string Code { get; } = code;

    public string Remedy { get; } = remedy;
}

/// <summary>Stable names of refusals; docs/formats/ledger.md lists each with its remedy.</summary>
public static class Refusals
{
    public const string ClockSetBack = "clock-set-back";
    public const string DatabaseBusy = "database-busy";
    public const string DatabaseDamaged = "database-damaged";
    public const string DatabaseReadOnly = "database-read-only";
    public const string DatabaseUnreachable = "database-unreachable";
    public const string DiskFull = "disk-full";
    public const string DuplicateId = "duplicate-id";
    public const string EventForm = "event-form";
    public const string IllegalMove = "illegal-move";
    public const string KeyRevoked = "key-revoked";
    public const string LedgerExists = "ledger-exists";
    public const string LedgerMissing = "ledger-missing";
    public const string OtherLedger = "other-ledger";
    public const string PassphraseLocked = "passphrase-locked";
    public const string PassphraseWrong = "passphrase-wrong";
    public const string PersonUnknown = "person-unknown";
    public const string RoleNotAllowed = "role-not-allowed";
    public const string SchemaNewer = "schema-newer";
    public const string SchemaOlder = "schema-older";
    public const string SecondPersonNeeded = "second-person-needed";
    public const string SignatureInvalid = "signature-invalid";
    public const string SubjectRedacted = "subject-redacted";
    public const string UnacknowledgedCaution = "unacknowledged-caution";
    public const string UnknownKey = "unknown-key";
}
