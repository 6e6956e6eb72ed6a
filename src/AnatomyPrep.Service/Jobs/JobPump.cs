using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Requests;
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
internal sealed class JobPump(JobStore jobs, RequestStore requests, JobRunner runner, DiskGuard disk, ServiceSettings settings, ISchedulerFactory schedulers, IEventSink events, TimeProvider clock, ILogger<JobPump> log) : BackgroundService
{
    private static readonly TimeSpan s_pause = TimeSpan.FromMilliseconds(300);

    private readonly int _workers = settings.Jobs.Workers;

    public static string JobOf(JobKey key) => key.Name.Split('.')[0];

    public override Task StartAsync(CancellationToken cancellationToken)
    {
        jobs.Recover();
        foreach (var job in jobs.Queued())
            runner.RemoveAttempts(job.Id, job.Attempt);
        return base.StartAsync(cancellationToken);
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var wasFull = false;
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                await Task.Delay(s_pause, stoppingToken).ConfigureAwait(false);
                jobs.MatchWaiting();
                requests.MatchWaiting();
                if (disk.IsFull != wasFull)
                    events.Append(new((wasFull = !wasFull) ? "disk.full" : "disk.freed", null, Detail: "no job is started while less than storage.leastFreeMegabytes is free"));
                if (!wasFull)
                    await ScheduleAsync(stoppingToken).ConfigureAwait(false);
            }
            catch (OperationCanceledException)
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
        var inFlight = jobs.List(_workers, state: JobState.Running).Count;
        foreach (var job in jobs.Queued())
            if (await scheduler.Exists(KeyOf(job), stopping).ConfigureAwait(false))
                inFlight++;
            else
                waiting.Add(job);
        foreach (var job in InTurn(waiting).Take(Math.Max(0, _workers - inFlight)))
        {
            var detail = JobBuilder.Create<ModelJob>().WithIdentity(KeyOf(job)).RequestRecovery(true).Build();
            var trigger = TriggerBuilder.Create(clock).WithIdentity(KeyOf(job).Name).StartNow().Build();
            await scheduler.ScheduleJob(detail, trigger, cancellationToken: stopping).ConfigureAwait(false);
        }
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
