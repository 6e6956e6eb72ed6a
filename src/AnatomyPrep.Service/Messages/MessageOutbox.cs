using System.Data.Common;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Messages;

/// <summary>Messages that are to be delivered, in the transaction of the change they tell of: neither is ever there without the other.</summary>
/// <remarks>
/// Each target gets its messages in order. Who delivers one claims it for a while, so that of several nodes one sends it; a node that dies
/// with a claim leaves it to the others once the claim is over. So a message comes at least once, and again only after a fault, with the same id.
/// </remarks>
public sealed class MessageOutbox(Database database, ServiceSettings settings, TimeProvider clock)
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS message (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            id TEXT NOT NULL UNIQUE,
            target TEXT NOT NULL,
            kind TEXT NOT NULL,
            request_id TEXT,
            job_id TEXT,
            at TEXT NOT NULL,
            state TEXT NOT NULL,
            tries INTEGER NOT NULL DEFAULT 0,
            next_at TEXT,
            error TEXT,
            ended_at TEXT);
        CREATE INDEX IF NOT EXISTS message_by_target ON message (state, target, number);
        """;

    private const string Columns = "id, target, kind, request_id, job_id, at, state, tries, next_at, error, ended_at";

    /// <summary>Longest claim and longest pause; also what a clock that was set back can cost.</summary>
    private static readonly TimeSpan s_longest = TimeSpan.FromHours(1);
    private static readonly TimeSpan s_first = TimeSpan.FromSeconds(2);
    private static readonly TimeSpan s_claim = TimeSpan.FromSeconds(90);
    private static readonly TimeSpan s_kept = TimeSpan.FromDays(30);

    private readonly (string Name, IReadOnlyList<string> Kinds)[] _targets = [.. settings.Messages.Webhooks.Select(w => (w.Name, w.Kinds)), .. settings.Messages.Mail is { } mail ? [(MailSettings.TargetName, mail.Kinds)] : Array.Empty<(string, IReadOnlyList<string>)>()];

    private string Now => Text(clock.GetUtcNow());

    /// <summary>Puts an event into the outbox of every target that wants its kind.</summary>
    internal void Take(DatabaseChange change, ServiceEvent happened)
    {
        string[] targets = [.. _targets.Where(t => MessageSettings.Wants(t.Kinds, happened.Kind)).Select(t => t.Name)];
        if (targets.Length == 0)
            return;
        var (request, job) = Ids(change, happened);
        var now = clock.GetUtcNow();
        foreach (var target in targets)
            change.Execute(
                "INSERT INTO message (id, target, kind, request_id, job_id, at, state) VALUES (@id, @target, @kind, @request, @job, @at, 'Pending')",
                ("@id", Guid.CreateVersion7(now).ToString("N")), ("@target", target), ("@kind", happened.Kind), ("@request", request), ("@job", job), ("@at", Text(now)));
    }

    /// <summary>Claims the oldest message of a target, if it is due; counts a try.</summary>
    internal Message? Claim(string target)
    {
        const string oldest = $"SELECT {Columns} FROM message WHERE state = 'Pending' AND target = @target ORDER BY number LIMIT 1";
        if (database.ReadOne(oldest, Entry, ("@target", target)) is not { } first || !IsDue(first))
            return null;
        return database.Write(change =>
        {
            if (change.Read(oldest, Entry, ("@target", target)) is not [var message] || !IsDue(message))
                return null;
            change.Execute("UPDATE message SET tries = tries + 1, next_at = @until WHERE id = @id", ("@until", Text(clock.GetUtcNow() + s_claim)), ("@id", message.Id));
            return message with { Tries = message.Tries + 1 };
        });
    }

    internal void Delivered(Message message) => database.Write(change => change.Execute(
        "UPDATE message SET state = 'Delivered', error = NULL, next_at = NULL, ended_at = @now WHERE id = @id AND state = 'Pending'", ("@now", Now), ("@id", message.Id)));

    /// <summary>Notes a try that failed: tried again after a growing pause, or given up.</summary>
    /// <param name="isFinal">It would be refused again.</param>
    /// <returns>True when it was given up.</returns>
    internal bool Failed(Message message, string error, bool isFinal)
    {
        var now = clock.GetUtcNow();
        var gaveUp = isFinal || now - message.At > TimeSpan.FromHours(settings.Messages.GiveUpHours);
        var pause = s_first * Math.Pow(2, Math.Min(message.Tries - 1, 20));
        database.Write(change => change.Execute(
            "UPDATE message SET state = @state, error = @error, next_at = @next, ended_at = @ended WHERE id = @id AND state = 'Pending'",
            ("@state", (gaveUp ? MessageState.Failed : MessageState.Pending).ToString()),
            ("@error", error),
            ("@next", gaveUp ? null : Text(now + (pause < s_longest ? pause : s_longest))),
            ("@ended", gaveUp ? Text(now) : null),
            ("@id", message.Id)));
        return gaveUp;
    }

    /// <summary>Sends a failed message again, as if it were new; null when there is no such failed one.</summary>
    public Message? Retry(string id) => database.Write(change =>
    {
        var changed = change.Execute("UPDATE message SET state = 'Pending', tries = 0, next_at = NULL, ended_at = NULL, error = NULL WHERE id = @id AND state = 'Failed'", ("@id", id));
        return changed == 0 ? null : change.Read($"SELECT {Columns} FROM message WHERE id = @id", Entry, ("@id", id))[0];
    });

    /// <summary>Newest first.</summary>
    public IReadOnlyList<Message> List(int most, string? before = null, MessageState? state = null) => database.Read(
        $"SELECT {Columns} FROM message WHERE (CAST(@before AS TEXT) IS NULL OR id < @before) AND (CAST(@state AS TEXT) IS NULL OR state = @state) ORDER BY id DESC LIMIT @most",
        Entry,
        ("@before", before),
        ("@state", state?.ToString()),
        ("@most", most));

    /// <summary>Messages that wait, for the metrics.</summary>
    public long Waiting() => database.Read("SELECT COUNT(*) FROM message WHERE state = 'Pending'", r => r.GetInt64(0))[0];

    /// <summary>Removes what was delivered long ago, and gives up what is for a target that is no longer set.</summary>
    /// <returns>How many were given up.</returns>
    internal int Tidy() => database.Write(change =>
    {
        change.Execute("DELETE FROM message WHERE state = 'Delivered' AND ended_at < @then", ("@then", Text(clock.GetUtcNow() - s_kept)));
        var gone = change.Read("SELECT DISTINCT target FROM message WHERE state = 'Pending'", r => r.GetString(0)).Except(_targets.Select(t => t.Name));
        return gone.Sum(target => change.Execute("UPDATE message SET state = 'Failed', error = 'no longer in the settings', ended_at = @now WHERE state = 'Pending' AND target = @target", ("@now", Now), ("@target", target)));
    });

    private static (string? Request, string? Job) Ids(DatabaseChange change, ServiceEvent happened)
    {
        string? Other(string sql) => change.Read(sql, r => r.IsDBNull(0) ? null : r.GetString(0), ("@id", happened.Subject)) is [var id] ? id : null;
        return happened.Kind.StartsWith("job.", StringComparison.Ordinal)
            ? (Other("SELECT request_id FROM job WHERE id = @id"), happened.Subject)
            : (happened.Subject, Other("SELECT job_id FROM request WHERE id = @id"));
    }

    private bool IsDue(Message message) => message.NextAt is not { } next || clock.GetUtcNow() is var now && (next <= now || next > now + s_longest + s_claim);

    private static string Text(DateTimeOffset at) => RecordTime.Text(at);

    private static Message Entry(DbDataReader row)
    {
        string? Text(int column) => row.IsDBNull(column) ? null : row.GetString(column);
        DateTimeOffset? Time(int column) => Text(column) is { } at ? RecordTime.Parse(at) : null;
        return new(row.GetString(0), row.GetString(1), row.GetString(2), Text(3), Text(4), Time(5)!.Value, Enum.Parse<MessageState>(row.GetString(6)), row.GetInt32(7), Time(8), Text(9), Time(10));
    }
}
