using System.Data.Common;
using Microsoft.Data.Sqlite;

namespace AnatomyPrep.Records.Ledgers.Storage;

/// <summary>A ledger in one file.</summary>
/// <remarks>
/// Write-ahead log with synchronous=FULL: a commit is on the disk before it is acknowledged. secure_delete: what is removed
/// (keys of redacted subjects, old heads) is overwritten.
/// </remarks>
internal sealed class SqliteStore : LedgerStore
{
    private const int BusySeconds = 60;
    private const int OwnCheckCacheKib = 256 << 10;

    // SQLite result codes (sqlite3.h); the lower byte of an extended code.
    private const int Busy = 5;
    private const int Locked = 6;
    private const int ReadOnly = 8;
    private const int InputOutput = 10;
    private const int Corrupt = 11;
    private const int Full = 13;
    private const int CannotOpen = 14;
    private const int NotADatabase = 26;

    private readonly bool _readOnly;

    private SqliteStore(SqliteConnection connection, bool readOnly)
        : base(connection) => _readOnly = readOnly;

    public static SqliteStore Open(string path, bool readOnly, bool create)
    {
        if (!create && !File.Exists(path))
            throw new LedgerRefusedException(Refusals.LedgerMissing, $"There is no {Path.GetFileName(path)} in that folder.", "Begin a ledger with ledger init.");
        var connection = new SqliteConnection(new SqliteConnectionStringBuilder
        {
            DataSource = path,
            Mode = readOnly ? SqliteOpenMode.ReadOnly : create ? SqliteOpenMode.ReadWriteCreate : SqliteOpenMode.ReadWrite,
            Pooling = false,
            DefaultTimeout = BusySeconds,
        }.ConnectionString);
        var store = new SqliteStore(connection, readOnly);
        try
        {
            store.Guarded(store.Connect);
            return store;
        }
        catch
        {
            store.Dispose();
            throw;
        }
    }

    public override bool HasTables() => Number("SELECT COUNT(*) FROM sqlite_schema WHERE name = 'ledger'") == 1;

    public override void BeginAppend() => Begin("BEGIN IMMEDIATE");

    public override void BeginRead() => Begin("BEGIN");

    public override void Settle() => Read("PRAGMA wal_checkpoint(TRUNCATE)", r => 0);

    public override IReadOnlyList<string> OwnCheck()
    {
        // The check goes through every index in its own order: with SQLite's usual 2 MB it reads the file many times over.
        Run($"PRAGMA cache_size = -{OwnCheckCacheKib.ToString(System.Globalization.CultureInfo.InvariantCulture)}");
        return [.. Read("PRAGMA integrity_check", r => r.GetString(0)).Where(line => line != "ok"), .. SchemaDifferences()];
    }

    /// <summary>Tables, indexes and guards that are not as this program makes them.</summary>
    private List<string> SchemaDifferences()
    {
        using var fresh = new SqliteStore(new SqliteConnection("Data Source=:memory:;Pooling=False"), readOnly: false);
        fresh.Connection.Open();
        fresh.CreateTables("", Schema.Newest);
        var (expected, found) = (fresh.SchemaText(), SchemaText());
        return [.. expected.Except(found).Select(t => $"missing or changed: {t}"), .. found.Except(expected).Select(t => $"not of this program: {t}")];
    }

    private List<string> SchemaText() =>
        Read("SELECT type || ' ' || name || ' on ' || tbl_name || ': ' || COALESCE(sql, '') FROM sqlite_schema", r => r.GetString(0));

    protected override string Translate(string sql) => sql.Replace("{rowid}", " WITHOUT ROWID", StringComparison.Ordinal);

    protected override IReadOnlyList<string> Guards() =>
    [
        .. from table in new[] { "event", "node" }
           from act in new[] { "UPDATE", "DELETE" }
           select $"CREATE TRIGGER {table}_no_{act.ToLowerInvariant()} BEFORE {act} ON {table} BEGIN SELECT RAISE(ABORT, 'the ledger only grows'); END",
    ];

    protected override LedgerRefusedException? Explain(DbException e) => ((SqliteException)e).SqliteErrorCode switch
    {
        Busy or Locked => new(Refusals.DatabaseBusy, "Another process holds the ledger.", "Try again when it is done.", e),
        ReadOnly => new(Refusals.DatabaseReadOnly, "The database file may not be written.", "Give this user the right to write it and its folder.", e),
        Full or InputOutput => new(Refusals.DiskFull, "The disk is full or does not take what is written.", "Make room; nothing of this event was kept.", e),
        Corrupt or NotADatabase => new(Refusals.DatabaseDamaged, "The file is no whole SQLite database.", "Keep a copy of it, then restore a backup.", e),
        CannotOpen => new(Refusals.DatabaseUnreachable, "The database file cannot be opened.", "Check that the folder is there and may be read and written.", e),
        _ => null,
    };

    protected override void Greet()
    {
        if (!_readOnly)
            Read("PRAGMA journal_mode = WAL", r => r.GetString(0));
        Run("PRAGMA synchronous = FULL");
        Read("PRAGMA secure_delete = ON", r => 0);
    }

    protected override void InsertRows(string table, string[] columns, IEnumerable<object[]> rows)
    {
        var sql = $"INSERT INTO {table} ({string.Join(", ", columns)}) VALUES ({string.Join(", ", columns.Select(c => "@" + c))})";
        foreach (var row in rows)
            Write(sql, [.. columns.Select((c, i) => ("@" + c, (object?)row[i]))]);
    }
}
