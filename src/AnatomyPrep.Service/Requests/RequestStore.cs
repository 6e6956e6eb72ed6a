using System.Data.Common;
using System.Globalization;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Requests;

/// <summary>The requests, and the sources they are given.</summary>
/// <remarks>
/// A request with a source that does not contradict it has a job, once; from then on its state is the job's. Request, job and events
/// are written in one transaction.
/// </remarks>
public sealed class RequestStore(Database database, EventLog events, JobStore jobs, TimeProvider clock)
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS request (
            id TEXT PRIMARY KEY,
            state TEXT NOT NULL,
            purpose TEXT NOT NULL,
            anatomy TEXT NOT NULL,
            side TEXT,
            scale DOUBLE PRECISION NOT NULL,
            plan TEXT NOT NULL,
            profile TEXT,
            requester TEXT,
            needed_by TEXT,
            patient_key TEXT,
            source_id TEXT REFERENCES source (id),
            note TEXT,
            job_id TEXT REFERENCES job (id),
            findings TEXT NOT NULL DEFAULT '[]',
            candidates TEXT NOT NULL DEFAULT '[]',
            created_at TEXT NOT NULL,
            created_by TEXT NOT NULL,
            version INTEGER NOT NULL DEFAULT 1,
            idempotency_key TEXT UNIQUE);
        CREATE INDEX IF NOT EXISTS request_by_state ON request (state);
        CREATE INDEX IF NOT EXISTS request_by_job ON request (job_id);
        """;

    // Of a request that has a job, the state is the job's.
    private const string StateNow = "CASE WHEN r.job_id IS NULL THEN r.state ELSE j.state END";

    private const string Selection =
        $"SELECT r.id, {StateNow}, r.purpose, r.anatomy, r.side, r.scale, r.plan, r.profile, r.requester, r.needed_by, r.patient_key, r.source_id, r.note, r.job_id, r.findings, r.candidates, r.created_at, r.created_by, "
        + "r.version, j.version, j.reason, j.remedy FROM request r LEFT JOIN job j ON j.id = r.job_id";

    private const string Open = "state IN ('Waiting', 'Choose', 'Stopped')";

    /// <summary>Adds requests, all or none; with an idempotency key that was used before, gives those made then.</summary>
    /// <exception cref="BadInputException">A source that is not there.</exception>
    public IReadOnlyList<RequestEntry> Create(IReadOnlyList<ModelRequest> asked, string account, string? idempotencyKey) => database.Write(change =>
    {
        string? KeyOf(int k) => idempotencyKey is null ? null : $"{account}\n{idempotencyKey}\n{k}";
        if (idempotencyKey is not null && change.Read("SELECT id FROM request WHERE idempotency_key = @key", r => r.GetString(0), ("@key", KeyOf(0))).Count > 0)
        {
            var earlier = Enumerable.Range(0, asked.Count).SelectMany(k => change.Read($"{Selection} WHERE r.idempotency_key = @key", Entry, ("@key", KeyOf(k)))).ToArray();
            return earlier.Length == asked.Count ? earlier : throw new CheckFailedException("Idempotency-Key", "a new one for other content", "one that was used");
        }

        return asked.Select((a, k) => Add(change, a, account, KeyOf(k))).ToArray();
    });

    public RequestEntry? Find(string id) => database.ReadOne($"{Selection} WHERE r.id = @id", Entry, ("@id", id));

    /// <summary>Newest first; ids sort by time.</summary>
    public IReadOnlyList<RequestEntry> List(int most, string? before = null, RequestState? state = null) => database.Read(
        $"{Selection} WHERE (CAST(@before AS TEXT) IS NULL OR r.id < @before) AND (CAST(@state AS TEXT) IS NULL OR {StateNow} = @state) ORDER BY r.id DESC LIMIT @most",
        Entry,
        ("@before", before),
        ("@state", state?.ToString()),
        ("@most", most));

    /// <summary>Puts other content into a request that has no job yet; null when it has one, or is cancelled.</summary>
    public RequestEntry? Replace(string id, ModelRequest asked, string account) => database.Write(change =>
    {
        if (change.Execute(
            $"""
            UPDATE request SET state = 'Waiting', purpose = @purpose, anatomy = @anatomy, side = @side, scale = @scale, plan = @plan, profile = @profile, requester = @requester, needed_by = @needed,
            patient_key = @patient, source_id = @source, note = @note, findings = '[]', candidates = '[]', version = version + 1 WHERE id = @id AND job_id IS NULL AND {Open}
            """,
            [("@id", id), .. Values(asked)]) == 0)
            return null;
        events.Append(change, new("request.changed", id, account));
        return Settle(change, id);
    });

    /// <summary>Gives a request without a job a source; null when it has one, or is cancelled.</summary>
    /// <exception cref="BadInputException">No such source.</exception>
    public RequestEntry? Choose(string id, string sourceId, string account) => database.Write(change =>
    {
        JobStore.RequireSource(change, sourceId);
        if (change.Execute($"UPDATE request SET source_id = @source, state = 'Waiting', version = version + 1 WHERE id = @id AND job_id IS NULL AND {Open}", ("@source", sourceId), ("@id", id)) == 0)
            return null;
        events.Append(change, new("request.source-chosen", id, account, Detail: $"source {sourceId[..12]}"));
        return Settle(change, id);
    });

    /// <summary>Cancels a request, and its job if that has not ended; null when it has ended.</summary>
    public RequestEntry? Cancel(string id, string account) => database.Write(change =>
    {
        if (Find(change, id) is not { } request)
            return null;
        var changed = request.JobId is { } job
            ? jobs.Cancel(change, job, account) is not null
            : change.Execute($"UPDATE request SET state = 'Cancelled', version = version + 1 WHERE id = @id AND {Open}", ("@id", id)) > 0;
        if (!changed)
            return null;
        events.Append(change, new("request.cancelled", id, account));
        return Find(change, id);
    });

    /// <summary>Takes a failed or cancelled request up again; null when it is neither.</summary>
    public RequestEntry? Retry(string id, string account) => database.Write(change =>
    {
        if (Find(change, id) is not { } request)
            return null;
        var changed = request.JobId is { } job
            ? jobs.Retry(change, job, account) is not null
            : change.Execute("UPDATE request SET state = 'Waiting', version = version + 1 WHERE id = @id AND state = 'Cancelled'", ("@id", id)) > 0;
        if (!changed)
            return null;
        events.Append(change, new("request.retried", id, account));
        return request.JobId is null ? Settle(change, id) : Find(change, id);
    });

    /// <summary>What each source that could be meant says against a request; nothing is kept.</summary>
    public IReadOnlyList<SourceFindings> Judge(ModelRequest asked) =>
        [.. SourcesFor(asked.Job, database.Read).Select(s => new SourceFindings(s.Id, SourceMatch.Judge(asked.Job, s)))];

    public bool HasSource(string id) => database.Read("SELECT 1 FROM source WHERE id = @id", _ => true, ("@id", id)).Count > 0;

    /// <summary>Looks for sources of requests that wait for one.</summary>
    public void MatchWaiting()
    {
        // Most rounds there is nothing: no transaction is begun for that.
        if (database.Read("SELECT 1 FROM request WHERE job_id IS NULL AND (state IN ('Waiting', 'Choose') OR (state = 'Stopped' AND source_id IS NULL)) LIMIT 1", _ => true).Count == 0)
            return;
        database.Write(change =>
        {
            foreach (var id in change.Read("SELECT id FROM request WHERE job_id IS NULL AND (state IN ('Waiting', 'Choose') OR (state = 'Stopped' AND source_id IS NULL)) ORDER BY id", r => r.GetString(0)))
                Settle(change, id);
        });
    }

    private static RequestEntry? Find(DatabaseChange change, string id) => change.Read($"{Selection} WHERE r.id = @id", Entry, ("@id", id)) is [var found] ? found : null;

    private RequestEntry Add(DatabaseChange change, ModelRequest asked, string account, string? key)
    {
        if (asked.Job.SourceId is { } source)
            JobStore.RequireSource(change, source);
        var now = clock.GetUtcNow();
        var id = Guid.CreateVersion7(now).ToString("N");
        change.Execute(
            """
            INSERT INTO request (id, state, purpose, anatomy, side, scale, plan, profile, requester, needed_by, patient_key, source_id, note, created_at, created_by, idempotency_key)
            VALUES (@id, 'Waiting', @purpose, @anatomy, @side, @scale, @plan, @profile, @requester, @needed, @patient, @source, @note, @at, @by, @key)
            """,
            [("@id", id), ("@at", RecordTime.Text(now)), ("@by", account), ("@key", key), .. Values(asked)]);
        events.Append(change, new("request.created", id, account, Detail: $"plan {asked.Job.Plan}"));
        return Settle(change, id);
    }

    /// <summary>Finds the source of a request and begins its job, or notes why not.</summary>
    private RequestEntry Settle(DatabaseChange change, string id)
    {
        var request = Find(change, id)!;
        var asked = request.Request.Job;
        var judged = SourcesFor(asked, change.Read).Select(s => (Source: s, Findings: SourceMatch.Judge(asked, s))).ToArray();
        var fitting = judged.Where(j => !SourceMatch.IsContradiction(j.Findings)).ToArray();
        switch (fitting)
        {
            case [var (only, findings)]:
                Begin(change, request, only.Id, findings);
                break;
            case [] when judged.Length > 0:
                Note(change, request, RequestState.Stopped, judged[^1].Findings, []);
                break;
            case []:
                break;
            default:
                Note(change, request, RequestState.Choose, [], [.. fitting.Select(f => f.Source.Id)]);
                break;
        }

        return Find(change, id)!;
    }

    private delegate IReadOnlyList<SourceEntry> SourceReader(string sql, Func<DbDataReader, SourceEntry> entry, params ReadOnlySpan<(string Name, object? Value)> values);

    private static IReadOnlyList<SourceEntry> SourcesFor(JobRequest asked, SourceReader read) => asked.SourceId is { } source
        ? read($"SELECT {SourceStore.Columns} FROM source WHERE id = @id", SourceStore.Entry, ("@id", source))
        : read($"SELECT {SourceStore.Columns} FROM source WHERE patient_key = @patient AND replaced_by IS NULL AND expired_at IS NULL ORDER BY filed_at, id", SourceStore.Entry, ("@patient", asked.PatientKey));

    private void Begin(DatabaseChange change, RequestEntry request, string source, IReadOnlyList<Finding> findings)
    {
        var job = jobs.Create(change, request.Request.Job with { SourceId = source, RequestId = request.Id }, request.CreatedBy);
        change.Execute(
            "UPDATE request SET source_id = @source, job_id = @job, findings = @findings, candidates = '[]', version = version + 1 WHERE id = @id",
            ("@source", source), ("@job", job.Id), ("@findings", Text(findings)), ("@id", request.Id));
        events.Append(change, new("request.matched", request.Id, Detail: $"source {source[..12]}, job {job.Id}"));
        foreach (var caution in findings)
            events.Append(change, new("request.caution", request.Id, Code: caution.Code, Detail: caution.Message));
    }

    private void Note(DatabaseChange change, RequestEntry request, RequestState state, IReadOnlyList<Finding> findings, IReadOnlyList<string> candidates)
    {
        if (request.State == state && request.Candidates.SequenceEqual(candidates))
            return;
        change.Execute(
            "UPDATE request SET state = @state, findings = @findings, candidates = @candidates, version = version + 1 WHERE id = @id",
            ("@state", state.ToString()), ("@findings", Text(findings)), ("@candidates", JsonSerializer.Serialize(candidates)), ("@id", request.Id));
        if (state == RequestState.Choose)
            events.Append(change, new("request.choose", request.Id, Detail: $"{candidates.Count} sources fit"));
        foreach (var stop in findings.Where(f => f.Severity == Severity.Stop))
            events.Append(change, new("request.stopped", request.Id, Code: stop.Code, Detail: stop.Message));
    }

    private static (string, object?)[] Values(ModelRequest asked) => [.. asked.Job.Values(), ("@note", asked.Note)];

    private static string Text(IReadOnlyList<Finding> findings) => JsonSerializer.Serialize(findings);

    private static RequestEntry Entry(DbDataReader row)
    {
        string? Text(int column) => row.IsDBNull(column) ? null : row.GetString(column);
        var asked = JobRequest.Of(row, row.GetString(0));
        var findings = JsonSerializer.Deserialize<List<Finding>>(row.GetString(14)) ?? [];
        var state = Enum.Parse<RequestState>(row.GetString(1));
        var (reason, remedy) = state switch
        {
            RequestState.Stopped => (string.Join(' ', findings.Where(f => f.Severity == Severity.Stop).Select(f => f.Message)), findings.FirstOrDefault(f => f.Severity == Severity.Stop)?.Remedy),
            RequestState.Choose => ("Several sources fit.", "Choose one of the candidates."),
            RequestState.Waiting => ("No source of this patient is here yet.", "Send the images, or choose a source."),
            _ => (Text(20), Text(21)),
        };
        return new(
            row.GetString(0), state, new(asked, Text(12)), Text(13), findings, JsonSerializer.Deserialize<List<string>>(row.GetString(15)) ?? [], RecordTime.Parse(row.GetString(16)), row.GetString(17),
            string.Create(CultureInfo.InvariantCulture, $"{row.GetInt32(18)}.{(row.IsDBNull(19) ? 0 : row.GetInt32(19))}"), reason, remedy);
    }
}
