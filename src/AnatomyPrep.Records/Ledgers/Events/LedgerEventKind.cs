namespace AnatomyPrep.Records.Ledgers.Events;

/// <summary>What happened. The words stand in the ledger for ever: add, never rename.</summary>
public enum LedgerEventKind
{
    LedgerOpened,
    Request,
    SourceReceived,
    Run,
    FindingAcknowledged,
    Review,
    Release,
    Rejection,
    Revision,
    Print,
    PostProcessing,
    Inspection,
    Delivery,
    Complaint,
    Recall,
    Correction,
    Redaction,
    PersonChange,
    KeyChange,
    KeyRevocation,
    PassphraseFailed,
    Export,
    Replay,
    RetentionSet,
    Disposal,
    Backup,
    BackupRestored,
    SchemaUpgrade,
    Verification,
    VerificationFailed,
    HeadWitnessed,
    ClockCorrection,
    ServiceEvent,
}

/// <summary>What a signature stands for (21 CFR 11.50(a)(3)).</summary>
public enum Meaning
{
    /// <summary>The signer says that this happened.</summary>
    Recorded,
    Prepared,
    Reviewed,
    Approved,
    Released,
}

/// <summary>What a person may do; see <see cref="People.Privileges"/>.</summary>
public enum Role
{
    Technician,
    Coordinator,
    QualityOfficer,
    Administrator,

    /// <summary>A program, not a person.</summary>
    Service,
}
