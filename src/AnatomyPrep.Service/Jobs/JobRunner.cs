using System.Data.Common;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Viewing;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Jobs;

/// <summary>Runs one attempt of a job as a child: the program itself, with the prepare command.</summary>
/// <remarks>
/// The child writes below jobs/JOB/ATTEMPT; the result counts only once the store has published that attempt, and what other attempts
/// left is removed. A signal and an internal error are faults that can pass; bad input and wrong plans are not, and are not tried again.
/// </remarks>
internal sealed class JobRunner(ProgramChild program, DataFolder folder, ServiceSettings settings, JobStore jobs, Ledgers.RunRecorder recorder, EditedPlans plans, Telemetry telemetry, TimeProvider clock, IHostApplicationLifetime lifetime, ILogger<JobRunner> log)
{
    public const string ModelFolder = "model";
    public const string StageFile = "stages";

    private const int CheckFailed = 1;
    private const int BadInput = 3;
    private const int Cancelled = 130;
    private const int SignalBase = 128;

    private static readonly TimeSpan s_beat = TimeSpan.FromMilliseconds(500);

    /// <summary>Runs the job if it is there to be run; returns when the attempt has ended.</summary>
    public void Run(string id)
    {
        if (lifetime.ApplicationStopping.IsCancellationRequested || jobs.Begin(id, folder.Node) is not { } job)
            return;
        using var scope = log.BeginScope(new Dictionary<string, object> { ["Job"] = id, ["ModelRequest"] = job.Request.RequestId ?? "" });
        var (span, began) = (telemetry.Began(job), clock.GetUtcNow());
        log.LogInformation("Job {Job} attempt {Attempt} begins", id, job.Attempt);
        var attempt = DataFolder.CreateOwned(Path.Combine(folder.Job(id), $"{job.Attempt}"));
        try
        {
            using var child = Start(job, attempt);
            var why = Watch(child, job, Path.Combine(attempt, StageFile));
            var stages = StageLog.Read(Path.Combine(attempt, StageFile));
            recorder.UntilTaken(() => End(job, attempt, child, why), refused => SayWaits(job, refused));
            telemetry.Ended(job, span, began, stages, StateOf(id));
        }
        catch (Exception e) when (e is InvalidOperationException or IOException or UnauthorizedAccessException or Core.Findings.CheckFailedException)
        {
            jobs.Fault(id, job.Attempt, $"the worker could not be run: {e.GetType().Name}");
            telemetry.Ended(job, span, began, [], null);
        }

        try
        {
            RemoveAttempts(id, job.Attempt);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or DbException)
        {
            // Another node still writes there, or nobody can say what was published: it goes with the next attempt or start.
            log.LogWarning("Job {Job}: something is left of attempt {Attempt}: {Kind}", id, job.Attempt, e.GetType().Name);
            return;
        }

        log.LogInformation("Job {Job} attempt {Attempt} ended: {State}", id, job.Attempt, jobs.Find(id)?.State);
    }

    private JobState? StateOf(string id)
    {
        try
        {
            return jobs.Find(id)?.State;
        }
        catch (DbException)
        {
            return null;
        }
    }

    /// <summary>Removes the folders of ended attempts, but that of the published one.</summary>
    /// <param name="last">Later ones may be running.</param>
    public void RemoveAttempts(string id, int last)
    {
        if (!Directory.Exists(folder.Job(id)))
            return;
        var published = jobs.Find(id)?.Published;
        foreach (var attempt in Directory.GetDirectories(folder.Job(id)))
            if (int.TryParse(Path.GetFileName(attempt), out var number) && number <= last && number != published)
                Directory.Delete(attempt, recursive: true);
    }

    private SupervisedProcess Start(JobEntry job, string attempt) => program.Work(
        settings.Jobs.Longest,
        [
            "prepare", Path.Combine(folder.Sources, job.Request.SourceId!, SeriesIntake.ImagesFolder), $"--out={Path.Combine(attempt, ModelFolder)}", $"--progress={Path.Combine(attempt, StageFile)}", "--json",
            .. job.Request.Arguments().Select(plans.Argument),
        ]);

    /// <summary>Waits for the end; gives why the child was killed by us, null when it ended by itself.</summary>
    private string? Watch(SupervisedProcess child, JobEntry job, string stages)
    {
        var told = "";
        var begin = System.Diagnostics.Stopwatch.GetTimestamp();
        while (!child.WaitForExit(s_beat))
        {
            var why = lifetime.ApplicationStopping.IsCancellationRequested ? "stopping"
                : System.Diagnostics.Stopwatch.GetElapsedTime(begin) > settings.Jobs.Longest ? "time"
                : !MayGoOn(job) ? "cancelled" : null;
            if (why is null)
            {
                telemetry.Memory(job.Id, child.Id);
                told = Tell(job, stages, told);
                continue;
            }

            child.Kill();
            child.WaitForExit();
            return why;
        }

        return null;
    }

    /// <summary>False once the attempt no longer counts. While the database does not answer nobody can say, and the work goes on: only publishing decides.</summary>
    private bool MayGoOn(JobEntry job)
    {
        try
        {
            return jobs.Beat(job.Id, job.Attempt);
        }
        catch (DbException e)
        {
            log.LogWarning("Job {Job}: the database does not answer: {Kind}", job.Id, e.GetType().Name);
            return true;
        }
    }

    private void SayWaits(JobEntry job, Records.Ledgers.LedgerRefusedException refused)
    {
        try
        {
            jobs.Waits(job.Id, job.Attempt, $"its end waits until the ledger takes it: {refused.Code}", refused.Remedy);
        }
        catch (DbException)
        {
            // The log has said it.
        }
    }

    private string Tell(JobEntry job, string stages, string told)
    {
        if (StageLog.Read(stages) is not [.., var last] || last.Stage == told)
            return told;
        try
        {
            jobs.Progress(job.Id, job.Attempt, last.Stage, last.Share);
            return last.Stage;
        }
        catch (DbException)
        {
            return told;
        }
    }

    /// <summary>Notes how an attempt ended, as soon as the database can be told. A service that stops leaves it to whoever recovers the job.</summary>
    private void End(JobEntry job, string attempt, SupervisedProcess child, string? killedFor)
    {
        while (true)
        {
            try
            {
                TellEnd(job, attempt, child, killedFor);
                return;
            }
            catch (DbException e)
            {
                log.LogWarning("Job {Job}: its end cannot be noted yet: {Kind}", job.Id, e.GetType().Name);
                if (lifetime.ApplicationStopping.WaitHandle.WaitOne(s_beat))
                    return;
            }
        }
    }

    private void TellEnd(JobEntry job, string attempt, SupervisedProcess child, string? killedFor)
    {
        var (id, number) = (job.Id, job.Attempt);
        var code = child.WaitForExit();
        var hasModel = Directory.Exists(Path.Combine(attempt, ModelFolder));
        _ = (killedFor, code) switch
        {
            ("stopping", _) => jobs.HandBack(id, number),
            ("cancelled", _) => jobs.Cancelled(id, number),
            ("time", _) => jobs.Fault(id, number, $"took longer than {settings.Jobs.LongestMinutes} minutes", "Raise jobs.longestMinutes, or ask for a simpler plan or a coarser series."),
            (_, 0 or CheckFailed) when hasModel => Publish(job, Path.Combine(attempt, ModelFolder), holds: code == 0),
            (_, CheckFailed or 2 or BadInput) => jobs.Fail(id, number, Reason(child.Errors), exitCode: code),
            (_, Cancelled) => jobs.Fault(id, number, "the worker was interrupted"),
            (_, > SignalBase) => jobs.Fault(id, number, $"the worker was ended by signal {code - SignalBase}: killed, or out of memory", "Try it again; if it happens again, raise jobs.memoryMegabytes, or ask for a coarser series."),
            _ => jobs.Fault(id, number, Reason(child.Errors)),
        };
    }

    /// <summary>The ledger knows of the run before anybody can see it.</summary>
    private bool Publish(JobEntry job, string model, bool holds)
    {
        recorder.Finished(job, model);
        return jobs.Publish(job.Id, job.Attempt, holds);
    }

    /// <summary>What a command says last, after its tables, is the reason; it names no patient. Long sentences come in several lines.</summary>
    private static string Reason(string errors)
    {
        var lines = errors.Split('\n').Select(l => l.TrimEnd()).Reverse().SkipWhile(l => l.Length == 0).TakeWhile(l => l.Length > 0 && !char.IsWhiteSpace(l[0])).Reverse().ToArray();
        return lines.Length > 0 ? string.Join(' ', lines) : "the worker said nothing";
    }
}
