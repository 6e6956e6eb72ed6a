using System.Data.Common;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Intake;

/// <summary>Runs the intake in rounds. A round that fails is tried again; what it could not do is seen in the events.</summary>
internal sealed class IntakeService(SeriesIntake intake, WatchedFolder watched, ServiceSettings settings, IEventSink events, ILogger<IntakeService> log) : BackgroundService
{
    public override Task StartAsync(CancellationToken cancellationToken)
    {
        // Before the receiver begins: what lies in "receiving" now is nobody's any more.
        intake.Recover();
        return base.StartAsync(cancellationToken);
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var pause = TimeSpan.FromSeconds(Math.Min(1, Math.Min(settings.Intake.QuietSeconds, settings.Intake.SettleSeconds) / 4));
        var failed = false;
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                await Task.Delay(pause, stoppingToken).ConfigureAwait(false);
                await Task.Run(() => Round(new RunContext(cancellation: stoppingToken)), stoppingToken).ConfigureAwait(false);
                failed = false;
            }
            catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
            {
                return;
            }
            catch (Exception e)
            {
                // Kind only: messages may hold the path of a watched folder, and that a name.
                log.LogError("Intake failed: {Kind}", e.GetType().Name);
                failed = failed || Tell(e);
            }
        }
    }

    /// <summary>False when the database, of which the failure may be, does not take it.</summary>
    private bool Tell(Exception failure)
    {
        try
        {
            events.Append(new("intake.failed", null, Detail: $"{failure.GetType().Name}; it is tried again"));
            return true;
        }
        catch (DbException)
        {
            return false;
        }
    }

    private void Round(RunContext run)
    {
        watched.Look(run.Cancellation);
        intake.TakeArrived(run);
        intake.FileQuiet(run);
    }
}
