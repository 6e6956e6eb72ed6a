using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Ledgers;
using AnatomyPrep.Service.Viewing;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Storage;

/// <summary>Something whose files expire.</summary>
/// <param name="Kind">source or result.</param>
/// <param name="Id">Of the source or the job.</param>
/// <param name="ExpiresAt">From then on; past: at the next look.</param>
/// <param name="Why">The rule.</param>
public sealed record Expiring(string Kind, string Id, DateTimeOffset ExpiresAt, string Why);

/// <summary>Removes files that are no longer to be kept: images of sources and results of jobs, each with an event before it.</summary>
/// <remarks>
/// The mark and its event are one transaction, and in the ledger; files go after it, and again at the next look if a crash stood between. What stays: rows,
/// source.json with the hash of every image, and of a result record.json, run.json and report.pdf, so that every record can still be verified.
/// A source is kept while a request or job that has not ended needs it. A model that was released is kept until the day that was signed for it, for ever
/// without one; the ledger says so, not the settings.
/// </remarks>
internal sealed class Retention(Database database, EventLog events, DataFolder folder, ServiceSettings settings, ServiceLedger ledger, VolumeCache volumes, JobStore jobs, TimeProvider clock, ClockWatch watch, ILogger<Retention> log) : BackgroundService
{
    private const string ReleaseRule = "the day signed with its release";

    private static readonly string[] s_kept = ["record.json", "run.json", "report.pdf"];
    private static readonly TimeSpan s_every = TimeSpan.FromHours(1);

    /// <summary>What expires before a time, soonest first.</summary>
    public IReadOnlyList<Expiring> Before(DateTimeOffset time) => [.. Sources().Concat(Results()).Where(e => e.ExpiresAt < time).OrderBy(e => e.ExpiresAt).ThenBy(e => e.Id, StringComparer.Ordinal)];

    /// <summary>Lets expire what is due, and finishes what an earlier look could not.</summary>
    public void Look()
    {
        // Nothing is deleted by a clock that jumped since the start.
        if (watch.Off == TimeSpan.Zero)
            foreach (var due in Before(clock.GetUtcNow()))
                Mark(due);
        foreach (var id in database.Read("SELECT id FROM source WHERE expired_at IS NOT NULL AND files_gone = 0", r => r.GetString(0)))
            Finish("source", id, () =>
            {
                volumes.Forget(id);
                Remove(Path.Combine(folder.Sources, id, SeriesIntake.ImagesFolder));
            });
        foreach (var id in database.Read("SELECT id FROM job WHERE expired_at IS NOT NULL AND files_gone = 0", r => r.GetString(0)))
            if (jobs.Find(id) is { Published: not null } job)
                Finish("job", id, () => Thin(Artifacts.FolderOf(job, folder)));
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                await Task.Run(Look, stoppingToken).ConfigureAwait(false);
                await Task.Delay(s_every, stoppingToken).ConfigureAwait(false);
            }
            catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
            {
                return;
            }
            catch (Exception e)
            {
                log.LogError("Retention: {Kind}; it is tried again", e.GetType().Name);
                await Task.Delay(TimeSpan.FromMinutes(1), stoppingToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
        }
    }

    private IEnumerable<Expiring> Sources()
    {
        if (settings.Retention.SourceDays is not { } days)
            return [];
        return database.Read(
            """
            SELECT s.id, s.filed_at, (SELECT MAX(j.ended_at) FROM job j WHERE j.source_id = s.id) FROM source s WHERE s.expired_at IS NULL
            AND NOT EXISTS (SELECT 1 FROM job j WHERE j.source_id = s.id AND j.state IN ('Waiting', 'Queued', 'Running'))
            AND NOT EXISTS (SELECT 1 FROM request r WHERE r.job_id IS NULL AND r.state IN ('Waiting', 'Choose', 'Stopped') AND (r.source_id = s.id OR r.patient_key = s.patient_key))
            """,
            r => new Expiring("source", r.GetString(0), Later(RecordTime.Parse(r.GetString(1)), r.IsDBNull(2) ? null : RecordTime.Parse(r.GetString(2))).AddDays(days), "retention.sourceDays"));
    }

    private IEnumerable<Expiring> Results()
    {
        foreach (var (id, ended) in database.Read("SELECT id, ended_at FROM job WHERE state = 'Done' AND expired_at IS NULL", r => (r.GetString(0), RecordTime.Parse(r.GetString(1)))))
        {
            var model = ledger.Ledger.Model(ServiceLedger.ModelOf(id));
            if (model?.RetainUntil is { } until)
                yield return new("result", id, new(until.AddDays(1).ToDateTime(TimeOnly.MinValue), TimeSpan.Zero), ReleaseRule);
            else if (settings.Retention.ResultDays is { } days && model is null or { Stage: < ModelStage.Released })
                yield return new("result", id, ended.AddDays(days), "retention.resultDays");
        }
    }

    private void Mark(Expiring due) => database.Write(change =>
    {
        var (table, still) = due.Kind == "source"
            ? ("source", "NOT EXISTS (SELECT 1 FROM job j WHERE j.source_id = source.id AND j.state IN ('Waiting', 'Queued', 'Running'))")
            : ("job", "state = 'Done'");
        // Looked at again here: a job may have been asked for since.
        if (change.Execute($"UPDATE {table} SET expired_at = @now, files_gone = 0 WHERE id = @id AND expired_at IS NULL AND {still}", ("@now", RecordTime.Text(clock.GetUtcNow())), ("@id", due.Id)) > 0)
            events.Append(change, new($"{table}.expired", due.Id, Detail: $"by {due.Why}; its record is kept"));
    });

    private void Finish(string table, string id, Action remove)
    {
        try
        {
            remove();
            database.Write(change => change.Execute($"UPDATE {table} SET files_gone = 1 WHERE id = @id AND expired_at IS NOT NULL", ("@id", id)));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            log.LogWarning("Files of {Table} {Id} could not be removed: {Kind}; it is tried again", table, id, e.GetType().Name);
        }
    }

    private static void Remove(string folder)
    {
        if (Directory.Exists(folder))
            Directory.Delete(folder, recursive: true);
    }

    private static void Thin(string result)
    {
        if (!Directory.Exists(result))
            return;
        foreach (var inner in Directory.GetDirectories(result))
            Directory.Delete(inner, recursive: true);
        foreach (var file in Directory.GetFiles(result).Where(f => !s_kept.Contains(Path.GetFileName(f))))
            File.Delete(file);
    }

    private static DateTimeOffset Later(DateTimeOffset filed, DateTimeOffset? used) => used > filed ? used.Value : filed;
}
