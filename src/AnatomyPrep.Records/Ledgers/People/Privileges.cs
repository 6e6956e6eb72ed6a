using AnatomyPrep.Records.Ledgers.Events;

namespace AnatomyPrep.Records.Ledgers.People;

/// <summary>Who may record what: each role gets what its work needs and nothing more. docs/formats/ledger.md shows the table.</summary>
/// <remarks>An administrator keeps people, keys and the database, and can neither prepare, review nor release a model.</remarks>
public static class Privileges
{
    private static readonly Dictionary<LedgerEventKind, Role[]> s_allowed = new()
    {
        [LedgerEventKind.LedgerOpened] = [Role.Administrator, Role.Service],
        [LedgerEventKind.Request] = [Role.Coordinator, Role.Service],
        [LedgerEventKind.SourceReceived] = [Role.Technician, Role.Coordinator, Role.Service],
        [LedgerEventKind.Run] = [Role.Technician, Role.Service],
        [LedgerEventKind.FindingAcknowledged] = [Role.Technician, Role.QualityOfficer],
        [LedgerEventKind.Review] = [Role.Technician, Role.QualityOfficer],
        [LedgerEventKind.Release] = [Role.QualityOfficer],
        [LedgerEventKind.Rejection] = [Role.QualityOfficer],
        [LedgerEventKind.Revision] = [Role.Technician, Role.Coordinator],
        [LedgerEventKind.Print] = [Role.Technician],
        [LedgerEventKind.PostProcessing] = [Role.Technician],
        [LedgerEventKind.Inspection] = [Role.Technician, Role.QualityOfficer],
        [LedgerEventKind.Delivery] = [Role.Coordinator],
        [LedgerEventKind.Complaint] = [Role.Coordinator, Role.QualityOfficer],
        [LedgerEventKind.Recall] = [Role.QualityOfficer],
        [LedgerEventKind.Correction] = [Role.Technician, Role.Coordinator, Role.QualityOfficer, Role.Administrator],
        [LedgerEventKind.Redaction] = [Role.QualityOfficer],
        // A service names the first administrator of a ledger it began, and nobody else.
        [LedgerEventKind.PersonChange] = [Role.Administrator, Role.Service],
        [LedgerEventKind.KeyChange] = [Role.Technician, Role.Coordinator, Role.QualityOfficer, Role.Administrator],
        [LedgerEventKind.KeyRevocation] = [Role.Administrator, Role.QualityOfficer],
        [LedgerEventKind.PassphraseFailed] = [Role.Service],
        [LedgerEventKind.Export] = [Role.QualityOfficer, Role.Coordinator],
        [LedgerEventKind.Replay] = [Role.Technician, Role.QualityOfficer, Role.Service],
        [LedgerEventKind.RetentionSet] = [Role.QualityOfficer],
        [LedgerEventKind.Disposal] = [Role.QualityOfficer],
        [LedgerEventKind.Backup] = [Role.Administrator, Role.Service],
        [LedgerEventKind.BackupRestored] = [Role.Administrator],
        [LedgerEventKind.SchemaUpgrade] = [Role.Administrator],
        [LedgerEventKind.Verification] = [Role.Administrator, Role.QualityOfficer, Role.Service],
        [LedgerEventKind.VerificationFailed] = [Role.Administrator, Role.QualityOfficer, Role.Service],
        [LedgerEventKind.HeadWitnessed] = [Role.Administrator, Role.QualityOfficer, Role.Service],
        [LedgerEventKind.ClockCorrection] = [Role.Administrator],
        [LedgerEventKind.ServiceEvent] = [Role.Service],
    };

    public static IReadOnlyList<Role> For(LedgerEventKind kind) => s_allowed[kind];

    /// <summary>What a signature of this kind must mean.</summary>
    public static Meaning MeaningOf(LedgerEventKind kind) => kind switch
    {
        LedgerEventKind.Run => Meaning.Prepared,
        LedgerEventKind.Review => Meaning.Reviewed,
        LedgerEventKind.Release => Meaning.Released,
        LedgerEventKind.Inspection or LedgerEventKind.Revision => Meaning.Approved,
        _ => Meaning.Recorded,
    };
}
