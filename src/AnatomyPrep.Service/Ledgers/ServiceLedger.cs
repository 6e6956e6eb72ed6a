using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Ledgers;

/// <summary>The ledger of this service: begun at the first start, checked quickly at every start, told of every event.</summary>
/// <remarks>
/// Order: an event is in the ledger before the transaction of its effect ends. A crash between the two leaves an event without
/// effect, never an effect without event; <see cref="Settle"/> finds and names those. A ledger that refuses keeps the effect from
/// happening. Refused accesses and the like, which anybody can cause, are written singly up to a number a minute and then counted.
/// </remarks>
public sealed class ServiceLedger : IEventGate, IDisposable
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS event_in_ledger (id TEXT PRIMARY KEY);
        CREATE TABLE IF NOT EXISTS event_owed (id TEXT PRIMARY KEY, at TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT, actor TEXT, code TEXT, detail TEXT);
        """;

    private const string JobPrefix = "job.";
    private const int OthersAMinute = 30;
    private const int TailEvents = 500;

    /// <summary>Of these a stranger can cause as many as he likes.</summary>
    private static readonly string[] s_others = ["access.refused", "session.refused", "receiver.refused", "arrival.refused"];

    private static readonly string[] s_takesNothing =
        [Refusals.ClockSetBack, Refusals.DiskFull, Refusals.DatabaseReadOnly, Refusals.DatabaseBusy, Refusals.DatabaseDamaged, Refusals.DatabaseUnreachable];

    private readonly TimeProvider _clock;
    private readonly Lock _counting = new();
    private readonly Dictionary<string, (long Minute, int Count)> _counts = [];

    /// <exception cref="LedgerRefusedException">The ledger there is not whole, or cannot be opened.</exception>
    public ServiceLedger(DataFolder folder, ServiceSettings settings, TimeProvider clock)
    {
        _clock = clock;
        Place = LedgerPlace.Of(settings.Ledger.Folder ?? Path.Combine(folder.Root, "ledger"));
        if (IsThere(Place))
        {
            Ledger = Ledger.Open(Place, clock);
            LedgerChecks.OnStart(Ledger);
        }
        else
        {
            DataFolder.CreateOwned(Place.Folder);
            Ledger = Ledger.CreateForService(Place with { Postgres = Place.Postgres ?? settings.Ledger.Postgres }, clock);
            Place = Ledger.Place;
        }
    }

    public Ledger Ledger { get; }

    public LedgerPlace Place { get; }

    /// <summary>Why the ledger took nothing when the service last had something for it; null when it took it.</summary>
    public LedgerRefusedException? Refusal { get; private set; }

    /// <summary>The model that a job makes, as the ledger names it.</summary>
    public static string ModelOf(string job) => $"M-{job}/1";

    /// <summary>The job that made a first revision; null for a model of another origin.</summary>
    public static string? JobOf(string model) =>
        model.StartsWith("M-", StringComparison.Ordinal) && model.EndsWith("/1", StringComparison.Ordinal) ? model[2..^2] : null;

    public void Admit(DatabaseChange change, ServiceEvent happened)
    {
        var id = LedgerEvent.NewId();
        change.Execute("INSERT INTO event_in_ledger (id) VALUES (@id)", ("@id", id));
        Record(id, happened);
    }

    public void AdmitOrOwe(DatabaseChange change, ServiceEvent happened)
    {
        var more = 0;
        if (s_others.Contains(happened.Kind) && !IsWithinLimit(happened.Kind, out more))
            return;
        if (more > 0)
            Owe(change, new(happened.Kind, null, Detail: $"{more} more in a minute before this one, not written singly; the service's own list has them"));
        var id = LedgerEvent.NewId();
        change.Execute("INSERT INTO event_in_ledger (id) VALUES (@id)", ("@id", id));
        try
        {
            Record(id, happened);
        }
        catch (LedgerRefusedException)
        {
            Owe(change, happened);
        }
    }

    /// <summary>
    /// Takes what is owed, and names the events whose effect never came: a crash stood between them. Both come to nothing on a quiet service.
    /// </summary>
    /// <param name="olderThan">Events younger than this may still be on their way.</param>
    internal void Settle(Database database, TimeSpan olderThan)
    {
        foreach (var owed in database.Read("SELECT id, at, kind, subject, actor, code, detail FROM event_owed ORDER BY at, id", Owed))
        {
            Take([owed]);
            database.Write(change => change.Execute("DELETE FROM event_owed WHERE id = @id", ("@id", owed.Id)));
        }

        // Asked again here, so that a quiet service does not stay unready for ever.
        if (Refusal is { } refusal)
            Take([new EventDraft(LedgerEventKind.ServiceEvent, new ServiceEventBody("ledger.takes-again", null, Code: refusal.Code))]);

        var until = _clock.GetUtcNow() - olderThan;
        var told = new HashSet<string>();
        var open = new List<(string Id, string What)>();
        for (var position = Math.Max(0, Ledger.Size() - TailEvents); Ledger.Event(position) is { Content: var e }; position++)
        {
            if (e.Kind != LedgerEventKind.ServiceEvent)
                continue;
            var body = e.Read<ServiceEventBody>();
            if (body.What == WithoutEffect)
                told.Add(body.Subject!);
            else if (e.At < until && database.Read("SELECT 1 FROM event_in_ledger WHERE id = @id", _ => true, ("@id", e.Id)).Count == 0)
                open.Add((e.Id, body.What));
        }

        foreach (var (id, what) in open.Where(o => !told.Contains(o.Id)))
            Take([new EventDraft(LedgerEventKind.ServiceEvent, new ServiceEventBody(WithoutEffect, id, Detail: $"the service ended before {what} took effect"))]);
    }

    /// <summary>Appends with the ledger's own key.</summary>
    /// <exception cref="LedgerRefusedException">It does not take them.</exception>
    internal void Take(IReadOnlyList<EventDraft> drafts)
    {
        try
        {
            Ledger.RecordAsLedger(drafts);
            Refusal = null;
        }
        catch (LedgerRefusedException e)
        {
            // What is wrong with one event says nothing about the next one.
            if (s_takesNothing.Contains(e.Code))
                Refusal = e;
            throw;
        }
    }

    internal const string WithoutEffect = "event.without-effect";

    public void Dispose() => Ledger.Dispose();

    private static bool IsThere(LedgerPlace place) => place.Postgres is not null || File.Exists(place.Database);

    private void Record(string id, ServiceEvent happened)
    {
        var drafts = new List<EventDraft>();
        var model = happened.Kind.StartsWith(JobPrefix, StringComparison.Ordinal) ? ModelOf(happened.Subject!) : null;
        if (happened.Request is { } request)
            drafts.Add(new EventDraft(LedgerEventKind.Request, new RequestBody(request, Account: happened.Actor), [model!]));
        else if (model is not null && Ledger.Model(model) is null)
            model = null;
        drafts.Add(new EventDraft(
            LedgerEventKind.ServiceEvent,
            new ServiceEventBody(happened.Kind, happened.Subject, happened.Actor, happened.Code, happened.Detail),
            model is null ? null : [model],
            Id: id));
        Take(drafts);
    }

    private void Owe(DatabaseChange change, ServiceEvent happened)
    {
        var id = LedgerEvent.NewId();
        change.Execute("INSERT INTO event_in_ledger (id) VALUES (@id)", ("@id", id));
        change.Execute(
            "INSERT INTO event_owed (id, at, kind, subject, actor, code, detail) VALUES (@id, @at, @kind, @subject, @actor, @code, @detail)",
            ("@id", id), ("@at", RecordTime.Text(_clock.GetUtcNow())), ("@kind", happened.Kind), ("@subject", happened.Subject), ("@actor", happened.Actor),
            ("@code", happened.Code), ("@detail", happened.Detail));
    }

    private static EventDraft Owed(System.Data.Common.DbDataReader row)
    {
        string? Text(int column) => row.IsDBNull(column) ? null : row.GetString(column);
        var body = new ServiceEventBody(row.GetString(2), Text(3), Text(4), Text(5), string.Join("; ", new[] { Text(6), $"happened at {row.GetString(1)}" }.Where(t => t is not null)));
        return new EventDraft(LedgerEventKind.ServiceEvent, body, Id: row.GetString(0));
    }

    /// <summary>Counts an event that others can cause; false when there were too many in this minute.</summary>
    /// <param name="more">How many of an earlier minute were only counted.</param>
    private bool IsWithinLimit(string kind, out int more)
    {
        var minute = _clock.GetUtcNow().ToUnixTimeSeconds() / 60;
        lock (_counting)
        {
            var (of, count) = _counts.GetValueOrDefault(kind);
            more = of == minute ? 0 : Math.Max(0, count - OthersAMinute);
            count = of == minute ? count + 1 : 1;
            _counts[kind] = (minute, count);
            return count <= OthersAMinute;
        }
    }
}
