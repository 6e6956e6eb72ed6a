using System.Data.Common;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Events;

/// <summary>Events in a table that can only grow: the database itself refuses to change or delete a row.</summary>
/// <remarks>An event of a change of state is written in the transaction of the change, so neither is ever there without the other.</remarks>
/// <param name="gate">Takes the event too, before the transaction ends.</param>
/// <param name="outbox">Takes what others are to be told.</param>
public sealed class EventLog(Database database, TimeProvider clock, IEventGate? gate = null, Messages.MessageOutbox? outbox = null) : IEventSink
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS event (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            at TEXT NOT NULL,
            kind TEXT NOT NULL,
            subject TEXT,
            actor TEXT,
            code TEXT,
            detail TEXT);
        """;

    public void Append(ServiceEvent happened) => database.Write(change => AppendOrOwe(change, happened));

    /// <summary>For an effect that must come even while the ledger takes nothing: it is told of it later.</summary>
    public void AppendOrOwe(DatabaseChange change, ServiceEvent happened)
    {
        Insert(change, happened);
        gate?.AdmitOrOwe(change, happened);
    }

    public void Append(DatabaseChange change, ServiceEvent happened)
    {
        Insert(change, happened);
        gate?.Admit(change, happened);
    }

    private void Insert(DatabaseChange change, ServiceEvent happened)
    {
        change.Execute(
            "INSERT INTO event (at, kind, subject, actor, code, detail) VALUES (@at, @kind, @subject, @actor, @code, @detail)",
            ("@at", RecordTime.Text(clock.GetUtcNow())),
            ("@kind", happened.Kind),
            ("@subject", happened.Subject),
            ("@actor", happened.Actor),
            ("@code", happened.Code),
            ("@detail", happened.Detail));
        outbox?.Take(change, happened);
    }

    /// <summary>Number of the last event; 0 before the first.</summary>
    public long Newest() => database.Read("SELECT COALESCE(MAX(number), 0) FROM event", row => row.GetInt64(0))[0];

    /// <summary>Events after a number, oldest first.</summary>
    public IReadOnlyList<LoggedEvent> After(long number, int most) => database.Read(
        "SELECT number, at, kind, subject, actor, code, detail FROM event WHERE number > @after ORDER BY number LIMIT @most",
        row => new LoggedEvent(row.GetInt64(0), RecordTime.Parse(row.GetString(1)), new(row.GetString(2), Text(row, 3), Text(row, 4), Text(row, 5), Text(row, 6))),
        ("@after", number),
        ("@most", most));

    private static string? Text(DbDataReader row, int column) => row.IsDBNull(column) ? null : row.GetString(column);
}
