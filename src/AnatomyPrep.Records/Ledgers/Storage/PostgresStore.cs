using System.Data.Common;
using Npgsql;

namespace AnatomyPrep.Records.Ledgers.Storage;

/// <summary>A ledger in PostgreSQL, for several nodes that append together.</summary>
/// <remarks>
/// Appending takes one advisory lock until the transaction ends, so there is one order and no gap; reading takes none.
/// synchronous_commit is on whatever the server's default: a commit is on its disk before it is acknowledged.
/// A node that stops, or whose line is cut, inside an append would keep the lock for ever: the server ends a transaction whose client has
/// said nothing for <see cref="SilentSeconds"/>. Everything of an append is whole statements, which no silent client can hold open.
/// </remarks>
internal sealed class PostgresStore : LedgerStore
{
    /// <summary>Any number will do, as long as every node takes the same: "AnaPLedg" in ASCII.</summary>
    private const long AppendLock = 0x416E_6150_4C65_6467;

    /// <summary>Nothing here waits between two statements: signing and hashing take milliseconds.</summary>
    private const int SilentSeconds = 8;

    /// <summary>idle_in_transaction_session_timeout (PostgreSQL, appendix A).</summary>
    private const string SilentInTransaction = "25P03";

    private PostgresStore(NpgsqlConnection connection)
        : base(connection)
    {
    }

    public static PostgresStore Connect(string server)
    {
        var settings = new NpgsqlConnectionStringBuilder(server) { MaxAutoPrepare = 60, AutoPrepareMinUsages = 2, Pooling = false };
        var store = new PostgresStore(new NpgsqlConnection(settings.ConnectionString));
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

    public override bool HasTables() => Number("SELECT COUNT(*) FROM pg_tables WHERE tablename = 'ledger' AND schemaname = current_schema()") == 1;

    public override void BeginAppend()
    {
        // In one message: no moment of the transaction is without the limit.
        Begin(string.Create(
            System.Globalization.CultureInfo.InvariantCulture,
            $"BEGIN; SET LOCAL idle_in_transaction_session_timeout = '{SilentSeconds}s'; SELECT pg_advisory_xact_lock({AppendLock})"));
    }

    public override void BeginRead() => Begin("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY");

    public override void Settle() => Run("VACUUM subject");

    /// <summary>The guards are on. PostgreSQL checks its pages by itself where the cluster was made with checksums.</summary>
    public override IReadOnlyList<string> OwnCheck() =>
        Number("SELECT COUNT(*) FROM pg_trigger WHERE tgname IN ('event_only_grows', 'node_only_grows') AND tgenabled IN ('O', 'A')") == 2
            ? []
            : ["a guard of the tables event and node is off"];

    protected override string Translate(string sql) => sql
        .Replace("{rowid}", "", StringComparison.Ordinal)
        .Replace("BLOB", "BYTEA", StringComparison.Ordinal)
        .Replace("INTEGER", "BIGINT", StringComparison.Ordinal)
        // Byte order, as in SQLite: ranges and sorting must not depend on the server's language.
        .Replace("TEXT", "TEXT COLLATE \"C\"", StringComparison.Ordinal);

    protected override IReadOnlyList<string> Guards() =>
    [
        """
        CREATE FUNCTION ledger_only_grows() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION 'the ledger only grows'; END $$
        """,
        .. from table in new[] { "event", "node" }
           select $"CREATE TRIGGER {table}_only_grows BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} EXECUTE FUNCTION ledger_only_grows()",
    ];

    protected override LedgerRefusedException? Explain(DbException e) => e.SqlState switch
    {
        PostgresErrorCodes.DiskFull => new(Refusals.DiskFull, "The server's disk is full.", "Make room; nothing of this event was kept.", e),
        PostgresErrorCodes.ReadOnlySqlTransaction or PostgresErrorCodes.InsufficientPrivilege =>
            new(Refusals.DatabaseReadOnly, "The server does not let this user write.", "Give the user the right to write the ledger's tables.", e),
        PostgresErrorCodes.LockNotAvailable or PostgresErrorCodes.DeadlockDetected or PostgresErrorCodes.QueryCanceled =>
            new(Refusals.DatabaseBusy, "Another process holds the ledger.", "Try again when it is done.", e),
        null or SilentInTransaction or PostgresErrorCodes.AdminShutdown or PostgresErrorCodes.CrashShutdown
            or PostgresErrorCodes.CannotConnectNow or PostgresErrorCodes.TooManyConnections => new(Refusals.DatabaseUnreachable, "The server does not answer.", "Check that it runs and may be reached; then try again with the same event.", e),
        _ => null,
    };

    protected override void Greet()
    {
        Run("SET synchronous_commit = on");
        Run("SET client_min_messages = warning");
        // Every question goes from the few events asked for to their words by an index. Left to itself the planner reads the whole table of
        // words for it, with helpers and code compiled for the occasion: 414 ms instead of 163 ms for 15,000 events of a person.
        foreach (var habit in new[] { "enable_hashjoin", "enable_mergejoin", "jit" })
            Run($"SET {habit} = off");
        Run("SET max_parallel_workers_per_gather = 0");
    }

    /// <summary>One statement: a COPY that a client leaves half done would keep its locks for as long as the client lives.</summary>
    protected override void InsertRows(string table, string[] columns, IEnumerable<object[]> rows)
    {
        var all = rows.ToList();
        if (all.Count > 0)
            Write(
                $"INSERT INTO {table} ({string.Join(", ", columns)}) SELECT * FROM unnest({string.Join(", ", columns.Select(c => "@" + c))})",
                [.. columns.Select((c, i) => ("@" + c, (object?)Column(all, i)))]);
    }

    private static Array Column(List<object[]> rows, int column) => rows[0][column] switch
    {
        long => rows.ConvertAll(r => (long)r[column]).ToArray(),
        byte[] => rows.ConvertAll(r => (byte[])r[column]).ToArray(),
        _ => rows.ConvertAll(r => (string)r[column]).ToArray(),
    };
}
