using System.Data.Common;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Backups;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Quartz;

namespace AnatomyPrep.Service.Ledgers;

/// <summary>How the last full check of the ledger came out.</summary>
/// <param name="Failures">Code and place of each thing that does not hold.</param>
public sealed record LedgerState(DateTimeOffset At, bool Holds, long Size, string? Root, IReadOnlyList<string> Failures);

/// <summary>The full check at every start and each night, the replays of the night, and what the ledger is owed.</summary>
/// <remarks>
/// The check reads through a connection of its own, so that nobody waits for it. Its outcome is an event, and a failed one takes the
/// service out of /health/ready until a check holds again.
/// </remarks>
public sealed class LedgerWatch(
    ServiceLedger ledger, ProgramChild program, ServiceSettings settings, DataFolder folder, Database database, JobStore jobs, EventLog events, TimeProvider clock, ILogger<LedgerWatch> log) : BackgroundService
{
    private const int MostJobs = 500;

    private static readonly TimeSpan s_settleEvery = TimeSpan.FromSeconds(20);
    private static readonly TimeSpan s_young = TimeSpan.FromSeconds(10);

    private readonly SemaphoreSlim _checking = new(1);

    /// <summary>Null until the first check of this process has ended.</summary>
    public LedgerState? State { get; private set; }

    /// <summary>Checks everything and records how it came out. One at a time.</summary>
    public LedgerState Check(CancellationToken cancellation)
    {
        _checking.Wait(cancellation);
        try
        {
            // A folder of another connection string may lie there meanwhile: the place is the one that was opened.
            using var own = Ledger.Open(ledger.Place, clock);
            var heads = settings.Ledger.WitnessFolder is { } place ? Witness.Load(place).Where(h => h.Head.Ledger == own.Id).ToList() : [];
            var report = LedgerChecks.FullAndRecord(own, heads, new RunContext(cancellation: cancellation));
            State = new(clock.GetUtcNow(), report.Holds, report.Size, report.Root, [.. report.Failures.Select(f => $"{f.Code}: {f.Where}")]);
        }
        catch (LedgerRefusedException e)
        {
            State = new(clock.GetUtcNow(), false, 0, null, [e.Code]);
        }
        finally
        {
            _checking.Release();
        }

        if (!State.Holds)
            log.LogError("The ledger does not hold: {Failures}", string.Join(", ", State.Failures));
        return State;
    }

    /// <summary>What is done each night: check, witness, backup, replays.</summary>
    public void Night(CancellationToken cancellation)
    {
        if (Check(cancellation).Holds)
            Keep();
        foreach (var job in Sample())
        {
            cancellation.ThrowIfCancellationRequested();
            Replay(job, cancellation);
        }
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        try
        {
            await Task.Run(() => Check(stoppingToken), stoppingToken).ConfigureAwait(false);
            while (true)
            {
                await Task.Delay(s_settleEvery, stoppingToken).ConfigureAwait(false);
                Settle();
            }
        }
        catch (OperationCanceledException)
        {
            // The service stops.
        }
    }

    private void Settle()
    {
        try
        {
            ledger.Settle(database, s_young);
        }
        catch (LedgerRefusedException e)
        {
            log.LogError("The ledger does not take what it is owed ({Code}); it is tried again", e.Code);
        }
        catch (DbException e)
        {
            log.LogError("What the ledger is owed cannot be read ({Kind}); it is tried again", e.GetType().Name);
        }
    }

    private void Keep()
    {
        try
        {
            if (settings.Ledger.WitnessFolder is { } witness)
                Witness.CopyTo(ledger.Ledger, witness);
            if (settings.Ledger.BackupFolder is { } backup)
                LedgerBackup.Write(ledger.Ledger, Path.Combine(backup, $"ledger-{ledger.Ledger.Size().ToString("D10", System.Globalization.CultureInfo.InvariantCulture)}.txt"));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or LedgerRefusedException or Core.Findings.CheckFailedException)
        {
            events.Append(new("ledger.copy-failed", null, Detail: $"head or backup could not be written: {e.GetType().Name}"));
        }
    }

    /// <summary>Finished jobs, others every day and the same all day.</summary>
    private List<JobEntry> Sample()
    {
        var done = jobs.List(MostJobs, state: JobState.Done).OrderBy(j => j.Id, StringComparer.Ordinal).ToArray();
        new Random(DateOnly.FromDateTime(clock.GetUtcNow().UtcDateTime).DayNumber).Shuffle(done);
        return [.. done.Take(settings.Ledger.ReplaySample)];
    }

    /// <summary>A child makes the model again and records with the ledger's key whether the bytes are the same.</summary>
    private void Replay(JobEntry job, CancellationToken cancellation)
    {
        try
        {
            using var child = program.Work(settings.Jobs.Longest, "ledger", "replay", Artifacts.FolderOf(job, folder), "--ledger", ledger.Place.Folder);
            using var ended = cancellation.Register(child.Kill);
            // 0: the same bytes; 1: others, which is an event by then, or a record that does not hold.
            if (child.WaitForExit() is not 0 and var code && !cancellation.IsCancellationRequested && !WasReplayed(job))
                events.Append(new("replay.failed", job.Id, Detail: $"exit code {code}"));
        }
        catch (InvalidOperationException e)
        {
            events.Append(new("replay.failed", job.Id, Detail: e.GetType().Name));
        }
    }

    private bool WasReplayed(JobEntry job) =>
        ledger.Ledger.EventsOf(ServiceLedger.ModelOf(job.Id)) is [.., var last] && last.Event.Content.Kind == LedgerEventKind.Replay;
}

/// <summary>What the scheduler calls each night.</summary>
[DisallowConcurrentExecution]
internal sealed class NightlyCheck(LedgerWatch watch) : IJob
{
    public static readonly JobKey Key = new("ledger-nightly");

    public async ValueTask Execute(IJobExecutionContext context, CancellationToken cancellationToken) =>
        await Task.Factory.StartNew(() => watch.Night(cancellationToken), CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default).ConfigureAwait(false);
}
