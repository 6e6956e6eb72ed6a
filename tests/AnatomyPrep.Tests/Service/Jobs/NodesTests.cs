using System.Diagnostics;
using System.Text.Json;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Tests.Records.Ledgers;
using Npgsql;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Service.Jobs;

/// <summary>Two service processes on one PostgreSQL database and one shared folder.</summary>
[Collection("PostgreSQL")]
public sealed class NodesTests(PostgresCluster cluster, ITestOutputHelper output) : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Theory]
    [Trait("Kind", "Slow")]
    [InlineData("killed")]
    [InlineData("stopped")]
    [InlineData("cut off")]
    public async Task What_one_node_leaves_the_other_finishes_and_each_job_is_published_once(string how)
    {
        using var network = how == "cut off" ? new CutNetwork() : null;
        using var server = network is null ? null : new PostgresCluster(network.Address);
        var (connect, ledgerAt) = (NewDatabase(), NewDatabase());
        var shared = Directory.CreateDirectory(_folder["shared"]).FullName;
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        foreach (var node in new[] { "one", "two" })
        {
            Directory.CreateDirectory(_folder[node]);
            await File.WriteAllTextAsync(Path.Combine(_folder[node], "settings.json"), JsonSerializer.Serialize(new
            {
                intake = new { quietSeconds = 0.3 },
                storage = new { database = connect, sharedFolder = shared, staleSeconds = 4 },
                ledger = new { folder = Path.Combine(shared, "ledger"), postgres = ledgerAt },
            }));
        }

        string NewDatabase()
        {
            var made = (server ?? cluster).NewDatabase();
            return network is null ? made : new NpgsqlConnectionStringBuilder(made) { Host = network.Address }.ConnectionString;
        }

        using var one = ServedProcess.Start(_folder["one"], receiver: false, network?.Name);
        using var two = ServedProcess.Start(_folder["two"], receiver: false);
        using var database = Database.Shared(connect);
        var events = new AnatomyPrep.Service.Events.EventLog(database, TimeProvider.System);
        var jobs = new JobStore(database, events, TimeProvider.System);
        var sources = new SourceStore(database, events);
        RunningService.Bring(files, _folder["one"]);
        var source = await Until(() => sources.List(1) is [var found] ? found : null);
        // Written past the service, so the ledger learns of each from its run.
        var asked = new JobRequest(Purpose.Education, "shells", null, "bone", null, null, null, source.Id);
        var ids = Enumerable.Range(0, 4).Select(_ => jobs.Create(asked, "tester", null).Id).ToList();
        var name = (await File.ReadAllTextAsync(Path.Combine(_folder["one"], "node"))).Trim();
        await Until(() => jobs.Running().FirstOrDefault(j => j.Node == name && j.Stage is not null));
        switch (how)
        {
            case "killed":
                one.Kill();
                break;
            case "stopped":
                one.Signal("STOP");
                break;
            default:
                network!.Cut();
                break;
        }

        var begin = Stopwatch.GetTimestamp();
        var taken = await Until(() => events.After(0, 10_000).FirstOrDefault(e => e.Event.Kind == "job.handed-back"));
        taken.Event.Subject.Should().BeOneOf(ids);
        await Until(() => ids.All(id => jobs.Find(id)!.State == JobState.Done) ? "done" : null);
        output.WriteLine(FormattableString.Invariant($"node {how}: all {ids.Count} jobs done {Stopwatch.GetElapsedTime(begin).TotalSeconds:F1} s later"));
        if (how != "killed")
        {
            // It comes back with work that is done already: that must not count; and it must be of use again.
            if (how == "stopped")
                one.Signal("CONT");
            else
                network!.Join();
            two.Kill();
            begin = Stopwatch.GetTimestamp();
            ids.Add(jobs.Create(asked, "tester", null).Id);
            await Until(() => jobs.Find(ids[^1])!.State == JobState.Done ? "done" : null);
            jobs.Find(ids[^1])!.Node.Should().Be(name);
            output.WriteLine(FormattableString.Invariant($"node {how}: back, and a job of its own done {Stopwatch.GetElapsedTime(begin).TotalSeconds:F1} s later"));
        }

        ids.Select(id => jobs.Find(id)!.State).Should().OnlyContain(s => s == JobState.Done);
        events.After(0, 10_000).Where(e => e.Event.Kind == "job.done").Select(e => e.Event.Subject).Should().BeEquivalentTo(ids, "each is published exactly once");
        TestProgram.Run(_folder["home"], "prepare", _folder["ct"], "--plan", "bone", "--anatomy", "shells", "--out", _folder["alone"]).ExitCode.Should().Be(0);
        var expected = JobTests.Hashes(_folder["alone"]);
        foreach (var id in ids)
            JobTests.Hashes(Path.Combine(shared, "jobs", id, $"{jobs.Find(id)!.Published}", "model")).Should().Equal(expected);
        // An event whose transaction was cut off stands in the ledger too; the next check names it as one without effect.
        KillTests.TheLedgerHasEachOnce(new LedgerPlace(Path.Combine(shared, "ledger"), ledgerAt), database, ids);
    }

    [Fact]
    public void All_tables_are_the_same_on_PostgreSQL()
    {
        using var folder = new AnatomyPrep.Service.Hosting.DataFolder(_folder["tables"]);
        var settings = new AnatomyPrep.Service.Hosting.StorageSettings { Database = cluster.NewDatabase() };
        ServiceTables.Open(folder, settings).Dispose();
        using var database = ServiceTables.Open(folder, settings);
        var events = new AnatomyPrep.Service.Events.EventLog(database, TimeProvider.System);
        events.Append(new("test.happened", "x"));
        events.Newest().Should().Be(1);
        FluentActions.Invoking(() => database.Write(c => c.Execute("UPDATE event SET kind = 'other'"))).Should().Throw<Npgsql.PostgresException>().WithMessage("*never*");
        var sources = new SourceStore(database, events);
        sources.Add(new(new string('a', 64), "series", null, new string('b', 64), DateTimeOffset.UnixEpoch, null, [new("k", "h", 1L << 33)], "HEAD", "L", 1L << 33)).Should().BeTrue();
        sources.List(10).Should().ContainSingle().Which.Bytes.Should().Be(1L << 33);
        var jobs = new JobStore(database, events, TimeProvider.System);
        var requests = new AnatomyPrep.Service.Requests.RequestStore(database, events, jobs, TimeProvider.System);
        var asked = new AnatomyPrep.Service.Requests.ModelRequest(new(Purpose.Education, "skull", null, "bone", null, new DateOnly(2030, 1, 1), new string('b', 64), null, null, 0.5), null);
        var request = requests.Create([asked], "tester", "key")[0];
        requests.Create([asked], "tester", "key")[0].Id.Should().Be(request.Id);
        request.State.Should().Be(AnatomyPrep.Service.Requests.RequestState.Queued);
        requests.List(10, null, AnatomyPrep.Service.Requests.RequestState.Queued).Should().ContainSingle();
        var job = jobs.Begin(request.JobId!, "here")!;
        jobs.Progress(job.Id, 1, "surface", 0.5);
        jobs.Beat(job.Id, 1).Should().BeTrue();
        jobs.Release(jobs.Find(job.Id)!).Should().BeTrue();
        jobs.Publish(job.Id, 1, holds: true).Should().BeFalse("the attempt was taken from it");
        jobs.Begin(job.Id, "there")!.Attempt.Should().Be(2);
        jobs.Publish(job.Id, 2, holds: true).Should().BeTrue();
        jobs.Find(job.Id).Should().Match<JobEntry>(j => j.State == JobState.Done && j.Published == 2 && j.Request.Scale == 0.5);
    }

    private static async Task<T> Until<T>(Func<T?> look)
        where T : class
    {
        for (var wait = Stopwatch.StartNew(); wait.Elapsed < TimeSpan.FromMinutes(8); await Task.Delay(100))
            if (look() is { } found)
                return found;
        throw new TimeoutException();
    }
}
