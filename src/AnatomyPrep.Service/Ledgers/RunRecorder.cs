using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Jobs;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Ledgers;

/// <summary>Puts a finished run into the ledger before its job is published.</summary>
/// <remarks>
/// Ids of these events come from job and run, so that an attempt made again after a crash, which gives the same run, is taken once.
/// </remarks>
internal sealed class RunRecorder(ServiceLedger ledger, IEventSink events, IHostApplicationLifetime lifetime, ILogger<RunRecorder> log)
{
    private static readonly TimeSpan s_pause = TimeSpan.FromSeconds(2);

    /// <summary>Source and run of the job's model become events, with the job's account as preparer.</summary>
    public void Finished(JobEntry job, string runFolder)
    {
        var (source, run, request) = RunEntry.Of(runFolder, job.CreatedBy);
        var model = ServiceLedger.ModelOf(job.Id);
        var facts = ledger.Ledger.Model(model);
        var drafts = new List<EventDraft>();
        if (facts is null)
            drafts.Add(new(LedgerEventKind.Request, new RequestBody(request with { PatientPseudonym = null }, Account: job.CreatedBy), [model], "Asked for before this service kept a ledger", Id: IdOf("request", job.Id)));
        if (facts?.Source != source.SourceSha256 && facts is null or { Stage: < ModelStage.Prepared })
            drafts.Add(new(LedgerEventKind.SourceReceived, source, [model], Id: IdOf("source", job.Id, source.SourceSha256)));
        drafts.Add(new(LedgerEventKind.Run, run, [model], Id: IdOf("run", job.Id, run.Run)));
        try
        {
            ledger.Take(drafts);
        }
        catch (LedgerRefusedException e) when (e.Code == Refusals.IllegalMove)
        {
            // A stop finding, or a model that was released meanwhile: the job ends, its model stays where it is.
            events.Append(new("run.not-recorded", job.Id, Detail: e.Message));
        }
    }

    /// <summary>Does what the ledger must be able to take, again and again while it cannot: disk full, server away, clock set back.</summary>
    /// <param name="waits">Told of the first refusal.</param>
    public void UntilTaken(Action work, Action<LedgerRefusedException> waits)
    {
        for (var told = false; ; told = true)
        {
            try
            {
                work();
                return;
            }
            catch (LedgerRefusedException e) when (!lifetime.ApplicationStopping.IsCancellationRequested)
            {
                if (!told)
                {
                    log.LogError("The ledger does not take an event ({Code}); it is tried again", e.Code);
                    waits(e);
                }

                lifetime.ApplicationStopping.WaitHandle.WaitOne(s_pause);
            }
        }
    }

    private static string IdOf(params ReadOnlySpan<string> parts) =>
        Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(System.Text.Encoding.UTF8.GetBytes(string.Join('\n', parts))))[..32];
}
