using System.Data.Common;
using System.Globalization;
using System.Text.RegularExpressions;
using Microsoft.Data.Sqlite;
using Npgsql;

namespace AnatomyPrep.Service.Storage;

/// <summary>One transaction that changes the database.</summary>
public sealed class DatabaseChange
{
    private readonly DbConnection _connection;
    private readonly DbTransaction _transaction;

    internal DatabaseChange(DbConnection connection, DbTransaction transaction) => (_connection, _transaction) = (connection, transaction);

    /// <returns>Rows changed.</returns>
    public int Execute(string sql, params ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        using var command = Database.Command(_connection, sql, parameters);
        command.Transaction = _transaction;
        return command.ExecuteNonQuery();
    }

    public IReadOnlyList<T> Read<T>(string sql, Func<DbDataReader, T> read, params ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        using var command = Database.Command(_connection, sql, parameters);
        command.Transaction = _transaction;
        return Database.Rows(command, read);
    }
}

/// <summary>The service's database: an SQLite file, or a PostgreSQL database that several nodes share.</summary>
/// <remarks>
/// Writers take turns, within the process by a lock and between nodes by an advisory lock that ends with the transaction, so that the
/// same statements mean the same on both. What was answered as done survives a loss of power: SQLite's write-ahead log is flushed at each
/// commit, and PostgreSQL does so unless its settings say otherwise. Statements are written in the words both know.
/// </remarks>
public sealed partial class Database : IDisposable
{
    /// <summary>A node that stops within a transaction holds every other up; the server ends it, before the others' commands give up after 10 s.</summary>
    private const int SilentSeconds = 8;

    // Any number, the same on all nodes.
    private const long WriterTurn = 0x616E6174;

    private readonly string _connect;
    private readonly Lock _writing = new();
    private readonly NpgsqlDataSource? _server;

    /// <summary>An SQLite file.</summary>
    /// <param name="schema">Statements that may be run again and again.</param>
    public Database(string path, params ReadOnlySpan<string> schema)
    {
        _connect = new SqliteConnectionStringBuilder { DataSource = path, Pooling = true, DefaultTimeout = 10 }.ToString();
        Prepare(schema);
        if (!OperatingSystem.IsWindows())
            File.SetUnixFileMode(path, UnixFileMode.UserRead | UnixFileMode.UserWrite);
    }

    private Database(NpgsqlDataSource server, ReadOnlySpan<string> schema)
    {
        _server = server;
        _connect = server.ConnectionString;
        Prepare(schema);
    }

    /// <summary>True for PostgreSQL: other nodes may write too.</summary>
    public bool IsShared => _server is not null;

    public string ConnectionString => _connect;

    /// <summary>A PostgreSQL database.</summary>
    /// <param name="connect">Connection string.</param>
    public static Database Shared(string connect, params ReadOnlySpan<string> schema) => new(NpgsqlDataSource.Create(Limited(connect)), schema);

    /// <summary>
    /// The connection string with the limits without which one silent node could hold up all: commands give up after 10 s where it says
    /// nothing else, and the server ends transactions whose client has said nothing for 8 s.
    /// </summary>
    internal static string Limited(string connect)
    {
        var given = new NpgsqlConnectionStringBuilder(connect);
        if (!given.ContainsKey("Command Timeout"))
            given.CommandTimeout = 10;
        if (!given.ContainsKey("Timeout"))
            given.Timeout = 5;
        // A dead line is noticed by answers that do not come, not by the hours of TCP.
        given.CancellationTimeout = 1000;
        given.Options = string.Create(CultureInfo.InvariantCulture, $"{given.Options} -c idle_in_transaction_session_timeout={SilentSeconds}s").TrimStart();
        return given.ConnectionString;
    }

    /// <summary>Whether two connection strings name one database of one server, as far as their words tell.</summary>
    internal static bool AreSame(string? one, string? other)
    {
        if (one is null || other is null)
            return false;
        var (a, b) = (new NpgsqlConnectionStringBuilder(one), new NpgsqlConnectionStringBuilder(other));
        return (a.Host, a.Port, a.Database ?? a.Username) == (b.Host, b.Port, b.Database ?? b.Username);
    }

    public void Write(Action<DatabaseChange> change) => Write(c =>
    {
        change(c);
        return true;
    });

    /// <summary>Runs a change as one transaction: all of it or nothing.</summary>
    public T Write<T>(Func<DatabaseChange, T> change)
    {
        lock (_writing)
        {
            using var connection = Open();
            using var transaction = connection.BeginTransaction();
            var together = new DatabaseChange(connection, transaction);
            if (IsShared)
                together.Execute("SELECT pg_advisory_xact_lock(@turn)", ("@turn", WriterTurn));
            var result = change(together);
            transaction.Commit();
            return result;
        }
    }

    public IReadOnlyList<T> Read<T>(string sql, Func<DbDataReader, T> read, params ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        using var connection = Open();
        using var command = Command(connection, sql, parameters);
        return Rows(command, read);
    }

    /// <summary>The first row, or null.</summary>
    public T? ReadOne<T>(string sql, Func<DbDataReader, T> read, params ReadOnlySpan<(string Name, object? Value)> parameters)
        where T : class => Read(sql, read, parameters) is [var first, ..] ? first : null;

    /// <summary>Adds columns that an earlier version did not have; what is there stays.</summary>
    /// <param name="columns">Name and type; without a default they are null in old rows.</param>
    public void AddColumns(string table, params ReadOnlySpan<(string Name, string Type)> columns)
    {
        var there = Read(IsShared ? "SELECT column_name FROM information_schema.columns WHERE table_schema = current_schema() AND table_name = @table" : "SELECT name FROM pragma_table_info(@table)", r => r.GetString(0), ("@table", table));
        foreach (var (name, type) in columns)
            if (!there.Contains(name))
                Write(change => change.Execute($"ALTER TABLE {table} ADD COLUMN {(IsShared ? "IF NOT EXISTS " : "")}{name} {(IsShared ? OnServer(type) : type)}"));
    }

    /// <summary>Makes the database itself refuse to change or delete a row of a table.</summary>
    public void KeepRows(string table) => Write(change =>
    {
        if (!IsShared)
        {
            foreach (var what in new[] { "UPDATE", "DELETE" })
                change.Execute($"CREATE TRIGGER IF NOT EXISTS {table}_keep_{what.ToLowerInvariant()} BEFORE {what} ON {table} BEGIN SELECT RAISE(ABORT, '{table}s are never changed or deleted'); END");
            return;
        }

        change.Execute($"CREATE OR REPLACE FUNCTION {table}_keep() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RAISE EXCEPTION ''{table}s are never changed or deleted''; END'");
        change.Execute($"CREATE OR REPLACE TRIGGER {table}_keep BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_keep()");
    });

    public void Dispose()
    {
        if (_server is not null)
        {
            _server.Dispose();
            return;
        }

        using var connection = new SqliteConnection(_connect);
        SqliteConnection.ClearPool(connection);
    }

    internal static DbCommand Command(DbConnection connection, string sql, ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        var command = connection.CreateCommand();
#pragma warning disable CA2100 // Every text here is a constant of ours; values are parameters.
        command.CommandText = sql;
#pragma warning restore CA2100
        foreach (var (name, value) in parameters)
        {
            var parameter = command.CreateParameter();
            (parameter.ParameterName, parameter.Value) = (name, value ?? DBNull.Value);
            command.Parameters.Add(parameter);
        }

        return command;
    }

    internal static List<T> Rows<T>(DbCommand command, Func<DbDataReader, T> read)
    {
        using var reader = command.ExecuteReader();
        var rows = new List<T>();
        while (reader.Read())
            rows.Add(read(reader));
        return rows;
    }

    private void Prepare(ReadOnlySpan<string> schema)
    {
        foreach (var statements in schema)
        {
            var text = IsShared ? OnServer(statements) : statements;
            Write(change => change.Execute(text));
        }
    }

    /// <summary>Types of SQLite in the words of PostgreSQL; the rest of the schema is the same.</summary>
    private static string OnServer(string schema) => Types().Replace(schema, found => found.Value switch
    {
        "INTEGER PRIMARY KEY AUTOINCREMENT" => "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY",
        "INTEGER" => "BIGINT",
        "BLOB" => "BYTEA",
        _ => "",
    });

    [GeneratedRegex("INTEGER PRIMARY KEY AUTOINCREMENT|INTEGER|BLOB| WITHOUT ROWID")]
    private static partial Regex Types();

    private DbConnection Open()
    {
        if (_server is not null)
            return _server.OpenConnection();
        var connection = new SqliteConnection(_connect);
        connection.Open();
        using var pragma = Command(connection, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA busy_timeout = 10000;", []);
        pragma.ExecuteNonQuery();
        return connection;
    }
}
