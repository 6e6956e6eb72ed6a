using System.Data.Common;
using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Jobs;

/// <summary>The jobs and their states: the one truth about them. The engine that runs them may lose or repeat what it likes.</summary>
/// <remarks>
/// Every change names the state, and where it matters the attempt, that it changes: of two that would do the same, the second finds
/// nothing to change. Its event is in the same transaction.
/// </remarks>
public sealed class JobStore(Database database, EventLog events, TimeProvider clock)
{
    /// <summary>Faults that may pass before a job is set aside.</summary>
    public const int MostFaults = 3;

    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS job (
            id TEXT PRIMARY KEY,
            state TEXT NOT NULL,
            purpose TEXT NOT NULL,
            anatomy TEXT NOT NULL,
            side TEXT,
            plan TEXT NOT NULL,
            requester TEXT,
            needed_by TEXT,
            patient_key TEXT,
            source_id TEXT REFERENCES source (id),
            created_at TEXT NOT NULL,
            created_by TEXT NOT NULL,
            attempt INTEGER NOT NULL DEFAULT 0,
            faults INTEGER NOT NULL DEFAULT 0,
            published INTEGER,
            holds INTEGER,
            reason TEXT,
            heartbeat_at TEXT,
            ended_at TEXT,
            cancel_asked INTEGER NOT NULL DEFAULT 0,
            version INTEGER NOT NULL DEFAULT 1,
            idempotency_key TEXT UNIQUE);
        CREATE INDEX IF NOT EXISTS job_by_state ON job (state);
        """;

    /// <summary>Columns that the first version did not have.</summary>
    internal static readonly (string, string)[] Added =
    [
        ("profile", "TEXT"), ("scale", "DOUBLE PRECISION NOT NULL DEFAULT 1"), ("request_id", "TEXT"), ("remedy", "TEXT"), ("stage", "TEXT"), ("share", "DOUBLE PRECISION"), ("node", "TEXT"), ("started_at", "TEXT"), ("expired_at", "TEXT"), ("files_gone", "INTEGER NOT NULL DEFAULT 0"), ("exit_code", "INTEGER"),
    ];

    private const string Columns =
        "id, state, purpose, anatomy, side, plan, requester, needed_by, patient_key, source_id, created_at, created_by, attempt, faults, published, holds, reason, heartbeat_at, ended_at, cancel_asked, version, profile, scale, request_id, remedy, stage, share, node, started_at, exit_code";

    private string Now => RecordTime.Text(clock.GetUtcNow());

    /// <summary>Adds a job; with an idempotency key that was used before, gives the job it made then.</summary>
    /// <exception cref="BadInputException">No such source.</exception>
    /// <exception cref="CheckFailedException">The source is another patient's.</exception>
    public JobEntry Create(JobRequest request, string account, string? idempotencyKey)
    {
        var key = idempotencyKey is null ? null : $"{account}\n{idempotencyKey}";
        return database.Write(change =>
            key is not null && change.Read($"SELECT {Columns} FROM job WHERE idempotency_key = @key", Entry, ("@key", key)) is [var earlier] ? earlier : Create(change, request, account, key));
    }

    /// <summary>Adds a job in a change that does more.</summary>
    internal JobEntry Create(DatabaseChange change, JobRequest request, string account, string? key = null)
    {
        var id = Guid.CreateVersion7(clock.GetUtcNow()).ToString("N");
        if (request.SourceId is not null)
            RequireMatch(change, request);
        change.Execute(
            "INSERT INTO job (id, state, purpose, anatomy, side, plan, requester, needed_by, patient_key, source_id, created_at, created_by, idempotency_key, profile, scale, request_id) "
            + "VALUES (@id, @state, @purpose, @anatomy, @side, @plan, @requester, @needed, @patient, @source, @at, @by, @key, @profile, @scale, @request)",
            [
                .. request.Values(),
                ("@id", id),
                ("@state", (request.SourceId is null ? JobState.Waiting : JobState.Queued).ToString()),
                ("@at", Now),
                ("@by", account),
                ("@key", key),
                ("@request", request.RequestId),
            ]);
        events.Append(change, new("job.created", id, account, Detail: $"plan {request.Plan}") { Request = request.AsRunRequest() });
        return Find(change, id)!;
    }

    public JobEntry? Find(string id) => database.ReadOne($"SELECT {Columns} FROM job WHERE id = @id", Entry, ("@id", id));

    internal static JobEntry? Find(DatabaseChange change, string id) => change.Read($"SELECT {Columns} FROM job WHERE id = @id", Entry, ("@id", id)) is [var job] ? job : null;

    /// <summary>Newest first; ids sort by time.</summary>
    public IReadOnlyList<JobEntry> List(int most, string? before = null, JobState? state = null) => database.Read(
        $"SELECT {Columns} FROM job WHERE (CAST(@before AS TEXT) IS NULL OR id < @before) AND (CAST(@state AS TEXT) IS NULL OR state = @state) ORDER BY id DESC LIMIT @most",
        Entry,
        ("@before", before),
        ("@state", state?.ToString()),
        ("@most", most));

    public IReadOnlyList<JobEntry> Queued() => database.Read($"SELECT {Columns} FROM job WHERE state = 'Queued' ORDER BY id", Entry);

    /// <summary>Gives each waiting job the one source of its patient; where there are several, a person must choose.</summary>
    public void MatchWaiting()
    {
        if (database.Read("SELECT 1 FROM job WHERE state = 'Waiting' LIMIT 1", _ => true).Count > 0)
            database.Write(MatchWaiting);
    }

    private void MatchWaiting(DatabaseChange change)
    {
        var waiting = change.Read("SELECT id, patient_key FROM job WHERE state = 'Waiting'", r => (Id: r.GetString(0), Patient: r.GetString(1)));
        foreach (var (id, patient) in waiting)
        {
            var sources = change.Read("SELECT id FROM source WHERE patient_key = @patient AND replaced_by IS NULL AND expired_at IS NULL", r => r.GetString(0), ("@patient", patient));
            if (sources.Count == 1)
            {
                change.Execute("UPDATE job SET state = 'Queued', source_id = @source, reason = NULL, version = version + 1 WHERE id = @id AND state = 'Waiting'", ("@source", sources[0]), ("@id", id));
                events.Append(change, new("job.matched", id, Detail: $"source {sources[0][..12]}"));
            }
            else if (sources.Count > 1)
            {
                change.Execute("UPDATE job SET reason = 'several sources of this patient: cancel it and ask again with one of them', version = version + 1 WHERE id = @id AND reason IS NULL", ("@id", id));
            }
        }
    }

    /// <summary>Takes the next attempt; null when the job is not there to be run (any more).</summary>
    /// <param name="node">Where it will run.</param>
    public JobEntry? Begin(string id, string node = "here") => database.Write(change =>
    {
        if (change.Execute(
            "UPDATE job SET state = 'Running', attempt = attempt + 1, heartbeat_at = @now, started_at = @now, node = @node, stage = NULL, share = NULL, version = version + 1 WHERE id = @id AND state = 'Queued'",
            ("@now", Now), ("@node", node), ("@id", id)) == 0)
            return null;
        var job = Find(change, id)!;
        events.Append(change, new("job.started", id, Detail: $"attempt {job.Attempt}"));
        return job;
    });

    /// <summary>Says that an attempt lives; false when it must stop: cancelled, or no longer the one that counts.</summary>
    public bool Beat(string id, int attempt) => database.Write(change =>
        change.Execute("UPDATE job SET heartbeat_at = @now WHERE id = @id AND state = 'Running' AND attempt = @attempt AND cancel_asked = 0", ("@now", Now), ("@id", id), ("@attempt", attempt)) > 0);

    /// <summary>Notes how far an attempt is.</summary>
    public void Progress(string id, int attempt, string stage, double share) => database.Write(change => change.Execute(
        "UPDATE job SET stage = @stage, share = @share, version = version + 1 WHERE id = @id AND state = 'Running' AND attempt = @attempt", ("@stage", stage), ("@share", share), ("@id", id), ("@attempt", attempt)));

    /// <summary>Says why a running job does not go on; goes with its end.</summary>
    public void Waits(string id, int attempt, string reason, string remedy) => database.Write(change => change.Execute(
        "UPDATE job SET reason = @reason, remedy = @remedy, version = version + 1 WHERE id = @id AND state = 'Running' AND attempt = @attempt", ("@reason", reason), ("@remedy", remedy), ("@id", id), ("@attempt", attempt)));

    /// <summary>Publishes the result of an attempt, if it is still the one that counts.</summary>
    public bool Publish(string id, int attempt, bool holds) => End(
        id, attempt, "state = 'Done', published = @attempt, holds = @holds, reason = NULL, remedy = NULL, stage = NULL, share = 1", new("job.done", id, Detail: $"attempt {attempt}{(holds ? "" : "; a check did not hold")}"), isEnd: true, ("@holds", holds ? 1 : 0));

    /// <summary>Ends a job that would fail again.</summary>
    public bool Fail(string id, int attempt, string reason, string remedy = "Correct what the reason names, then ask again.", int? exitCode = null) =>
        End(id, attempt, "state = 'Failed', reason = @reason, remedy = @remedy, exit_code = @code", new("job.failed", id, Detail: reason), isEnd: true, ("@reason", reason), ("@remedy", remedy), ("@code", exitCode));

    /// <summary>Ends a queued job that cannot be run here at all.</summary>
    public bool Refuse(string id, string reason, string remedy) => database.Write(change =>
    {
        if (change.Execute("UPDATE job SET state = 'Failed', reason = @reason, remedy = @remedy, ended_at = @now, version = version + 1 WHERE id = @id AND state = 'Queued'", ("@reason", reason), ("@remedy", remedy), ("@now", Now), ("@id", id)) == 0)
            return false;
        events.Append(change, new("job.failed", id, Detail: reason));
        return true;
    });

    public bool Cancelled(string id, int attempt) => End(id, attempt, "state = 'Cancelled'", new("job.cancelled", id), isEnd: true);

    /// <summary>Notes a fault that may pass: the job is queued again, or set aside after <see cref="MostFaults"/>.</summary>
    public bool Fault(string id, int attempt, string reason, string remedy = "Try it again; if it happens again, look into the log of the service.") => database.Write(change =>
    {
        if (change.Execute("UPDATE job SET faults = faults + 1, version = version + 1 WHERE id = @id AND state = 'Running' AND attempt = @attempt", ("@id", id), ("@attempt", attempt)) == 0)
            return false;
        var faults = change.Read("SELECT faults FROM job WHERE id = @id", r => r.GetInt32(0), ("@id", id))[0];
        var isLast = faults >= MostFaults;
        change.Execute(
            "UPDATE job SET state = @state, reason = @reason, remedy = @remedy, ended_at = @ended WHERE id = @id",
            ("@state", (isLast ? JobState.Failed : JobState.Queued).ToString()),
            ("@reason", reason),
            ("@remedy", remedy),
            ("@ended", isLast ? Now : null),
            ("@id", id));
        events.Append(change, new(isLast ? "job.failed" : "job.fault", id, Detail: $"attempt {attempt}: {reason}"));
        return true;
    });

    /// <summary>Gives a running job back to the queue, without blame: the service stops, or was stopped.</summary>
    public bool HandBack(string id, int attempt) => End(id, attempt, "state = 'Queued'", new("job.handed-back", id, Detail: $"attempt {attempt}"), isEnd: false);

    /// <summary>At the start of a node: no attempt of an earlier process of it still runs. With a database of its own there is no other node.</summary>
    public void Recover(string node)
    {
        foreach (var job in Running().Where(j => !database.IsShared || j.Node == node))
            Release(job);
    }

    /// <summary>Takes a job from an attempt that gives no sign: it can no longer publish.</summary>
    public bool Release(JobEntry job) => job.CancelAsked ? Cancelled(job.Id, job.Attempt) : HandBack(job.Id, job.Attempt);

    public IReadOnlyList<JobEntry> Running() => database.Read($"SELECT {Columns} FROM job WHERE state = 'Running'", Entry);

    /// <summary>Cancels a job that has not ended: at once, or as soon as its child is stopped. Null when it has ended.</summary>
    public JobEntry? Cancel(string id, string account) => database.Write(change => Cancel(change, id, account));

    internal JobEntry? Cancel(DatabaseChange change, string id, string account)
    {
        var changed = change.Execute("UPDATE job SET state = 'Cancelled', ended_at = @now, version = version + 1 WHERE id = @id AND state IN ('Waiting', 'Queued')", ("@now", Now), ("@id", id))
            + change.Execute("UPDATE job SET cancel_asked = 1, version = version + 1 WHERE id = @id AND state = 'Running'", ("@id", id));
        if (changed == 0)
            return null;
        events.Append(change, new("job.cancel-asked", id, account));
        return Find(change, id)!;
    }

    /// <summary>Queues a failed or cancelled job again, with its faults forgiven. Null when it is neither.</summary>
    public JobEntry? Retry(string id, string account) => database.Write(change => Retry(change, id, account));

    internal JobEntry? Retry(DatabaseChange change, string id, string account)
    {
        var changed = change.Execute(
            "UPDATE job SET state = CASE WHEN source_id IS NULL THEN 'Waiting' ELSE 'Queued' END, faults = 0, reason = NULL, remedy = NULL, ended_at = NULL, cancel_asked = 0, version = version + 1 WHERE id = @id AND state IN ('Failed', 'Cancelled')",
            ("@id", id));
        if (changed == 0)
            return null;
        events.Append(change, new("job.retried", id, account));
        return Find(change, id)!;
    }

    private bool End(string id, int attempt, string set, ServiceEvent happened, bool isEnd, params (string Name, object? Value)[] parameters) => database.Write(change =>
    {
        var ended = change.Execute(
            $"UPDATE job SET {set}, ended_at = @ended, version = version + 1 WHERE id = @id AND state = 'Running' AND attempt = @attempt",
            [("@id", id), ("@attempt", attempt), ("@ended", isEnd ? Now : null), .. parameters]);
        if (ended > 0)
            events.Append(change, happened);
        return ended > 0;
    });

    /// <returns>Whose images it holds, by pseudonym.</returns>
    /// <exception cref="BadInputException">There is no such source, or its images have expired.</exception>
    internal static string? RequireSource(DatabaseChange change, string id)
    {
        if (change.Read("SELECT patient_key, expired_at FROM source WHERE id = @id", r => (Patient: r.IsDBNull(0) ? null : r.GetString(0), IsExpired: !r.IsDBNull(1)), ("@id", id)) is not [var source])
            throw new BadInputException("request", "sourceId", "no such source", "Choose one of the list of sources.");
        return source.IsExpired ? throw new BadInputException("request", "sourceId", "its images have expired", "Send the images again, then ask again.") : source.Patient;
    }

    private static void RequireMatch(DatabaseChange change, JobRequest request)
    {
        var patient = RequireSource(change, request.SourceId!);
        if (request.PatientKey is not null && request.PatientKey != patient)
            throw new CheckFailedException("patient", "images of the patient that was asked for", "images of another patient, or of none that is named");
    }

    private static JobEntry Entry(DbDataReader row)
    {
        string? Text(int column) => row.IsDBNull(column) ? null : row.GetString(column);
        int? Number(int column) => row.IsDBNull(column) ? null : row.GetInt32(column);
        DateTimeOffset? Time(int column) => Text(column) is { } at ? RecordTime.Parse(at) : null;
        var request = JobRequest.Of(row, Text(23));
        return new(
            row.GetString(0), Enum.Parse<JobState>(row.GetString(1)), request, RecordTime.Parse(row.GetString(10)), row.GetString(11), row.GetInt32(12), row.GetInt32(13), Number(14),
            Number(15) is { } holds ? holds != 0 : null, Text(16), Time(17), Time(18), row.GetInt32(19) != 0, row.GetInt32(20),
            Text(24), Text(25), row.IsDBNull(26) ? null : row.GetDouble(26), Text(27), Time(28), Number(29));
    }
}
