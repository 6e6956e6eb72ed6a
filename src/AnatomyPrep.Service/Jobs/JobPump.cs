using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Ledgers;
using AnatomyPrep.Service.Requests;
using AnatomyPrep.Service.Storage;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Quartz;

namespace AnatomyPrep.Service.Jobs;

/// <summary>What the engine calls for a job that is due.</summary>
internal sealed class ModelJob(JobRunner runner) : IJob
{
    public async ValueTask Execute(IJobExecutionContext context, CancellationToken cancellationToken) =>
        await Task.Factory.StartNew(
            () => runner.Run(JobPump.JobOf(context.JobDetail.Key)), CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default).ConfigureAwait(false);
}

/// <summary>Sees to it that every queued job is known to the engine, whatever the engine has lost or run already.</summary>
internal sealed class JobPump(JobStore jobs, RequestStore requests, SourceStore sources, JobRunner runner, DataFolder folder, DiskGuard disk, ServiceSettings settings, ISchedulerFactory schedulers, IEventSink events, TimeProvider clock, ClockWatch watch, ILogger<JobPump> log) : BackgroundService
{
    private static readonly TimeSpan s_pause = TimeSpan.FromMilliseconds(300);
    private static readonly TimeSpan s_atOnce = TimeSpan.FromMinutes(1);
    private static readonly TimeSpan s_nightly = TimeSpan.FromHours(25);

    // The peak of a whole "prepare" grows with samples and mesh: 498 MB for 67 million samples, 611 MB for 37 million (docs/performance.md).
    private const long BaseMegabytes = 400;
    private const long BytesPerSample = 8;

    private readonly int _workers = settings.Jobs.Workers;
    private readonly Dictionary<string, (int Attempt, DateTimeOffset? Beat, long Since)> _seen = new(StringComparer.Ordinal);

    public static string JobOf(JobKey key) => key.Name.Split('.')[0];

    public override Task StartAsync(CancellationToken cancellationToken)
    {
        jobs.Recover(folder.Node);
        foreach (var job in jobs.Queued())
            runner.RemoveAttempts(job.Id, job.Attempt);
        return base.StartAsync(cancellationToken);
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var wasFull = false;
        var jumps = -1;
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                await Task.Delay(s_pause, stoppingToken).ConfigureAwait(false);
                if (watch.Jumps is var seen && seen != jumps)
                {
                    await MendTriggersAsync(stoppingToken).ConfigureAwait(false);
                    jumps = seen;
                }

                jobs.MatchWaiting();
                requests.MatchWaiting();
                ReleaseStale();
                if (disk.IsFull != wasFull)
                    events.Append(new((wasFull = !wasFull) ? "disk.full" : "disk.freed", null, Detail: "no job is started while less than storage.leastFreeMegabytes is free"));
                if (!wasFull)
                    await ScheduleAsync(stoppingToken).ConfigureAwait(false);
            }
            catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
            {
                return;
            }
            catch (Exception e)
            {
                log.LogError(e, "Jobs could not be scheduled; it is tried again");
            }
        }
    }

    private async Task ScheduleAsync(CancellationToken stopping)
    {
        var scheduler = await schedulers.GetScheduler(stopping).ConfigureAwait(false);
        var waiting = new List<JobEntry>();
        var inFlight = jobs.Running().Count(j => settings.Storage.Database is null || j.Node == folder.Node);
        foreach (var job in jobs.Queued())
            if (await scheduler.Exists(KeyOf(job), stopping).ConfigureAwait(false))
                inFlight++;
            else
                waiting.Add(job);
        foreach (var job in InTurn(waiting).Take(Math.Max(0, _workers - inFlight)))
        {
            if (NeedsMegabytes(job) is var needed && needed > settings.Jobs.MemoryMegabytes)
            {
                jobs.Refuse(job.Id, $"it would take about {needed} MB, and a worker has {settings.Jobs.MemoryMegabytes}", "Raise jobs.memoryMegabytes, or ask for a coarser or shorter series.");
                continue;
            }

            if (sources.Find(job.Request.SourceId!) is { ExpiredAt: not null })
            {
                jobs.Refuse(job.Id, "the images of its source have expired", "Send the images again, then retry it.");
                continue;
            }

            var detail = JobBuilder.Create<ModelJob>().WithIdentity(KeyOf(job)).RequestRecovery(true).Build();
            var trigger = TriggerBuilder.Create(clock).WithIdentity(KeyOf(job).Name).StartNow().Build();
            try
            {
                await scheduler.ScheduleJob(detail, trigger, cancellationToken: stopping).ConfigureAwait(false);
            }
            catch (ObjectAlreadyExistsException)
            {
                // Another node was quicker.
            }
        }
    }

    /// <summary>What the engine laid out under a clock that was ahead would wait for as long as it was: it is laid out anew, at the start and after each jump.</summary>
    private async Task MendTriggersAsync(CancellationToken stopping)
    {
        var scheduler = await schedulers.GetScheduler(stopping).ConfigureAwait(false);
        var now = clock.GetUtcNow();
        foreach (var (name, longest) in jobs.Queued().Select(j => (KeyOf(j).Name, s_atOnce)).Append((NightlyCheck.Key.Name, s_nightly)))
            if (await scheduler.GetTrigger(new TriggerKey(name), stopping).ConfigureAwait(false) is { NextFireTimeUtc: { } next } trigger && next > now + longest)
                await scheduler.RescheduleJob(trigger.Key, trigger.GetTriggerBuilder().StartAt(now).Build(), stopping).ConfigureAwait(false);
    }

    private long NeedsMegabytes(JobEntry job) => BaseMegabytes + ((sources.Find(job.Request.SourceId!)?.Samples ?? 0) * BytesPerSample >> 20);

    /// <summary>Takes over what other nodes ran that give no sign any more. Measured by this node's own clock: clocks of nodes differ.</summary>
    private void ReleaseStale()
    {
        if (settings.Storage.Database is null)
            return;
        var running = jobs.Running();
        foreach (var gone in _seen.Keys.Except(running.Select(j => j.Id)).ToArray())
            _seen.Remove(gone);
        foreach (var job in running.Where(j => j.Node != folder.Node))
            if (!_seen.TryGetValue(job.Id, out var seen) || (seen.Attempt, seen.Beat) != (job.Attempt, job.HeartbeatAt))
                _seen[job.Id] = (job.Attempt, job.HeartbeatAt, clock.GetTimestamp());
            else if (clock.GetElapsedTime(seen.Since).TotalSeconds > settings.Storage.StaleSeconds)
                jobs.Release(job);
    }

    // A job that is queued again is another one to the engine, so that neither can stand in the other's way.
    private static JobKey KeyOf(JobEntry job) => new($"{job.Id}.{job.Attempt}");

    /// <summary>What is needed sooner comes first; of the rest everybody's first, then everybody's second, and so on.</summary>
    private IEnumerable<JobEntry> InTurn(IEnumerable<JobEntry> waiting)
    {
        var today = DateOnly.FromDateTime(clock.GetUtcNow().UtcDateTime);
        return waiting.GroupBy(j => j.CreatedBy).SelectMany(g => g.OrderByDescending(j => j.Request.Priority(today)).ThenBy(j => j.Id, StringComparer.Ordinal).Select((job, turn) => (job, turn)))
            .OrderByDescending(x => x.job.Request.Priority(today)).ThenBy(x => x.turn).ThenBy(x => x.job.Id, StringComparer.Ordinal).Select(x => x.job);
    }
}
