using System.Text.Json;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Storage;

/// <summary>Where a ledger lies: a folder with its keys, and SQLite beside them or PostgreSQL elsewhere.</summary>
/// <param name="Folder">Holds `keys/`, and `ledger.db` unless `ledger.json` names a server.</param>
/// <param name="Postgres">Connection string (Npgsql); null for SQLite. Passwords belong into a password file, not in here.</param>
public sealed record LedgerPlace(string Folder, string? Postgres = null)
{
    public const string DatabaseFile = "ledger.db";
    private const string SettingsFile = "ledger.json";

    public string Database => Path.Combine(Folder, DatabaseFile);

    public string Keys => Path.Combine(Folder, "keys");

    /// <summary>The place as the folder describes it.</summary>
    public static LedgerPlace Of(string folder)
    {
        var settings = Path.Combine(folder, SettingsFile);
        if (!File.Exists(settings))
            return new LedgerPlace(folder);
        var read = JsonSerializer.Deserialize<Settings>(File.ReadAllBytes(settings), RecordJson.Options);
        return new LedgerPlace(folder, read?.Postgres);
    }

    /// <summary>Leaves the settings in the folder, so that <see cref="Of"/> finds them.</summary>
    public void Save()
    {
        if (Postgres is not null)
            File.WriteAllBytes(Path.Combine(Folder, SettingsFile), JsonSerializer.SerializeToUtf8Bytes(new Settings(Postgres), RecordJson.Options));
    }

    private sealed record Settings(string? Postgres);
}
