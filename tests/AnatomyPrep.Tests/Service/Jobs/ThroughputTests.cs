using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Tests.Records.Ledgers;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Service.Jobs;

/// <summary>Many cases through one machine: prints what docs/operations/scale.md reports. ANATOMYPREP_CASES asks for another number than 50.</summary>
[Collection("PostgreSQL")]
[Trait("Kind", "Slow")]
public sealed class ThroughputTests(PostgresCluster cluster, ITestOutputHelper output) : IDisposable
{
    private readonly TestFolder _folder = new();

    private static int Cases { get; } = int.Parse(Environment.GetEnvironmentVariable("ANATOMYPREP_CASES") ?? "50", CultureInfo.InvariantCulture);

    public void Dispose() => _folder.Dispose();

    [Theory]
    [InlineData(1, false)]
    [InlineData(2, true)]
    [InlineData(4, true)]
    public async Task Every_case_is_done(int workers, bool onServer)
    {
        var data = Directory.CreateDirectory(_folder["data"]).FullName;
        var shared = Directory.CreateDirectory(_folder["shared"]).FullName;
        var connect = onServer ? cluster.NewDatabase() : null;
        await File.WriteAllTextAsync(Path.Combine(data, "settings.json"), JsonSerializer.Serialize(new
        {
            intake = new { quietSeconds = 0.3 },
            jobs = new { workers, memoryMegabytes = 2048 },
            storage = new { database = connect, sharedFolder = onServer ? shared : null },
            ledger = new { postgres = onServer ? cluster.NewDatabase() : null },
        }));
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        using var served = ServedProcess.Start(data, receiver: false);
        using var database = onServer ? Database.Shared(connect!) : new Database(Path.Combine(data, "service.db"));
        var events = new AnatomyPrep.Service.Events.EventLog(database, TimeProvider.System);
        var (jobs, sources) = (new JobStore(database, events, TimeProvider.System), new SourceStore(database, events));
        RunningService.Bring(files, data);
        while (sources.List(1).Count == 0)
            await Task.Delay(100);
        var asked = new JobRequest(Purpose.Education, "shells", null, "bone", null, null, null, sources.List(1)[0].Id);
        var begin = Stopwatch.GetTimestamp();
        var ids = Enumerable.Range(0, Cases).Select(_ => jobs.Create(asked, "tester", null).Id).ToList();
        long most = 0;
        while (!ids.All(id => jobs.Find(id)!.State is JobState.Done or JobState.Failed))
        {
            await Task.Delay(250);
            most = Math.Max(most, ResidentKilobytes(data, shared));
        }

        var seconds = Stopwatch.GetElapsedTime(begin).TotalSeconds;
        var ended = ids.ConvertAll(id => jobs.Find(id)!);
        ended.Should().OnlyContain(j => j.State == JobState.Done && j.Attempt == 1);
        var started = events.After(0, 1_000_000).Where(e => e.Event.Kind == "job.started").ToDictionary(e => e.Event.Subject!, e => e.At);
        var waits = ended.ConvertAll(j => (started[j.Id] - j.CreatedAt).TotalSeconds).Order().ToList();
        var works = ended.ConvertAll(j => (j.EndedAt!.Value - started[j.Id]).TotalSeconds);
        output.WriteLine(string.Create(
            CultureInfo.InvariantCulture,
            $"{workers} workers, {(onServer ? "PostgreSQL" : "SQLite")}, load {File.ReadAllText("/proc/loadavg").Split(' ')[0]}: {Cases} cases in {seconds:F0} s, {Cases * 3600 / seconds:F0} an hour; waits median {waits[waits.Count / 2]:F0} s, most {waits[^1]:F0} s; work mean {works.Average():F1} s; memory of service and workers at most {most / 1024} MB"));
    }

    /// <summary>Of every process of this test's folders.</summary>
    private static long ResidentKilobytes(params string[] folders)
    {
        long sum = 0;
        foreach (var process in Directory.GetDirectories("/proc").Where(d => Path.GetFileName(d).All(char.IsAsciiDigit)))
        {
            try
            {
                var words = File.ReadAllText(Path.Combine(process, "cmdline"));
                if (folders.Any(f => words.Contains(f, StringComparison.Ordinal)))
                    sum += long.Parse(File.ReadLines(Path.Combine(process, "status")).First(l => l.StartsWith("VmRSS", StringComparison.Ordinal)).Split(' ', StringSplitOptions.RemoveEmptyEntries)[1], CultureInfo.InvariantCulture);
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidOperationException)
            {
                // It ended in between.
            }
        }

        return sum;
    }
}
