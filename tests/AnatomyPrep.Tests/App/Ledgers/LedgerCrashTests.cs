using System.Diagnostics;
using System.Globalization;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Tests.Records.Ledgers;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.App.Ledgers;

/// <summary>The real program, killed or out of disk while it appends: what was acknowledged is there, once.</summary>
public sealed class LedgerCrashTests(ITestOutputHelper output) : IDisposable
{
    private static readonly string s_dll = Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll");

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void Killed_at_10_random_instants_loses_nothing_acknowledged_and_doubles_nothing() => Kill(10);

    [Fact]
    [Trait("Kind", "Slow")]
    public void Killed_at_200_random_instants_loses_nothing_acknowledged_and_doubles_nothing() => Kill(200);

    /// <summary>A limit on file sizes is what a disk that fills up looks like to one file; it needs no rights.</summary>
    [Fact]
    public void Full_disk_is_named_and_keeps_what_was_acknowledged()
    {
        var place = _folder["ledger"];
        Run("bash", "-c", Command(place, "0.2")).ExitCode.Should().Be(0);
        var limitKb = (new FileInfo(Path.Combine(place, "ledger.db")).Length / 1024) + 300;
        var (exitCode, lines, errors) = Run("bash", "-c", $"trap '' XFSZ; ulimit -f {limitKb.ToString(CultureInfo.InvariantCulture)}; {Command(place, "60")}");
        errors.Should().Contain(Refusals.DiskFull);
        exitCode.Should().Be(1);
        Check(place, lines, retry: true).Should().BeGreaterThan(0);
    }

    private void Kill(int times)
    {
        var place = _folder["ledger"];
        Run("bash", "-c", Command(place, "0")).ExitCode.Should().Be(0);
        var random = new Random(23);
        var (acknowledged, unfinished) = (0, 0);
        for (var i = 0; i < times; i++)
        {
            var lines = RunAndKill(place, random.Next(1, 16), random.Next(15));
            acknowledged += Check(place, lines, retry: true);
            unfinished += lines.Count > 0 && lines[^1].StartsWith("try ", StringComparison.Ordinal) ? 1 : 0;
        }

        output.WriteLine($"{times} kills, {acknowledged} events acknowledged, {unfinished} kills between try and acknowledgement");
        acknowledged.Should().BeGreaterThan(times);
    }

    /// <summary>Opens the ledger as after a restart; every event the program was told of must stand there once. Gives their number.</summary>
    private static int Check(string place, IReadOnlyList<string> lines, bool retry)
    {
        using var ledger = Ledger.Open(new LedgerPlace(place), TimeProvider.System);
        LedgerChecks.OnStart(ledger);
        var kept = lines.Where(l => l.StartsWith("kept ", StringComparison.Ordinal)).Select(l => l["kept ".Length..]).ToList();
        foreach (var id in kept)
            ledger.EventById(id).Should().NotBeNull("it was acknowledged");
        if (retry && lines.LastOrDefault(l => l.StartsWith("try ", StringComparison.Ordinal)) is { } last)
        {
            // Whoever does not know whether the last one got through tries again; it is taken once either way.
            var signed = SignedEvent.Parse(Convert.FromBase64String(last["try ".Length..]));
            ledger.Append(signed);
            ledger.Append(signed).WasThere.Should().BeTrue();
        }

        LedgerChecks.Full(ledger, [], RunContext.Default).Failures.Should().BeEmpty();
        return kept.Count;
    }

    /// <summary>Kills at an instant that no slow machine moves to before the work: some lines after the start, and a little later.</summary>
    private List<string> RunAndKill(string place, int afterLines, int afterMs)
    {
        var lines = new List<string>();
        using var started = new ManualResetEventSlim();
        using var process = new Process { StartInfo = Start("dotnet", [s_dll, "ledger", "measure", place, "--seconds", "60", "--trace"]) };
        process.OutputDataReceived += (_, line) =>
        {
            if (line.Data is null)
                return;
            lines.Add(line.Data);
            if (lines.Count == afterLines)
                started.Set();
        };
        process.Start();
        process.BeginOutputReadLine();
        process.BeginErrorReadLine();
        started.Wait(TimeSpan.FromSeconds(60)).Should().BeTrue("the program should begin to append");
        Thread.Sleep(afterMs);
        process.Kill();
        process.WaitForExit();
        if (lines.Count > 0 && !IsWhole(lines[^1]))
            lines.RemoveAt(lines.Count - 1);
        return lines;
    }

    /// <summary>The kill may have cut the last line.</summary>
    private static bool IsWhole(string line)
    {
        try
        {
            return line.StartsWith("try ", StringComparison.Ordinal)
                ? SignedEvent.Parse(Convert.FromBase64String(line["try ".Length..])) is not null
                : line.Length == "kept ".Length + 32;
        }
        catch (Exception e) when (e is FormatException or AnatomyPrep.Core.Findings.CheckFailedException)
        {
            return false;
        }
    }

    private (int ExitCode, List<string> Lines, string Errors) Run(string program, params string[] arguments)
    {
        using var process = Process.Start(Start(program, arguments))!;
        var errors = process.StandardError.ReadToEndAsync();
        var text = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        return (process.ExitCode, [.. text.Split('\n', StringSplitOptions.RemoveEmptyEntries)], errors.Result);
    }

    private ProcessStartInfo Start(string program, string[] arguments)
    {
        var start = new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true, RedirectStandardError = true };
        start.Environment["ANATOMYPREP_HOME"] = _folder["home"];
        // The runtime maps its code through a file of its own, which the limit would hit first.
        start.Environment["DOTNET_EnableWriteXorExecute"] = "0";
        return start;
    }

    private static string Command(string place, string seconds) => $"exec dotnet '{s_dll}' ledger measure '{place}' --seconds {seconds} --trace";
}
