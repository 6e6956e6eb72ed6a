using Microsoft.Data.Sqlite;

namespace AnatomyPrep.Service.Storage;

/// <summary>One transaction that changes the database.</summary>
public sealed class DatabaseChange
{
    private readonly SqliteConnection _connection;
    private readonly SqliteTransaction _transaction;

    internal DatabaseChange(SqliteConnection connection, SqliteTransaction transaction) => (_connection, _transaction) = (connection, transaction);

    /// <returns>Rows changed.</returns>
    public int Execute(string sql, params ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        using var command = Database.Command(_connection, sql, parameters);
        command.Transaction = _transaction;
        return command.ExecuteNonQuery();
    }

    public IReadOnlyList<T> Read<T>(string sql, Func<SqliteDataReader, T> read, params ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        using var command = Database.Command(_connection, sql, parameters);
        command.Transaction = _transaction;
        return Database.Rows(command, read);
    }
}

/// <summary>The service's SQLite file. Writers take turns within the process; readers never wait for them.</summary>
/// <remarks>Write-ahead log, flushed to disk at each commit: what was answered as done survives a loss of power.</remarks>
public sealed class Database : IDisposable
{
    private readonly string _connect;
    private readonly Lock _writing = new();

    /// <param name="schema">Statements that may be run again and again.</param>
    public Database(string path, params ReadOnlySpan<string> schema)
    {
        _connect = new SqliteConnectionStringBuilder { DataSource = path, Pooling = true, DefaultTimeout = 10 }.ToString();
        using var connection = Open();
        foreach (var statements in schema)
        {
            using var command = Command(connection, statements, []);
            command.ExecuteNonQuery();
        }

        if (!OperatingSystem.IsWindows())
            File.SetUnixFileMode(path, UnixFileMode.UserRead | UnixFileMode.UserWrite);
    }

    public string ConnectionString => _connect;

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
            var result = change(new(connection, transaction));
            transaction.Commit();
            return result;
        }
    }

    public IReadOnlyList<T> Read<T>(string sql, Func<SqliteDataReader, T> read, params ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        using var connection = Open();
        using var command = Command(connection, sql, parameters);
        return Rows(command, read);
    }

    /// <summary>The first row, or null.</summary>
    public T? ReadOne<T>(string sql, Func<SqliteDataReader, T> read, params ReadOnlySpan<(string Name, object? Value)> parameters)
        where T : class => Read(sql, read, parameters) is [var first, ..] ? first : null;

    public void Dispose()
    {
        using var connection = new SqliteConnection(_connect);
        SqliteConnection.ClearPool(connection);
    }

    internal static SqliteCommand Command(SqliteConnection connection, string sql, ReadOnlySpan<(string Name, object? Value)> parameters)
    {
        var command = connection.CreateCommand();
#pragma warning disable CA2100 // Every text here is a constant of ours; values are parameters.
        command.CommandText = sql;
#pragma warning restore CA2100
        foreach (var (name, value) in parameters)
            command.Parameters.AddWithValue(name, value ?? DBNull.Value);
        return command;
    }

    internal static List<T> Rows<T>(SqliteCommand command, Func<SqliteDataReader, T> read)
    {
        using var reader = command.ExecuteReader();
        var rows = new List<T>();
        while (reader.Read())
            rows.Add(read(reader));
        return rows;
    }

    private SqliteConnection Open()
    {
        var connection = new SqliteConnection(_connect);
        connection.Open();
        using var pragma = Command(connection, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA busy_timeout = 10000;", []);
        pragma.ExecuteNonQuery();
        return connection;
    }
}
