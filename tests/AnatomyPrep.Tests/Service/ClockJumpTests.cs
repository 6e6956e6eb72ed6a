using System.Net;
using System.Net.Http.Headers;
using System.Net.Http.Json;
using System.Text.Json;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Tests.Service.Jobs;
using Microsoft.Extensions.DependencyInjection;
using Quartz;

namespace AnatomyPrep.Tests.Service;

/// <summary>
/// The clock of a running service is set back, or jumps ahead: no job is lost, none is doubled, and what the ledger does not take is said with
/// its remedy. The clock is that of the service's process and its workers (Debian's libfaketime); the one that only runs on is the machine's.
/// </summary>
public sealed class ClockJumpTests : IDisposable
{
    private const string Passphrase = "a passphrase nobody logs";
    private const string Ahead = "+3456000";
    private const string Back = "-7200";
    private const string Right = "+0";

    private readonly TestFolder _folder = new();
    private readonly HttpClient _ada = new();
    private readonly HttpClient _tom = new();

    private string Data => _folder["data"];

    public void Dispose()
    {
        _ada.Dispose();
        _tom.Dispose();
        _folder.Dispose();
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_clock_set_back_holds_the_ends_of_jobs_until_it_is_right_again()
    {
        var source = await PrepareAsync();
        using var served = Start();
        var ids = new List<string> { await AskAsync(source), await AskAsync(source) };
        await Until(async () => (await JobsAsync(ids)).Any(j => State(j) == "running"), "no job runs");
        SetClock(Back);
        await Until(async () => (await JobsAsync(ids)).Any(j => Text(j, "reason")?.Contains("clock-set-back", StringComparison.Ordinal) == true && Text(j, "remedy")!.Contains("clock", StringComparison.Ordinal)), "no job says that it waits, and for what");
        await Until(async () => await ReadyAsync() == "the ledger takes nothing: clock-set-back", "readiness does not say it");
        using (var refused = await _tom.PostAsJsonAsync("api/v1/jobs/", Asked(source)))
        {
            refused.StatusCode.Should().Be(HttpStatusCode.ServiceUnavailable);
            JsonDocument.Parse(await refused.Content.ReadAsStringAsync()).RootElement.GetProperty("code").GetString().Should().Be("clock-set-back");
        }

        using (var door = new HttpClient { BaseAddress = served.Page })
            (await door.PostAsJsonAsync("api/v1/session", new { name = "ada", password = ServiceClient.Password })).StatusCode.Should().Be(HttpStatusCode.OK, "who can set it right gets in");

        SetClock(Right);
        await EndAsync(ids);
        await Until(async () => await ReadyAsync() == "ready", "not ready again");
        (await KindsAsync()).Count(k => k == "clock.jumped").Should().BeGreaterThanOrEqualTo(2, "both jumps are said");
        served.Kill();
        EachOnce(ids);
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_clock_that_was_ahead_is_corrected_by_an_administrators_signature()
    {
        var source = await PrepareAsync();
        using var served = Start();
        var ids = new List<string> { await AskAsync(source), await AskAsync(source) };
        await Until(async () => (await JobsAsync(ids)).Any(j => State(j) == "running"), "no job runs");
        SetClock(Ahead);
        await EndAsync(ids);
        await Until(async () => (await KindsAsync()).Contains("clock.jumped"), "the jump is not said");

        // Right again, and behind the ledger's newest event: nothing is taken until somebody answers for it.
        SetClock(Right);
        await Until(async () => (await KindsAsync()).Count(k => k == "clock.jumped") == 2, "the jump back is not said");
        using (var refused = await _tom.PostAsJsonAsync("api/v1/jobs/", Asked(source)))
            refused.StatusCode.Should().Be(HttpStatusCode.ServiceUnavailable);
        using (var bare = await _ada.PostAsJsonAsync("api/v1/ledger/clock", new { passphrase = Passphrase, reason = "" }))
            bare.IsSuccessStatusCode.Should().BeFalse("it takes a reason");
        using (var corrected = await _ada.PostAsJsonAsync("api/v1/ledger/clock", new { passphrase = Passphrase, reason = "The time server was wrong." }))
            corrected.StatusCode.Should().Be(HttpStatusCode.OK, await corrected.Content.ReadAsStringAsync());
        ids.Add(await AskAsync(source));
        await EndAsync(ids);
        await Until(async () => await ReadyAsync() == "ready", "not ready again");
        served.Kill();
        EachOnce(ids);
    }

    [Fact]
    public async Task Nothing_expires_by_a_clock_that_jumped()
    {
        var clock = new JumpingClock();
        var files = Phantom.Write(Phantom.Ball(slices: 4), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.3 }, retention = new { sourceDays = 30 } }, clock);
        service.Bring(files);
        var source = await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source");
        var retention = service.Parts.GetRequiredService<Retention>();
        clock.Jump = TimeSpan.FromDays(60);
        retention.Look();
        service.Sources.Find(source.Id)!.ExpiredAt.Should().BeNull("the clock jumped");
        // Had the days gone by, the other clock would have gone with them.
        clock.Gone = TimeSpan.FromDays(60);
        retention.Look();
        service.Sources.Find(source.Id)!.ExpiredAt.Should().NotBeNull();
    }

    [Fact]
    public async Task The_nightly_check_does_not_wait_for_as_long_as_the_clock_was_ahead()
    {
        var clock = new JumpingClock();
        await using var service = await RunningService.StartAsync(Data, new { storage = new { leastFreeMegabytes = int.MaxValue } }, clock);
        var scheduler = await service.Parts.GetRequiredService<ISchedulerFactory>().GetScheduler();
        var key = new TriggerKey("ledger-nightly");
        var trigger = await scheduler.GetTrigger(key);
        await scheduler.RescheduleJob(key, trigger!.GetTriggerBuilder().StartAt(clock.GetUtcNow().AddDays(40)).Build());
        clock.Jump = TimeSpan.FromHours(2);
        await service.Until(() => scheduler.GetTrigger(key).AsTask().Result!.NextFireTimeUtc < clock.GetUtcNow().AddHours(25) ? "soon" : null, "the check waits");
    }

    /// <summary>Accounts, tokens, a key that may sign, and a source; the service is stopped again.</summary>
    private async Task<string> PrepareAsync()
    {
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = 0 } });
        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
        (await ada.SendAsync(HttpMethod.Post, "/api/v1/ledger/me/key", new { passphrase = Passphrase, name = "Ada Lindgren" })).EnsureSuccessStatusCode();
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician, "tom");
        foreach (var (client, name) in new[] { (_ada, "ada"), (_tom, "tom") })
            client.DefaultRequestHeaders.Authorization = new AuthenticationHeaderValue("Bearer", service.Accounts.MakeToken(name, "test", 300).Secret);
        service.Bring(Phantom.Write(Phantom.Bones(), _folder["ct"]));
        return (await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source")).Id;
    }

    private ServedProcess Start()
    {
        SetClock(Right);
        var served = ServedProcess.Start(Data, receiver: false, environment: new Dictionary<string, string>
        {
            ["LD_PRELOAD"] = "/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1",
            ["FAKETIME_TIMESTAMP_FILE"] = _folder["clock"],
            ["FAKETIME_CACHE_DURATION"] = "1",
            ["DONT_FAKE_MONOTONIC"] = "1",
            ["NO_FAKE_STAT"] = "1",
        });
        (_ada.BaseAddress, _tom.BaseAddress) = (served.Page, served.Page);
        return served;
    }

    /// <summary>The service asks for it once a second.</summary>
    private void SetClock(string offset)
    {
        File.WriteAllText(_folder["clock.new"], offset + "\n");
        File.Move(_folder["clock.new"], _folder["clock"], overwrite: true);
    }

    private static object Asked(string source) => new { purpose = "education", anatomy = "shells", plan = "bone", sourceId = source };

    private async Task<string> AskAsync(string source)
    {
        using var answer = await _tom.PostAsJsonAsync("api/v1/jobs/", Asked(source));
        answer.IsSuccessStatusCode.Should().BeTrue(await answer.Content.ReadAsStringAsync());
        return (await answer.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()!;
    }

    private async Task<JsonElement[]> JobsAsync(IEnumerable<string> ids) => await Task.WhenAll(ids.Select(id => _tom.GetFromJsonAsync<JsonElement>($"api/v1/jobs/{id}")));

    private Task EndAsync(List<string> ids) => Until(async () =>
    {
        var jobs = await JobsAsync(ids);
        jobs.Should().NotContain(j => State(j) == "failed" || State(j) == "cancelled");
        return jobs.All(j => State(j) == "done");
    }, "the jobs do not end");

    private async Task<string[]> KindsAsync() => [.. (await _ada.GetFromJsonAsync<JsonElement>("api/v1/events?after=0&limit=500")).GetProperty("items").EnumerateArray().Select(e => e.GetProperty("event").GetProperty("kind").GetString()!)];

    private async Task<string> ReadyAsync()
    {
        using var answer = await _tom.GetAsync("health/ready");
        return await answer.Content.ReadAsStringAsync();
    }

    private static string State(JsonElement job) => job.GetProperty("state").GetString()!;

    private static string? Text(JsonElement job, string name) => job.GetProperty(name).GetString();

    private static async Task Until(Func<Task<bool>> look, string what)
    {
        for (var wait = System.Diagnostics.Stopwatch.StartNew(); wait.Elapsed < TimeSpan.FromMinutes(4); await Task.Delay(200))
            if (await look())
                return;
        throw new TimeoutException(what);
    }

    /// <summary>Each job has one end, in the service's events and in the ledger, and the bytes of a run on a machine whose clock runs on.</summary>
    private void EachOnce(List<string> ids)
    {
        using var database = new Database(Path.Combine(Data, "service.db"));
        var events = new AnatomyPrep.Service.Events.EventLog(database, TimeProvider.System);
        var jobs = new JobStore(database, events, TimeProvider.System);
        events.After(0, 100_000).Where(e => e.Event.Kind == "job.done").Select(e => e.Event.Subject).Should().BeEquivalentTo(ids);
        TestProgram.Run(_folder["home"], "prepare", _folder["ct"], "--plan", "bone", "--anatomy", "shells", "--out", _folder["alone"]).ExitCode.Should().Be(0);
        var expected = JobTests.Hashes(_folder["alone"]);
        foreach (var id in ids)
            JobTests.Hashes(Path.Combine(Data, "jobs", id, $"{jobs.Find(id)!.Published}", "model")).Should().Equal(expected);
        KillTests.TheLedgerHasEachOnce(new LedgerPlace(Path.Combine(Data, "ledger")), database, ids);
    }

    /// <summary>A clock that is set, beside one that only runs on.</summary>
    private sealed class JumpingClock : TimeProvider
    {
        public TimeSpan Jump { get; set; }

        public TimeSpan Gone { get; set; }

        public override DateTimeOffset GetUtcNow() => System.GetUtcNow() + Jump;

        public override long GetTimestamp() => System.GetTimestamp() + (long)(Gone.TotalSeconds * TimestampFrequency);
    }
}
