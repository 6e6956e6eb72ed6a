using System.Diagnostics;
using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Tests.Service.Jobs;

/// <summary>A job ends once, with the bytes of an undisturbed run, whatever dies on the way.</summary>
public sealed class JobTests : IDisposable
{
    private static readonly object s_settings = new { intake = new { quietSeconds = 0.3 } };

    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task A_job_makes_the_model_that_the_command_makes()
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, s_settings);
        var source = await Source(service, files);
        var job = service.Jobs.Create(Ask("bone", source.Id), "tester", null);
        var done = await Ended(service, job.Id);
        done.State.Should().Be(JobState.Done, done.Reason);
        done.Holds.Should().BeTrue();
        done.Attempt.Should().Be(1);

        TestProgram.Run(_folder["home"], "prepare", _folder["ct"], "--plan", "bone", "--anatomy", "shells", "--out", _folder["alone"]).ExitCode.Should().Be(0);
        Hashes(Result(done)).Should().Equal(Hashes(_folder["alone"]));
        TestProgram.Run(_folder["home"], "verify", Result(done)).ExitCode.Should().Be(0);
        service.Events.After(0, 100).Count(e => e.Event.Kind == "job.done").Should().Be(1);
    }

    [Fact]
    public async Task A_job_whose_worker_and_service_are_killed_ends_once_with_the_same_bytes()
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        string id;
        await using (var service = await RunningService.StartAsync(Data, s_settings))
        {
            id = service.Jobs.Create(Ask("bone", (await Source(service, files)).Id), "tester", null).Id;
            KillWorker(await Worker(service), "the worker alone");
            await service.Until(() => service.Jobs.Find(id) is { Attempt: 2, State: JobState.Running } ? "again" : null, "not tried again");
        }

        using (var served = ServedProcess.Start(Data, receiver: false))
        {
            SpinWait.SpinUntil(() => Workers().Count > 0, TimeSpan.FromSeconds(120)).Should().BeTrue("the job goes on at the next start");
            served.Kill();
        }

        SpinWait.SpinUntil(() => Workers().Count == 0, TimeSpan.FromSeconds(20)).Should().BeTrue("no worker outlives the service");
        await using var last = await RunningService.StartAsync(Data, s_settings);
        var done = await Ended(last, id);
        done.State.Should().Be(JobState.Done, done.Reason);
        done.Faults.Should().Be(1, "only the worker's own death is held against the job");
        last.Events.After(0, 200).Count(e => e.Event.Kind == "job.done" && e.Event.Subject == id).Should().Be(1);
        Directory.GetDirectories(Path.Combine(Data, "jobs", id)).Should().ContainSingle("what other attempts left is removed");
        TestProgram.Run(_folder["home"], "prepare", _folder["ct"], "--plan", "bone", "--anatomy", "shells", "--out", _folder["alone"]).ExitCode.Should().Be(0);
        Hashes(Result(done)).Should().Equal(Hashes(_folder["alone"]));
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_job_that_loses_its_worker_three_times_is_set_aside_with_the_reason_and_can_be_tried_again()
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, s_settings);
        var id = service.Jobs.Create(Ask("bone", (await Source(service, files)).Id), "tester", null).Id;
        for (var k = 1; k <= 3; k++)
        {
            await service.Until(() => service.Jobs.Find(id)!.Attempt == k ? "begun" : null, $"attempt {k} does not begin");
            KillWorker(await Worker(service), $"time {k}");
        }

        var failed = await Ended(service, id);
        failed.State.Should().Be(JobState.Failed);
        failed.Reason.Should().Contain("signal 9");
        service.Jobs.Retry(id, "tester")!.State.Should().Be(JobState.Queued);
        (await Ended(service, id)).State.Should().Be(JobState.Done);
    }

    [Fact]
    public async Task Bad_input_is_not_tried_again_and_says_why()
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, s_settings);
        var source = await Source(service, files.Take(1).Concat(files.Skip(3)).ToList());
        var job = await Ended(service, service.Jobs.Create(Ask("bone", source.Id), "tester", null).Id);
        job.State.Should().Be(JobState.Failed);
        job.Attempt.Should().Be(1);
        job.Reason.Should().Contain("missing");
    }

    [Fact]
    public async Task A_running_job_is_cancelled_and_leaves_nothing()
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, s_settings);
        var id = service.Jobs.Create(Ask("bone", (await Source(service, files)).Id), "tester", null).Id;
        await Worker(service);
        service.Jobs.Cancel(id, "tester").Should().NotBeNull();
        (await Ended(service, id)).State.Should().Be(JobState.Cancelled);
        await service.Until(() => Workers().Count == 0 && Directory.GetDirectories(Path.Combine(Data, "jobs", id)).Length == 0 ? "clean" : null, "something is left");
        service.Jobs.Cancel(id, "tester").Should().BeNull("it has ended");
    }

    [Fact]
    public async Task A_service_that_stops_hands_its_job_back()
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        string id;
        await using (var service = await RunningService.StartAsync(Data, s_settings))
        {
            id = service.Jobs.Create(Ask("bone", (await Source(service, files)).Id), "tester", null).Id;
            await Worker(service);
        }

        Workers().Should().BeEmpty();
        using var database = new Database(Path.Combine(Data, "service.db"));
        database.Read("SELECT state, faults FROM job WHERE id = @id", r => (r.GetString(0), r.GetInt32(1)), ("@id", id)).Should().Equal(("Queued", 0));
    }

    [Fact]
    public async Task Only_the_attempt_that_counts_can_publish()
    {
        var files = Phantom.Write(Phantom.Ball(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = int.MaxValue } });
        var jobs = service.Jobs;
        var id = jobs.Create(Ask("bone", (await Source(service, files)).Id), "tester", null).Id;
        jobs.Begin(id)!.Attempt.Should().Be(1);
        jobs.Begin(id).Should().BeNull("it runs");
        jobs.Fault(id, 1, "stalled").Should().BeTrue();
        jobs.Begin(id)!.Attempt.Should().Be(2);
        jobs.Beat(id, 1).Should().BeFalse("attempt 1 woke up late");
        jobs.Publish(id, 1, holds: true).Should().BeFalse();
        jobs.Fail(id, 1, "late").Should().BeFalse();
        jobs.Publish(id, 2, holds: true).Should().BeTrue();
        jobs.Publish(id, 2, holds: true).Should().BeFalse("once");
        jobs.Find(id).Should().Match<JobEntry>(j => j.State == JobState.Done && j.Published == 2);
        service.Events.After(0, 100).Count(e => e.Event.Kind == "job.done").Should().Be(1);
        service.Events.After(0, 100).Should().Contain(e => e.Event.Kind == "disk.full", "a full disk holds the queue, and says so");
    }

    [Fact]
    public async Task A_job_waits_for_its_patient_and_takes_no_other_ones_images()
    {
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = int.MaxValue } });
        var siteKey = (AnatomyPrep.Records.Keys.SiteKey)service.Parts.GetService(typeof(AnatomyPrep.Records.Keys.SiteKey))!;
        var wanted = siteKey.Pseudonym(AnatomyPrep.Records.Keys.IdentifierKind.Patient, "INVENTED-B");
        var job = service.Jobs.Create(Ask("bone", null) with { PatientKey = wanted }, "tester", null);
        job.State.Should().Be(JobState.Waiting);
        var others = await Source(service, Phantom.Write(Phantom.Ball() with { Identity = Who("INVENTED-A") }, _folder["a"]));
        service.Jobs.Find(job.Id)!.State.Should().Be(JobState.Waiting);
        FluentActions.Invoking(() => service.Jobs.Create(Ask("bone", others.Id) with { PatientKey = wanted }, "tester", null)).Should().Throw<CheckFailedException>().WithMessage("*another patient*");
        service.Bring(Phantom.Write(Phantom.Ball() with { Identity = Who("INVENTED-B") }, _folder["b"]));
        var matched = await service.Until(() => service.Jobs.Find(job.Id) is { State: JobState.Queued } found ? found : null, "not matched");
        service.Sources.Find(matched.Request.SourceId!)!.PatientKey.Should().Be(wanted);
    }

    private static AnatomyPrep.Phantoms.Dicom.Identity Who(string patientId) => AnatomyPrep.Phantoms.Dicom.Identity.Invented with { PatientId = patientId };

    private static JobRequest Ask(string plan, string? source) => new(Purpose.Education, "shells", null, plan, "TEACH-07", null, null, source);

    private static async Task<SourceEntry> Source(RunningService service, List<string> files)
    {
        service.Bring(files);
        return await service.Until(() => service.Sources.List(1) is [var source] ? source : null, "no source");
    }

    private static Task<JobEntry> Ended(RunningService service, string id) =>
        service.Until(() => service.Jobs.Find(id) is { State: JobState.Done or JobState.Failed or JobState.Cancelled } job ? job : null, "the job does not end");

    private string Result(JobEntry job) => Path.Combine(Data, "jobs", job.Id, $"{job.Published}", "model");

    /// <summary>Hashes of all files that hold no time: run, record, report and key are another run's.</summary>
    internal static SortedDictionary<string, string> Hashes(string folder)
    {
        var hashes = new SortedDictionary<string, string>(StringComparer.Ordinal);
        foreach (var file in Directory.GetFiles(folder, "*", SearchOption.AllDirectories))
            if (Path.GetExtension(file) is ".stl" or ".ply" or ".png")
                hashes.Add(Path.GetRelativePath(folder, file), Convert.ToHexString(SHA256.HashData(File.ReadAllBytes(file))));
        hashes.Should().NotBeEmpty();
        return hashes;
    }

    private Task<object> Worker(RunningService service) => service.Until<object>(() => Workers() is [var id, ..] ? id : null, "no worker");

    private static void KillWorker(object id, string why)
    {
        using var worker = Process.GetProcessById((int)id);
        worker.Kill();
        worker.WaitForExit(10_000).Should().BeTrue(why);
    }

    /// <summary>Processes of this test's data folder that run "prepare".</summary>
    private List<int> Workers() => [.. Directory.GetDirectories("/proc").Select(d => Path.GetFileName(d)).Where(n => n.All(char.IsAsciiDigit)).Select(int.Parse).Where(IsWorker)];

    private bool IsWorker(int id)
    {
        try
        {
            var words = File.ReadAllText($"/proc/{id}/cmdline").Split('\0');
            return words[0].EndsWith("dotnet", StringComparison.Ordinal) && words.Contains("prepare") && words.Any(w => w.Contains(Data, StringComparison.Ordinal));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return false;
        }
    }
}
