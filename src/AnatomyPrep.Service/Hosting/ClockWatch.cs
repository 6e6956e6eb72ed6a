using System.Globalization;
using AnatomyPrep.Service.Events;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Hosting;

/// <summary>Notices when the machine's clock jumps: it is laid beside one that only ever runs on.</summary>
/// <remarks>A machine that slept looks like one whose clock jumped ahead. A jump while the service is down cannot be seen here; the ledger refuses what is older than its newest event.</remarks>
internal sealed class ClockWatch(EventLog events, TimeProvider clock, ILogger<ClockWatch> log) : BackgroundService
{
    /// <summary>What setting a clock by the network corrects without anybody noticing.</summary>
    private static readonly TimeSpan s_tolerance = TimeSpan.FromMinutes(1);
    private static readonly TimeSpan s_every = TimeSpan.FromSeconds(5);

    private readonly (DateTimeOffset At, long Tick) _start = (clock.GetUtcNow(), clock.GetTimestamp());

    /// <summary>How far the clock is from where it would be had it only run on since the start; 0 within a minute.</summary>
    public TimeSpan Off => clock.GetUtcNow() - _start.At - clock.GetElapsedTime(_start.Tick) is var off && off.Duration() > s_tolerance ? off : TimeSpan.Zero;

    /// <summary>How often it jumped since the start.</summary>
    public int Jumps { get; private set; }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var known = TimeSpan.Zero;
        using var timer = new PeriodicTimer(s_every);
        try
        {
            while (await timer.WaitForNextTickAsync(stoppingToken).ConfigureAwait(false))
            {
                var off = Off;
                if ((off - known).Duration() > s_tolerance)
                    Tell(off - known, off);
                known = off;
            }
        }
        catch (OperationCanceledException)
        {
            // The service stops.
        }
    }

    private void Tell(TimeSpan jump, TimeSpan off)
    {
        var seconds = Math.Round(jump.Duration().TotalSeconds).ToString(CultureInfo.InvariantCulture);
        var what = $"by {seconds} s {(jump > TimeSpan.Zero ? "ahead" : "back")}{(off == TimeSpan.Zero ? "; it runs as at the start again" : "")}";
        Jumps++;
        log.LogError("The machine's clock jumped {What}", what);
        try
        {
            events.Append(new("clock.jumped", null, Detail: what));
        }
        catch (System.Data.Common.DbException)
        {
            // The log has said it.
        }
    }
}
