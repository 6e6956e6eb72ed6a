using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Intake;

/// <summary>Files of one arrival that were set aside.</summary>
/// <param name="SourceTitle">Calling title, where it is one; anybody can claim any.</param>
public sealed record QuarantineEntry(string Id, DateTimeOffset At, string Code, string? SourceTitle, int Files);

/// <summary>What was set aside until somebody decides.</summary>
public sealed class QuarantineStore(Database database, EventLog events, TimeProvider clock)
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS quarantine (
            id TEXT PRIMARY KEY,
            at TEXT NOT NULL,
            code TEXT NOT NULL,
            source_title TEXT,
            files INTEGER NOT NULL,
            decided TEXT);
        """;

    public void Add(string id, string code, string? title, int files) => database.Write(change =>
    {
        var added = change.Execute(
            "INSERT INTO quarantine (id, at, code, source_title, files) VALUES (@id, @at, @code, @title, @files) ON CONFLICT DO NOTHING",
            ("@id", id),
            ("@at", RecordTime.Text(clock.GetUtcNow())),
            ("@code", code),
            ("@title", title),
            ("@files", files));
        if (added > 0)
            events.Append(change, new("arrival.quarantined", id, Code: code, Detail: code == FindingCodes.CallingTitleUnknown ? $"{files} files by a calling title that is not in receiver.callingTitles" : $"{files} files that cannot be read"));
    });

    public IReadOnlyList<QuarantineEntry> Undecided() => database.Read(
        "SELECT id, at, code, source_title, files FROM quarantine WHERE decided IS NULL ORDER BY at",
        row => new QuarantineEntry(row.GetString(0), RecordTime.Parse(row.GetString(1)), row.GetString(2), row.IsDBNull(3) ? null : row.GetString(3), row.GetInt32(4)));

    /// <summary>Notes what somebody decided; false when there is nothing (any more) to decide.</summary>
    public bool Decide(string id, string decision, string actor) => database.Write(change =>
    {
        if (change.Execute("UPDATE quarantine SET decided = @decision WHERE id = @id AND decided IS NULL", ("@decision", decision), ("@id", id)) == 0)
            return false;
        events.Append(change, new($"quarantine.{decision}", id, actor));
        return true;
    });
}
