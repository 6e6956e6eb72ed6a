using System.Diagnostics;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Ledgers;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Tests.Service.Receiving;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Service.Jobs;

/// <summary>Workers, service and receiver are killed at random instants; every job ends once, with the bytes of an undisturbed run.</summary>
public sealed class KillTests(ITestOutputHelper output) : IDisposable
{
    private const string Title = "SCANNER1";

    private static readonly object s_settings = new
    {
        receiver = new { enabled = true, port = 0, callingTitles = new[] { Title } },
        intake = new { quietSeconds = 0.6 },
        jobs = new { workers = 2, memoryMegabytes = 2048 },
    };

    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    public void Dispose() => _folder.Dispose();

    [Theory]
    [Trait("Kind", "Slow")]
    [InlineData(4, 12)]
    [InlineData(50, 200)]
    public async Task Every_job_ends_once_however_often_something_is_killed(int count, int kills)
    {
        var (ids, sent) = await Prepare(count);
        using var database = new Database(Path.Combine(Data, "service.db"));
        var events = new AnatomyPrep.Service.Events.EventLog(database, TimeProvider.System);
        var jobs = new JobStore(database, events, TimeProvider.System);
        var chance = new Random(20261126);
        var (ofService, ofWorker, ofReceiver) = (0, 0, 0);
        var begin = Stopwatch.GetTimestamp();
        var served = ServedProcess.Start(Data);
        try
        {
            while (ofService + ofWorker + ofReceiver is var killed && killed < kills)
            {
                // Spread over the jobs: quicker than the jobs where the kills are behind them, slower where they are ahead.
                var finished = ids.Count(id => jobs.Find(id)!.State == JobState.Done);
                await Task.Delay((long)killed * count <= (long)kills * finished ? chance.Next(20, 300) : chance.Next(100, 2500));
                var what = chance.Next(4);
                if (what == 0)
                {
                    served.Kill();
                    served.Dispose();
                    served = ServedProcess.Start(Data);
                    ofService++;
                }
                else if (what == 1)
                {
                    using var sender = Scanner.Start(served.ReceiverPort, Title, sent);
                    // It takes the association a while to reach a storescp of its own, and then not long to be over.
                    var found = 0;
                    for (var wait = Stopwatch.StartNew(); found == 0 && !sender.HasExited && wait.Elapsed < TimeSpan.FromSeconds(5);)
                    {
                        await Task.Delay(chance.Next(1, 10));
                        found = KillOne(words => words[0] == "storescp");
                    }

                    ofReceiver += found;
                    Scanner.End(sender);
                }
                else
                {
                    ofWorker += KillOne(words => words.Contains("prepare"));
                }

                Retry(jobs, ids);
            }

            Scanner.Send(served.ReceiverPort, Title, sent).Should().Be(0);
            for (var wait = Stopwatch.StartNew(); !ids.All(id => jobs.Find(id)!.State == JobState.Done) && wait.Elapsed < TimeSpan.FromMinutes(60);)
            {
                await Task.Delay(500);
                Retry(jobs, ids);
            }
        }
        finally
        {
            served.Dispose();
        }

        var done = events.After(0, 1_000_000).Where(e => e.Event.Kind == "job.done").Select(e => e.Event.Subject).ToArray();
        done.Should().BeEquivalentTo(ids, "each job is published exactly once");
        new[] { ofService, ofWorker, ofReceiver }.Should().OnlyContain(n => n > 0, "each of the three was killed");
        output.WriteLine(FormattableString.Invariant($"{count} jobs, {ofService} kills of the service, {ofWorker} of workers, {ofReceiver} of the receiver, {events.After(0, 1_000_000).Count(e => e.Event.Kind == "job.started")} attempts, {Stopwatch.GetElapsedTime(begin).TotalSeconds:F0} s"));
        TestProgram.Run(_folder["home"], "prepare", _folder["ct"], "--plan", "bone", "--anatomy", "shells", "--out", _folder["alone"]).ExitCode.Should().Be(0);
        var expected = JobTests.Hashes(_folder["alone"]);
        foreach (var id in ids)
            JobTests.Hashes(Path.Combine(Data, "jobs", id, $"{jobs.Find(id)!.Published}", "model")).Should().Equal(expected);
        await TheSentSeriesIsThereOnce(sent.Count);
        TheLedgerHasEachOnce(new LedgerPlace(Path.Combine(Data, "ledger")), database, ids);
    }

    /// <summary>The ledger holds, with one run and one end of each job that counts.</summary>
    internal static void TheLedgerHasEachOnce(LedgerPlace place, Database database, List<string> ids)
    {
        using var ledger = Ledger.Open(place, TimeProvider.System, readOnly: true);
        LedgerChecks.Full(ledger, [], RunContext.Default).Failures.Should().BeEmpty();
        foreach (var id in ids)
        {
            var told = ledger.EventsOf(ServiceLedger.ModelOf(id)).Select(e => e.Event.Content).ToList();
            told.Count(e => e.Kind == LedgerEventKind.Run).Should().Be(1, "the ledger has each run once");
            // A kill between ledger and database leaves an event without effect, which the service names as such.
            told.Count(e => e.Kind == LedgerEventKind.ServiceEvent && e.Read<ServiceEventBody>().What == "job.done"
                && database.Read("SELECT 1 FROM event_in_ledger WHERE id = @id", _ => true, ("@id", e.Id)).Count == 1).Should().Be(1);
        }
    }

    private async Task<(List<string> Ids, List<string> Sent)> Prepare(int count)
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        var sent = Phantom.Write(Phantom.Ball(slices: 60), _folder["sent"]);
        await using var service = await RunningService.StartAsync(Data, s_settings);
        service.Bring(files);
        var source = await service.Until(() => service.Sources.List(1) is [var found] ? found : null, "no source");
        var asked = new JobRequest(Purpose.Education, "shells", null, "bone", null, null, null, source.Id);
        return ([.. Enumerable.Range(0, count).Select(_ => service.Jobs.Create(asked, "tester", null).Id)], sent);
    }

    private async Task TheSentSeriesIsThereOnce(int files)
    {
        await using var service = await RunningService.StartAsync(Data, s_settings);
        await service.Until(() => service.Sources.List(100).FirstOrDefault(s => s.Files == files), "the series that was sent is not whole");
        await service.Settled();
        service.Sources.List(100).Count(s => s.Files == files && s.ReplacedBy is null).Should().Be(1);
    }

    /// <summary>Three kills of its worker set a job aside, as they should; a person then tries it again.</summary>
    private static void Retry(JobStore jobs, List<string> ids)
    {
        foreach (var id in ids.Where(id => jobs.Find(id)!.State == JobState.Failed))
            jobs.Retry(id, "tester");
    }

    /// <summary>Kills a process of this test's data folder whose command line fits; gives how many.</summary>
    private int KillOne(Func<string[], bool> fits)
    {
        foreach (var name in Directory.GetDirectories("/proc").Select(d => Path.GetFileName(d)).Where(n => n.All(char.IsAsciiDigit)))
        {
            try
            {
                var words = File.ReadAllText($"/proc/{name}/cmdline").Split('\0');
                if (!words.Any(w => w.Contains(Data, StringComparison.Ordinal)) || !fits(words))
                    continue;
                using var process = Process.GetProcessById(int.Parse(name, System.Globalization.CultureInfo.InvariantCulture));
                process.Kill();
                return 1;
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException or ArgumentException or InvalidOperationException)
            {
                // It ended in between.
            }
        }

        return 0;
    }
}
