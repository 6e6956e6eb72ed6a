using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Storage;
using Microsoft.Data.Sqlite;

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

    private const string Columns =
        "id, state, purpose, anatomy, side, plan, requester, needed_by, patient_key, source_id, created_at, created_by, attempt, faults, published, holds, reason, heartbeat_at, ended_at, cancel_asked, version";

    private string Now => RecordTime.Text(clock.GetUtcNow());

    /// <summary>Adds a job; with an idempotency key that was used before, gives the job it made then.</summary>
    /// <exception cref="BadInputException">No such source.</exception>
    /// <exception cref="CheckFailedException">The source is another patient's.</exception>
    public JobEntry Create(JobRequest request, string account, string? idempotencyKey)
    {
        var id = Guid.CreateVersion7(clock.GetUtcNow()).ToString("N");
        var key = idempotencyKey is null ? null : $"{account}\n{idempotencyKey}";
        return database.Write(change =>
        {
            if (key is not null && change.Read($"SELECT {Columns} FROM job WHERE idempotency_key = @key", Entry, ("@key", key)) is [var earlier])
                return earlier;
            if (request.SourceId is not null)
                RequireMatch(change, request);
            change.Execute(
                "INSERT INTO job (id, state, purpose, anatomy, side, plan, requester, needed_by, patient_key, source_id, created_at, created_by, idempotency_key) "
                + "VALUES (@id, @state, @purpose, @anatomy, @side, @plan, @requester, @needed, @patient, @source, @at, @by, @key)",
                ("@id", id),
                ("@state", (request.SourceId is null ? JobState.Waiting : JobState.Queued).ToString()),
                ("@purpose", request.Purpose.ToString()),
                ("@anatomy", request.Anatomy),
                ("@side", request.Side?.ToString()),
                ("@plan", request.Plan),
                ("@requester", request.RequesterCode),
                ("@needed", JobRequest.Text(request.NeededBy)),
                ("@patient", request.PatientKey),
                ("@source", request.SourceId),
                ("@at", Now),
                ("@by", account),
                ("@key", key));
            events.Append(change, new("job.created", id, account, Detail: $"plan {request.Plan}") { Request = request.AsRunRequest() });
            return change.Read($"SELECT {Columns} FROM job WHERE id = @id", Entry, ("@id", id))[0];
        });
    }

    public JobEntry? Find(string id) => database.ReadOne($"SELECT {Columns} FROM job WHERE id = @id", Entry, ("@id", id));

    /// <summary>Newest first; ids sort by time.</summary>
    public IReadOnlyList<JobEntry> List(int most, string? before = null, JobState? state = null) => database.Read(
        $"SELECT {Columns} FROM job WHERE (@before IS NULL OR id < @before) AND (@state IS NULL OR state = @state) ORDER BY id DESC LIMIT @most",
        Entry,
        ("@before", before),
        ("@state", state?.ToString()),
        ("@most", most));

    public IReadOnlyList<JobEntry> Queued() => database.Read($"SELECT {Columns} FROM job WHERE state = 'Queued' ORDER BY id", Entry);

    /// <summary>Gives each waiting job the one source of its patient; where there are several, a person must choose.</summary>
    public void MatchWaiting() => database.Write(change =>
    {
        var waiting = change.Read("SELECT id, patient_key FROM job WHERE state = 'Waiting'", r => (Id: r.GetString(0), Patient: r.GetString(1)));
        foreach (var (id, patient) in waiting)
        {
            var sources = change.Read("SELECT id FROM source WHERE patient_key = @patient AND replaced_by IS NULL", r => r.GetString(0), ("@patient", patient));
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
    });

    /// <summary>Takes the next attempt; null when the job is not there to be run (any more).</summary>
    public JobEntry? Begin(string id) => database.Write(change =>
    {
        if (change.Execute("UPDATE job SET state = 'Running', attempt = attempt + 1, heartbeat_at = @now, version = version + 1 WHERE id = @id AND state = 'Queued'", ("@now", Now), ("@id", id)) == 0)
            return null;
        var job = change.Read($"SELECT {Columns} FROM job WHERE id = @id", Entry, ("@id", id))[0];
        events.Append(change, new("job.started", id, Detail: $"attempt {job.Attempt}"));
        return job;
    });

    /// <summary>Says that an attempt lives; false when it must stop: cancelled, or no longer the one that counts.</summary>
    public bool Beat(string id, int attempt) => database.Write(change =>
        change.Execute("UPDATE job SET heartbeat_at = @now WHERE id = @id AND state = 'Running' AND attempt = @attempt AND cancel_asked = 0", ("@now", Now), ("@id", id), ("@attempt", attempt)) > 0);

    /// <summary>Publishes the result of an attempt, if it is still the one that counts.</summary>
    public bool Publish(string id, int attempt, bool holds) => End(
        id, attempt, "state = 'Done', published = @attempt, holds = @holds, reason = NULL", new("job.done", id, Detail: $"attempt {attempt}{(holds ? "" : "; a check did not hold")}"), ("@holds", holds ? 1 : 0));

    /// <summary>Ends a job that would fail again.</summary>
    public bool Fail(string id, int attempt, string reason) => End(id, attempt, "state = 'Failed', reason = @reason", new("job.failed", id, Detail: reason), ("@reason", reason));

    public bool Cancelled(string id, int attempt) => End(id, attempt, "state = 'Cancelled'", new("job.cancelled", id));

    /// <summary>Notes a fault that may pass: the job is queued again, or set aside after <see cref="MostFaults"/>.</summary>
    public bool Fault(string id, int attempt, string reason) => database.Write(change =>
    {
        if (change.Execute("UPDATE job SET faults = faults + 1, version = version + 1 WHERE id = @id AND state = 'Running' AND attempt = @attempt", ("@id", id), ("@attempt", attempt)) == 0)
            return false;
        var faults = change.Read("SELECT faults FROM job WHERE id = @id", r => r.GetInt32(0), ("@id", id))[0];
        var isLast = faults >= MostFaults;
        change.Execute(
            "UPDATE job SET state = @state, reason = @reason, ended_at = @ended WHERE id = @id",
            ("@state", (isLast ? JobState.Failed : JobState.Queued).ToString()),
            ("@reason", reason),
            ("@ended", isLast ? Now : null),
            ("@id", id));
        events.Append(change, new(isLast ? "job.failed" : "job.fault", id, Detail: $"attempt {attempt}: {reason}"));
        return true;
    });

    /// <summary>Gives a running job back to the queue, without blame: the service stops, or was stopped.</summary>
    public bool HandBack(string id, int attempt) => End(id, attempt, "state = 'Queued'", new("job.handed-back", id, Detail: $"attempt {attempt}"), isEnd: false);

    /// <summary>At the start of the service: no attempt of an earlier process still runs.</summary>
    public void Recover()
    {
        foreach (var job in database.Read($"SELECT {Columns} FROM job WHERE state = 'Running'", Entry))
            _ = job.CancelAsked ? Cancelled(job.Id, job.Attempt) : HandBack(job.Id, job.Attempt);
    }

    /// <summary>Cancels a job that has not ended: at once, or as soon as its child is stopped. Null when it has ended.</summary>
    public JobEntry? Cancel(string id, string account) => database.Write(change =>
    {
        var changed = change.Execute("UPDATE job SET state = 'Cancelled', ended_at = @now, version = version + 1 WHERE id = @id AND state IN ('Waiting', 'Queued')", ("@now", Now), ("@id", id))
            + change.Execute("UPDATE job SET cancel_asked = 1, version = version + 1 WHERE id = @id AND state = 'Running'", ("@id", id));
        if (changed == 0)
            return null;
        events.Append(change, new("job.cancel-asked", id, account));
        return change.Read($"SELECT {Columns} FROM job WHERE id = @id", Entry, ("@id", id))[0];
    });

    /// <summary>Queues a failed or cancelled job again, with its faults forgiven. Null when it is neither.</summary>
    public JobEntry? Retry(string id, string account) => database.Write(change =>
    {
        var changed = change.Execute(
            "UPDATE job SET state = CASE WHEN source_id IS NULL THEN 'Waiting' ELSE 'Queued' END, faults = 0, reason = NULL, ended_at = NULL, cancel_asked = 0, version = version + 1 WHERE id = @id AND state IN ('Failed', 'Cancelled')",
            ("@id", id));
        if (changed == 0)
            return null;
        events.Append(change, new("job.retried", id, account));
        return change.Read($"SELECT {Columns} FROM job WHERE id = @id", Entry, ("@id", id))[0];
    });

    private bool End(string id, int attempt, string set, ServiceEvent happened, (string Name, object? Value)? parameter = null, bool isEnd = true) => database.Write(change =>
    {
        var ended = change.Execute(
            $"UPDATE job SET {set}, ended_at = @ended, version = version + 1 WHERE id = @id AND state = 'Running' AND attempt = @attempt",
            ("@id", id),
            ("@attempt", attempt),
            ("@ended", isEnd ? Now : null),
            parameter ?? ("@none", null));
        if (ended > 0)
            events.Append(change, happened);
        return ended > 0;
    });

    private static void RequireMatch(DatabaseChange change, JobRequest request)
    {
        if (change.Read("SELECT patient_key FROM source WHERE id = @id", r => r.IsDBNull(0) ? null : r.GetString(0), ("@id", request.SourceId)) is not [var patient])
            throw new BadInputException("request", "sourceId", "no such source", "Choose one of the list of sources.");
        if (request.PatientKey is not null && request.PatientKey != patient)
            throw new CheckFailedException("patient", "images of the patient that was asked for", "images of another patient, or of none that is named");
    }

    private static JobEntry Entry(SqliteDataReader row)
    {
        string? Text(int column) => row.IsDBNull(column) ? null : row.GetString(column);
        int? Number(int column) => row.IsDBNull(column) ? null : row.GetInt32(column);
        DateTimeOffset? Time(int column) => Text(column) is { } at ? RecordTime.Parse(at) : null;
        var request = new JobRequest(
            Enum.Parse<Purpose>(row.GetString(2)),
            row.GetString(3),
            Text(4) is { } side ? Enum.Parse<Side>(side) : null,
            row.GetString(5),
            Text(6),
            Text(7) is { } day ? DateOnly.ParseExact(day, "yyyy-MM-dd", CultureInfo.InvariantCulture) : null,
            Text(8),
            Text(9));
        return new(
            row.GetString(0), Enum.Parse<JobState>(row.GetString(1)), request, RecordTime.Parse(row.GetString(10)), row.GetString(11), row.GetInt32(12), row.GetInt32(13), Number(14),
            Number(15) is { } holds ? holds != 0 : null, Text(16), Time(17), Time(18), row.GetInt32(19) != 0, row.GetInt32(20));
    }
}
