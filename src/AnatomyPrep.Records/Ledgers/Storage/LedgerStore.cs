using System.Data;
using System.Data.Common;
using System.Globalization;
using AnatomyPrep.Records.Ledgers.Events;

namespace AnatomyPrep.Records.Ledgers.Storage;

/// <summary>One event as it lies in the database.</summary>
internal sealed record StoredEvent(long Position, string Id, string Kind, string At, string Person, string Key, byte[] Envelope);

/// <summary>One derived row of a model.</summary>
internal sealed record StoredModel(string Model, string Stage, string? Preparer, string? Releaser, string? RetainUntil, byte[] Facts);

/// <summary>The tables of a ledger in some database: plain reading and writing, no judgement.</summary>
/// <remarks>
/// One connection, not safe for several threads at once; several processes may each have one. Between <see cref="BeginAppend"/>
/// and <see cref="Commit"/> no other writer gets in. Readers see committed states only.
/// Trouble of the database comes as <see cref="LedgerRefusedException"/>.
/// </remarks>
internal abstract class LedgerStore : IDisposable
{
    private readonly Dictionary<string, DbCommand> _commands = [];
    private bool _hasTables;
    private bool _isInTransaction;

    protected LedgerStore(DbConnection connection) => Connection = connection;

    protected DbConnection Connection { get; }

    public static LedgerStore Open(LedgerPlace place, bool readOnly = false, bool create = false) =>
        place.Postgres is { } server ? PostgresStore.Connect(server) : SqliteStore.Open(place.Database, readOnly, create);

    /// <summary>Whether the tables are there.</summary>
    public abstract bool HasTables();

    /// <summary>Starts a transaction that keeps other writers out until it ends.</summary>
    public abstract void BeginAppend();

    /// <summary>Forces all data to where a plain copy of the files would find it, and leaves no removed data behind where the system can.</summary>
    public abstract void Settle();

    /// <summary>What the database's own check says; nothing when it is content.</summary>
    public abstract IReadOnlyList<string> OwnCheck();

    /// <summary>Starts a transaction that sees one committed state.</summary>
    public abstract void BeginRead();

    public void Commit()
    {
        Run("COMMIT");
        _isInTransaction = false;
    }

    public void Rollback()
    {
        try
        {
            Run("ROLLBACK");
        }
        catch (LedgerRefusedException)
        {
            // Whoever asks is reporting a worse failure already; the database drops the transaction by itself.
        }

        _isInTransaction = false;
    }

    public void CreateTables(string ledger, int schema)
    {
        for (var step = 0; step < schema; step++)
            RunStep(step);
        foreach (var guard in Guards())
            Run(guard);
        Write("INSERT INTO ledger (id, schema) VALUES (@id, @schema)", ("@id", ledger), ("@schema", (long)schema));
    }

    /// <summary>Takes the tables from one version to the newest; inside a transaction of the caller.</summary>
    public void Upgrade(int from)
    {
        for (var step = from; step < Schema.Newest; step++)
            RunStep(step);
        Write("UPDATE ledger SET schema = @schema", ("@schema", (long)Schema.Newest));
    }

    public (string Ledger, int Schema) Identity() =>
        Read("SELECT id, schema FROM ledger", r => (r.GetString(0), (int)r.GetInt64(1))) is [var only]
            ? only
            : throw new LedgerRefusedException(Refusals.DatabaseDamaged, "The table of the ledger's name does not have one row.", "Restore a backup.");

    /// <summary>Number of events by the newest head; 0 for none.</summary>
    public long Size() => _hasTables || (_hasTables = HasTables()) ? Number("SELECT COALESCE(MAX(size), 0) FROM head") : 0;

    public long CountEvents() => Number("SELECT COUNT(*) FROM event");

    public byte[]? Head() => Blob("SELECT envelope FROM head");

    public IReadOnlyList<(long Size, byte[] Envelope)> Heads() =>
        Read("SELECT size, envelope FROM head UNION ALL SELECT size, envelope FROM given_head ORDER BY 1", r => (r.GetInt64(0), (byte[])r.GetValue(1)));

    public long CountHeads() => Number("SELECT COUNT(*) FROM head");

    /// <summary>The newest head takes the place of the one before: it stands for all of it.</summary>
    public void PutHead(long size, byte[] envelope)
    {
        Write("DELETE FROM head");
        Write("INSERT INTO head (size, envelope) VALUES (@size, @envelope)", ("@size", size), ("@envelope", envelope));
    }

    public void KeepHead(long size, byte[] envelope) => Write(
        "INSERT INTO given_head (size, envelope) VALUES (@size, @envelope) ON CONFLICT (size) DO NOTHING", ("@size", size), ("@envelope", envelope));

    public byte[]? Node(int level, long position) =>
        Blob("SELECT hash FROM node WHERE level = @level AND position = @position", ("@level", (long)level), ("@position", position));

    public IReadOnlyList<(long Level, long Position, byte[] Hash)> Nodes(int level, long from, int count) => Read(
        "SELECT level, position, hash FROM node WHERE level = @level AND position >= @from ORDER BY position LIMIT @count",
        r => (r.GetInt64(0), r.GetInt64(1), (byte[])r.GetValue(2)), ("@level", (long)level), ("@from", from), ("@count", (long)count));

    public long CountNodes() => Number("SELECT COUNT(*) FROM node");

    public StoredEvent? Event(long position) => Events("WHERE position = @a LIMIT 1", ("@a", position)) is [var found] ? found : null;

    public StoredEvent? EventById(string id) => Events("WHERE id = @a LIMIT 1", ("@a", id)) is [var found] ? found : null;

    public IReadOnlyList<StoredEvent> EventsFrom(long from, int count) =>
        Events("WHERE position >= @a ORDER BY position LIMIT @b", ("@a", from), ("@b", (long)count));

    public IReadOnlyList<StoredEvent> EventsOfKind(string kind, long from, int most = int.MaxValue) =>
        Events("WHERE kind = @a AND position >= @b ORDER BY position LIMIT @c", ("@a", kind), ("@b", from), ("@c", (long)most));

    public IReadOnlyList<StoredEvent> EventsBy(string column, string value, int limit) =>
        Events($"WHERE {(column == "person" ? "person" : "key")} = @a ORDER BY position LIMIT @b", ("@a", value), ("@b", (long)limit));

    public IReadOnlyList<StoredEvent> EventsWith(string name, string value) => Events(
        "JOIN term ON term.position = event.position WHERE term.name = @a AND term.value = @b ORDER BY event.position",
        ("@a", name), ("@b", value));

    public long LastPositionOf(string person) =>
        Number("SELECT COALESCE(MAX(position), -1) FROM event WHERE person = @person", ("@person", person));

    /// <summary>Values that share events with a term: models of a lot, say; each once, sorted.</summary>
    /// <remarks>CROSS JOIN makes SQLite begin with the few events asked for, not with all that have the wanted word.</remarks>
    public IReadOnlyList<string> TermsBeside(string name, string value, string wanted) => Sorted(Read(
        "SELECT DISTINCT b.value FROM term a CROSS JOIN term b WHERE b.position = a.position AND a.name = @name AND a.value = @value AND b.name = @wanted",
        r => r.GetString(0), ("@name", name), ("@value", value), ("@wanted", wanted)));

    public IReadOnlyList<string> ModelsOfEvents(string column, string value) => Sorted(Read(
        $"""
        SELECT DISTINCT term.value FROM event CROSS JOIN term
        WHERE term.position = event.position AND event.{(column == "person" ? "person" : "key")} = @value AND term.name = 'model'
        """,
        r => r.GetString(0), ("@value", value)));

    /// <summary>Words of the events from one position up to another, by position, name, value.</summary>
    public IReadOnlyList<(EventTerm Term, long Position)> TermsIn(long from, long to) => Read(
        "SELECT name, value, position FROM term WHERE position >= @from AND position < @to ORDER BY position, name, value",
        r => (new EventTerm(r.GetString(0), r.GetString(1)), r.GetInt64(2)), ("@from", from), ("@to", to));

    public long CountTerms() => Number("SELECT COUNT(*) FROM term");

    public StoredModel? Model(string model) => Models("WHERE model = @a", ("@a", model)) is [var found] ? found : null;

    public IReadOnlyList<StoredModel> ModelsNamed(IReadOnlyList<string> names) =>
        [.. names.Select(Model).Where(m => m is not null).Select(m => m!)];

    public IReadOnlyList<StoredModel> ModelsReleasedAlone() => Models("WHERE releaser IS NOT NULL AND releaser = preparer ORDER BY model");

    public IReadOnlyList<StoredModel> ModelsExpiring(string before) =>
        Models("WHERE retain_until IS NOT NULL AND retain_until < @a ORDER BY retain_until, model", ("@a", before));

    public IReadOnlyList<StoredModel> ModelsAfter(string name, int count) =>
        Models("WHERE model > @a ORDER BY model LIMIT @b", ("@a", name), ("@b", (long)count));

    public long CountModels() => Number("SELECT COUNT(*) FROM model");

    public void PutModel(StoredModel m) => Write(
        """
        INSERT INTO model (model, stage, preparer, releaser, retain_until, facts) VALUES (@model, @stage, @preparer, @releaser, @until, @facts)
        ON CONFLICT (model) DO UPDATE SET stage = excluded.stage, preparer = excluded.preparer, releaser = excluded.releaser,
            retain_until = excluded.retain_until, facts = excluded.facts
        """,
        ("@model", m.Model), ("@stage", m.Stage), ("@preparer", m.Preparer), ("@releaser", m.Releaser), ("@until", m.RetainUntil), ("@facts", m.Facts));

    public byte[]? SubjectKey(string subject) => Blob("SELECT key FROM subject WHERE subject = @subject", ("@subject", subject));

    public IReadOnlyList<(string Subject, byte[] Key)> Subjects() =>
        Read("SELECT subject, key FROM subject ORDER BY subject", r => (r.GetString(0), (byte[])r.GetValue(1)));

    public void PutSubjectKey(string subject, byte[] key) =>
        Write("INSERT INTO subject (subject, key) VALUES (@subject, @key)", ("@subject", subject), ("@key", key));

    public void RemoveSubjectKey(string subject) => Write("DELETE FROM subject WHERE subject = @subject", ("@subject", subject));

    public void PutStamp(long size, byte[] token) =>
        Write("INSERT INTO stamp (size, token) VALUES (@size, @token) ON CONFLICT (size) DO NOTHING", ("@size", size), ("@token", token));

    public IReadOnlyList<(long Size, byte[] Token)> Stamps() =>
        Read("SELECT size, token FROM stamp ORDER BY size", r => (r.GetInt64(0), (byte[])r.GetValue(1)));

    public void InsertEvents(IReadOnlyList<StoredEvent> events) => InsertRows(
        "event", ["position", "id", "kind", "at", "person", "key", "envelope"],
        events.Select(e => new object[] { e.Position, e.Id, e.Kind, e.At, e.Person, e.Key, e.Envelope }));

    public void InsertNodes(IReadOnlyList<(int Level, long Position, byte[] Hash)> nodes) => InsertRows(
        "node", ["level", "position", "hash"], nodes.Select(n => new object[] { (long)n.Level, n.Position, n.Hash }));

    public void InsertTerms(IReadOnlyList<(EventTerm Term, long Position)> terms) => InsertRows(
        "term", ["name", "value", "position"], terms.Select(t => new object[] { t.Term.Name, t.Term.Value, t.Position }));

    public void Dispose()
    {
        foreach (var command in _commands.Values)
            command.Dispose();
        Connection.Dispose();
    }

    /// <summary>Words of the schema in this database's language.</summary>
    protected abstract string Translate(string sql);

    /// <summary>Statements that make the database itself refuse to change or remove an event.</summary>
    protected abstract IReadOnlyList<string> Guards();

    /// <summary>Names the trouble; null for what is not the database's.</summary>
    protected abstract LedgerRefusedException? Explain(DbException e);

    protected abstract void InsertRows(string table, string[] columns, IEnumerable<object[]> rows);

    /// <summary>Tells a new connection what holds for all that follows.</summary>
    protected abstract void Greet();

    protected void Begin(string sql)
    {
        Guarded(Connect);
        _isInTransaction = true;
        try
        {
            Run(sql);
        }
        catch
        {
            // A lock that did not come leaves a transaction behind all the same.
            Rollback();
            throw;
        }
    }

    /// <summary>Opens the line, anew where it was cut since the last piece of work.</summary>
    protected bool Connect()
    {
        if (Connection.State != ConnectionState.Closed)
            return false;
        Connection.Open();
        Greet();
        return true;
    }

    protected T Guarded<T>(Func<T> work)
    {
        try
        {
            return work();
        }
        catch (DbException e)
        {
            throw Explain(e) ?? new LedgerRefusedException(
                Refusals.DatabaseDamaged, $"The database answered: {e.Message}", "Run ledger verify; restore a backup if it fails.", e);
        }
        catch (Exception e) when (e is InvalidCastException or InvalidOperationException)
        {
            throw new LedgerRefusedException(Refusals.DatabaseDamaged, "A column holds another type than the schema says.", "Restore a backup.", e);
        }
    }

    protected void Run(string sql) => Write(sql);

    protected void Write(string sql, params (string Name, object? Value)[] values) => Guarded(() => Command(sql, values).ExecuteNonQuery());

    protected List<T> Read<T>(string sql, Func<DbDataReader, T> row, params (string Name, object? Value)[] values) => Guarded(() =>
    {
        using var reader = Command(sql, values).ExecuteReader();
        var result = new List<T>();
        while (reader.Read())
            result.Add(row(reader));
        return result;
    });

    protected long Number(string sql, params (string Name, object? Value)[] values) =>
        Convert.ToInt64(Guarded(() => Command(sql, values).ExecuteScalar()), CultureInfo.InvariantCulture);

    private static List<string> Sorted(IEnumerable<string> values) => [.. values.Order(StringComparer.Ordinal)];

    private void RunStep(int step)
    {
        foreach (var statement in Schema.Steps[step])
            Run(Translate(statement));
    }

    private List<StoredEvent> Events(string rest, params (string Name, object? Value)[] values) => Read(
        "SELECT event.position, event.id, event.kind, event.at, event.person, event.key, event.envelope FROM event " + rest,
        r => new StoredEvent(r.GetInt64(0), r.GetString(1), r.GetString(2), r.GetString(3), r.GetString(4), r.GetString(5), (byte[])r.GetValue(6)),
        values);

    private List<StoredModel> Models(string rest, params (string Name, object? Value)[] values) => Read(
        "SELECT model, stage, preparer, releaser, retain_until, facts FROM model " + rest,
        r => new StoredModel(r.GetString(0), r.GetString(1), Text(r, 2), Text(r, 3), Text(r, 4), (byte[])r.GetValue(5)),
        values);

    private static string? Text(DbDataReader r, int column) => r.IsDBNull(column) ? null : r.GetString(column);

    private byte[]? Blob(string sql, params (string Name, object? Value)[] values) =>
        Read(sql, r => (byte[])r.GetValue(0), values) is [var found, ..] ? found : null;

    private DbCommand Command(string sql, (string Name, object? Value)[] values)
    {
        // What a cut line ended within a transaction, whoever began it must begin again.
        if (!_isInTransaction)
            Connect();
        if (!_commands.TryGetValue(sql, out var command))
        {
            command = Connection.CreateCommand();
#pragma warning disable CA2100 // Every text is a constant of this class or of the schema; values go in as parameters.
            command.CommandText = sql;
#pragma warning restore CA2100
            foreach (var (name, _) in values)
            {
                var parameter = command.CreateParameter();
                parameter.ParameterName = name;
                command.Parameters.Add(parameter);
            }

            _commands[sql] = command;
        }

        for (var i = 0; i < values.Length; i++)
            command.Parameters[i].Value = values[i].Value ?? DBNull.Value;
        return command;
    }
}
