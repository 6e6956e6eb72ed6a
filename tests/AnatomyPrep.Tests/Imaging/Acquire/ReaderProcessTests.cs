using System.Diagnostics;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Whatever a file does to the child, the parent names it and goes on with the others.</summary>
public sealed class ReaderProcessTests
{
    private static readonly ReaderLimits s_short = new(TimeSpan.FromSeconds(2.5), MostCrashes: 4);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_file_that_aborts_the_child_is_quarantined_and_the_others_are_read()
    {
        var replies = Run("a", "crash-b", "c", "d");
        Codes(replies).Should().Equal(null, FindingCodes.FileCrashedReader, null, null);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_file_that_hangs_the_child_is_quarantined_after_its_time()
    {
        var clock = Stopwatch.StartNew();
        var replies = Run("a", "hang-b", "c");
        Codes(replies).Should().Equal(null, FindingCodes.FileTimedOut, null);
        replies[1].Fault!.Value.Should().Contain("2.5 s");
        clock.Elapsed.Should().BeGreaterThan(s_short.PerStep);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_child_killed_from_outside_costs_no_file()
    {
        Codes(Run("a", "once-b", "c")).Should().Equal(null, null, null);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_child_that_answers_nonsense_is_treated_like_one_that_crashed()
    {
        Codes(Run("a", "nonsense-b", "c")).Should().Equal(null, FindingCodes.FileCrashedReader, null);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Too_many_crashing_files_end_the_run()
    {
        FluentActions.Invoking(() => Run("crash-1", "crash-2", "crash-3", "crash-4", "crash-5", "f")).Should().Throw<BadInputException>()
            .Which.Message.Should().StartWith("the source: files: 5 crash or hang the decoder.");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_child_that_cannot_start_is_our_fault_not_a_file_s()
    {
        using var folder = new TestFolder();
        File.WriteAllText(folder["a"], "x");
        using var reader = new ReaderProcess(new ReaderCommand("false", []), s_short, 1);
        FluentActions.Invoking(() => reader.Run(ReaderTask.Hash, [new ReaderItem(0, folder["a"])], null, "test", RunContext.Default))
            .Should().Throw<InvalidOperationException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Cancelling_ends_a_hanging_child_within_a_second()
    {
        using var folder = new TestFolder();
        File.WriteAllText(folder["hang"], "x");
        using var cancel = new CancellationTokenSource(TimeSpan.FromSeconds(0.5));
        using var reader = new ReaderProcess(TestReader.Misbehaving(folder), ReaderLimits.Default, 1);
        var clock = Stopwatch.StartNew();
        FluentActions.Invoking(() => reader.Run(ReaderTask.Hash, [new ReaderItem(0, folder["hang"])], null, "test", new RunContext(cancellation: cancel.Token)))
            .Should().Throw<OperationCanceledException>();
        clock.Elapsed.Should().BeLessThan(TimeSpan.FromSeconds(0.5 + 1 + 1), "one second to end, one for a busy machine");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Whole_time_ends_what_no_single_file_does()
    {
        using var folder = new TestFolder();
        File.WriteAllText(folder["hang"], "x");
        using var reader = new ReaderProcess(TestReader.Misbehaving(folder), new ReaderLimits(TimeSpan.FromSeconds(30), Whole: TimeSpan.FromSeconds(1)), 1);
        FluentActions.Invoking(() => reader.Run(ReaderTask.Hash, [new ReaderItem(0, folder["hang"])], null, "test", RunContext.Default))
            .Should().Throw<BadInputException>().Which.Field.Should().Be("reading time");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    [Trait("Needs", "Shared")]
    public void The_real_child_killed_while_it_reads_costs_no_slice()
    {
        using var folder = new TestFolder();
        // The first child lives for 0.2 s: by the speed of the machine the kill falls into start, headers or pixels. It keeps the number of the shell, so that
        // whoever kills it kills the reader and not a program around it.
        var program = $"'{TestReader.Command.FileName}' '{TestReader.Command.Arguments[0]}' reader-child";
        var script = $"""
            if mkdir '{folder.Path}'/killed 2>/dev/null; then (sleep 0.2; kill -KILL $$) </dev/null >/dev/null 2>&1 & fi
            exec {program}
            """;
        var killed = new DicomSource(new ReaderCommand("sh", ["-c", script]));
        using var series = killed.Load(SharedData.Series("head-phantom-1mm"), null, RunContext.Default);
        series.Volume.Slices.Should().Be(140);
        series.Facts.Findings.Should().NotContain(f => f.Code == FindingCodes.FileCrashedReader);
        Directory.Exists(folder["killed"]).Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Progress_runs_to_the_end_of_both_phases()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 6);
        var seen = new Log();
        using var series = TestReader.Source.Load(folder.Path, null, new RunContext(seen));
        foreach (var phase in new[] { "reading headers", "decoding slices" })
        {
            var fractions = seen.Reports.Where(r => r.Phase == phase).Select(r => r.Fraction).ToArray();
            fractions.Should().BeInAscendingOrder();
            fractions[^1].Should().Be(1);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    [Trait("Needs", "Shared")]
    public void Cancelling_in_the_middle_of_decoding_leaves_at_once()
    {
        using var cancel = new CancellationTokenSource();
        var clock = new Stopwatch();
        var progress = new Log(r =>
        {
            if (r.Phase != "decoding slices" || clock.IsRunning)
                return;
            clock.Start();
            cancel.Cancel();
        });
        FluentActions.Invoking(() => TestReader.Source.Load(SharedData.Series("head-phantom-1mm"), null, new RunContext(progress, cancellation: cancel.Token)))
            .Should().Throw<OperationCanceledException>();
        clock.Elapsed.Should().BeLessThan(TimeSpan.FromSeconds(1 + 1), "one second to end, one for a busy machine");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_directory_record_among_the_slices_is_set_aside_by_the_real_child()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3);
        File.WriteAllBytes(folder["DICOMDIR"], new TestCt().With(Tag.SopClassUid, "UI", "1.2.840.10008.1.3.10").Bytes());
        var listing = TestReader.Source.Inspect(folder.Path, RunContext.Default);
        listing.Others.Should().ContainSingle().Which.Reason.Should().Contain("DICOMDIR");
        listing.Series.Single().Slices.Should().Be(3);
    }

    /// <summary>The files of a general test set that are known to abort the native library when it opens them by itself.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void Files_that_abort_the_native_library_are_named_when_given_straight_to_the_decoder()
    {
        using var folder = new TestFolder();
        TestCt.Slice(0, 0).Save(folder["good.dcm"]);
        var bad = PydicomFiles("dicomdirtests/DICOMDIR", "rtdose.dcm", "rtdose_rle.dcm", "rtdose_1frame.dcm");
        var (replies, hu) = TestReader.Decode([.. bad, folder["good.dcm"]], TestCt.Rows * TestCt.Columns);
        replies.SkipLast(1).Should().AllSatisfy(r => r.Fault!.Code.Should().BeOneOf(FindingCodes.FileNotCt, FindingCodes.FileNotImage));
        replies[^1].Fault.Should().BeNull();
        hu[^1][5].Should().Be(1005 - 1024);
    }

    /// <summary>Every file of that test set, good and bad, through the whole of inspect: a series or a reason for each, and no end of the parent.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_whole_set_of_odd_files_is_sorted_without_a_crash()
    {
        var all = Directory.GetFiles(Path.GetDirectoryName(PydicomFiles("CT_small.dcm")[0])!, "*", SearchOption.AllDirectories);
        var listing = TestReader.Source.Inspect(Path.GetDirectoryName(PydicomFiles("CT_small.dcm")[0])!, RunContext.Default);
        (listing.Series.Sum(s => s.Slices) + listing.Others.Count).Should().BeGreaterThanOrEqualTo(all.Length);
        listing.Findings.Concat(listing.Series.SelectMany(s => s.Findings)).Should().NotContain(f => f.Code == FindingCodes.FileCrashedReader || f.Code == FindingCodes.FileTimedOut);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Private_memory_of_the_child_is_bounded_by_the_kernel()
    {
        using var hog = new SupervisedProcess("perl", ["-e", "my $x = 'a' x 400_000_000; print 'done';"], new KernelLimits(100 << 20, TimeSpan.FromSeconds(20), 0));
        using var said = new StreamReader(hog.Output);
        said.ReadToEnd().Should().BeEmpty();
        hog.WaitForExit().Should().NotBe(0);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void The_child_dies_with_its_parent()
    {
        // The parent here is a shell that starts a child as the reader does and is then killed.
        using var shell = Process.Start(new ProcessStartInfo("sh", ["-c", "setpriv --no-new-privs --pdeathsig KILL -- sleep 60 & echo $!; wait"]) { RedirectStandardOutput = true })!;
        var child = int.Parse(shell.StandardOutput.ReadLine()!, System.Globalization.CultureInfo.InvariantCulture);
        Thread.Sleep(200);
        shell.Kill();
        shell.WaitForExit();
        SpinWait.SpinUntil(() => !File.Exists($"/proc/{child}/stat") || File.ReadAllText($"/proc/{child}/stat").Contains(") Z "), TimeSpan.FromSeconds(5)).Should().BeTrue();
    }

    private sealed class Log(Action<RunProgress>? also = null) : IProgress<RunProgress>
    {
        public List<RunProgress> Reports { get; } = [];

        public void Report(RunProgress value)
        {
            Reports.Add(value);
            also?.Invoke(value);
        }
    }

    private static IReadOnlyList<ReaderReply> Run(params string[] names)
    {
        using var folder = new TestFolder();
        foreach (var name in names)
            File.WriteAllText(folder[name], "x");
        using var reader = new ReaderProcess(TestReader.Misbehaving(folder), s_short, 1);
        return reader.Run(ReaderTask.Hash, [.. names.Select((n, i) => new ReaderItem(i, folder[n]))], null, "test", RunContext.Default);
    }

    private static IEnumerable<string?> Codes(IReadOnlyList<ReaderReply> replies) => replies.Select(r => r.Fault?.Code);

    /// <summary>Debian package python3-pydicom, which the tests of the project ask for.</summary>
    private static string[] PydicomFiles(params string[] names) =>
        [.. names.Select(n => Path.Combine("/usr/lib/python3/dist-packages/pydicom/data/test_files", n))];
}
