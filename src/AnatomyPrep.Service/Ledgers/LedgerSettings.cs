using System.Globalization;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Ledgers;

/// <summary>Where the ledger lies and when it is checked.</summary>
public sealed record LedgerSettings
{
    /// <summary>Folder with its keys, and its file unless <see cref="Postgres"/>; null for "ledger" in the data folder. Nodes share one.</summary>
    public string? Folder { get; init; }

    /// <summary>Connection string of a server that holds it; used when the ledger is begun.</summary>
    public string? Postgres { get; init; }

    /// <summary>Time of day (UTC) of the full check and the replays.</summary>
    public string CheckAt { get; init; } = "02:30";

    /// <summary>How many finished jobs are made again each night.</summary>
    public int ReplaySample { get; init; } = 3;

    /// <summary>Each night the newest head is copied here; null for no copy.</summary>
    public string? WitnessFolder { get; init; }

    /// <summary>Each night a backup is written here; null for none.</summary>
    public string? BackupFolder { get; init; }

    internal TimeOnly Time => TimeOnly.ParseExact(CheckAt, "HH:mm", CultureInfo.InvariantCulture);

    internal void Check()
    {
        ServiceSettings.Require(TimeOnly.TryParseExact(CheckAt, "HH:mm", CultureInfo.InvariantCulture, DateTimeStyles.None, out _), "ledger.checkAt", CheckAt, "a time of day such as 02:30");
        ServiceSettings.Require(ReplaySample is >= 0 and <= 1000, "ledger.replaySample", ReplaySample, "0 to 1000");
        ServiceSettings.Require(WitnessFolder is null || Directory.Exists(WitnessFolder), "ledger.witnessFolder", "not there", "a folder that is there");
        ServiceSettings.Require(BackupFolder is null || Directory.Exists(BackupFolder), "ledger.backupFolder", "not there", "a folder that is there");
    }
}
