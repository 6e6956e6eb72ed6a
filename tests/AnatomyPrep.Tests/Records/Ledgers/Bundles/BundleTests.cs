using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Bundles;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Ledgers.Bundles;

/// <summary>Bundles, checked by ours and by the page of docs/quality-officer/check-a-bundle.md as it stands there.</summary>
public sealed class BundleTests : IDisposable
{
    private readonly TestFolder _folder = new();
    private readonly LedgerStory _story;

    public BundleTests()
    {
        _story = LedgerStory.Begin(new LedgerPlace(_folder["ledger"]));
        LedgerTests.TellAll(_story);
    }

    public void Dispose()
    {
        _story.Dispose();
        _folder.Dispose();
    }

    [Fact]
    public void Bundle_holds_on_a_machine_that_never_saw_the_ledger()
    {
        var zip = BundleWriter.Write(_story.Ledger, ["M-1/2"], NoRuns());
        var report = BundleVerifier.Verify(zip, null);
        report.Failures.Should().BeEmpty();
        report.Size.Should().Be(_story.Ledger.Size());
        report.Notes.Should().ContainSingle();
        using var key = LogKey();
        BundleVerifier.Verify(zip, key).Should().Match<AnatomyPrep.Records.Ledgers.Checks.LedgerReport>(r => r.Holds && r.Notes.Count == 0);
        using var stranger = SigningKey.Create();
        using var strange = stranger.PublicKey();
        BundleVerifier.Verify(zip, strange).Holds.Should().BeFalse();
        StoredZip.Read(zip).Keys.Should().Contain(["README.md", "head.json", "manifest.json", "keys/ledger.pem"]);
    }

    [Fact]
    public void Bundle_carries_the_recorded_run_and_no_other()
    {
        using var site = SigningKey.Create();
        var run = SampleRun.Write(_folder["run"], site);
        _story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "R-1/1");
        _story.Do("tom", LedgerEventKind.SourceReceived, new SourceReceivedBody(run.Run.Source.TreeSha256, 3), "R-1/1");
        var record = Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(File.ReadAllBytes(Path.Combine(_folder["run"], RecordFiles.Record))));
        _story.Do("tom", LedgerEventKind.Run, LedgerStory.Run("x", "R-1/1", "tom") with { Run = run.Run.RunId, RecordSha256 = record, SourceSha256 = run.Run.Source.TreeSha256 }, "R-1/1");
        var zip = BundleWriter.Write(_story.Ledger, ["R-1/1"], new Dictionary<string, string> { ["R-1/1"] = _folder["run"] });
        BundleVerifier.Verify(zip, null).Failures.Should().BeEmpty();
        StoredZip.Read(zip).Keys.Should().Contain(["models/R-1/1/model.stl", "models/R-1/1/record.json"]);
        LedgerTests.Refused(() => BundleWriter.Write(_story.Ledger, ["M-1/1"], new Dictionary<string, string> { ["M-1/1"] = _folder["run"] }), Refusals.IllegalMove);
    }

    [Fact]
    public void Every_single_bit_change_is_found() => FlipBits(600);

    [Fact]
    [Trait("Kind", "Slow")]
    public void Every_single_bit_change_is_found_many() => FlipBits(3000);

    [Fact]
    public void Changed_file_is_named()
    {
        var zip = BundleWriter.Write(_story.Ledger, ["M-1/1"], NoRuns());
        var files = StoredZip.Read(zip);
        foreach (var name in files.Keys)
        {
            var changed = zip.ToArray();
            changed[zip.AsSpan().IndexOf(files[name]) + (files[name].Length / 2)] ^= 4;
            BundleVerifier.Verify(changed, null).Failures.Should().ContainSingle().Which.Found.Should().Contain(name);
        }
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Zip_is_what_the_zip_tool_of_Python_writes_and_reads()
    {
        var zip = BundleWriter.Write(_story.Ledger, ["M-2/1"], NoRuns());
        File.WriteAllBytes(_folder["bundle.zip"], zip);
        Tool.Run(_folder.Path, "python3", "-m", "zipfile", "-t", "bundle.zip").Output.Should().Contain("Done testing");
        FluentActions.Invoking(() => StoredZip.Read([.. zip, 0])).Should().Throw<CheckFailedException>();
        FluentActions.Invoking(() => StoredZip.Read(zip.AsSpan(0, zip.Length - 1))).Should().Throw<CheckFailedException>();
        FluentActions.Invoking(() => StoredZip.Read([])).Should().Throw<CheckFailedException>();
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Shell_block_verifies_an_event_and_prints_the_fingerprint()
    {
        File.WriteAllBytes(_folder["bundle.zip"], BundleWriter.Write(_story.Ledger, ["M-1/1"], NoRuns()));
        Directory.CreateDirectory(_folder["open"]);
        Tool.Run(_folder["open"], "python3", "-m", "zipfile", "-e", _folder["bundle.zip"], ".").ExitCode.Should().Be(0);
        var result = Tool.Run(_folder["open"], "sh", "-c", Block("sh"));
        result.Output.Should().Be($"Verified OK\n{_story.Ledger.People.LogKeyId}  -\n");
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Independent_check_agrees_on_bundles_and_disagrees_on_tampered_ones() => CompareWithPython(2);

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Kind", "Slow")]
    public void Independent_check_agrees_on_100_bundles_and_disagrees_on_100_tampered_ones() => CompareWithPython(100);

    [Fact]
    [Trait("Kind", "Outside")]
    public void Repacked_lies_are_found_by_both()
    {
        var files = StoredZip.Read(BundleWriter.Write(_story.Ledger, ["M-1/1"], NoRuns()));
        using var stranger = SigningKey.Create();
        var last = files.Keys.Where(n => n.StartsWith("events/", StringComparison.Ordinal)).Max(StringComparer.Ordinal)!;
        foreach (var (what, change) in new (string, Action<Dictionary<string, byte[]>>)[]
        {
            ("an event left out", f => f.Remove(last)),
            ("a proof left out", f => f.Remove(last.Replace("events", "proofs", StringComparison.Ordinal))),
            ("events swapped", f => (f[last], f["events/0000000001.json"]) = (f["events/0000000001.json"], f[last])),
            ("another event", f => f[last] = f["events/0000000001.json"]),
            ("another ledger key", f => f["keys/ledger.pem"] = System.Text.Encoding.ASCII.GetBytes(stranger.PublicPem)),
            ("a head by a stranger", f => f["head.json"] = TreeHead.Read(f["head.json"], out _).Sign(stranger)),
            ("a file added", f => f["models/extra.stl"] = [1]),
            ("a guide rewritten", f => f["README.md"] = [.. f["README.md"], (byte)'!']),
            ("an event with a name twice", f => f[last] = Doubled(f[last])),
        })
        {
            var changed = new Dictionary<string, byte[]>(files);
            change(changed);
            var zip = StoredZip.Write(changed);
            BundleVerifier.Verify(zip, null).Holds.Should().BeFalse(what);
            Python(zip).ExitCode.Should().Be(1, what);
        }
    }

    private static byte[] Doubled(byte[] envelope) =>
        [.. System.Text.Encoding.ASCII.GetBytes("{\"payload\":\"\","), .. envelope[1..]];

    private void FlipBits(int cases)
    {
        var zip = BundleWriter.Write(_story.Ledger, ["M-1/2"], NoRuns());
        var random = new Random(21);
        for (var i = 0; i < cases; i++)
        {
            var bit = random.Next(zip.Length * 8);
            var changed = zip.ToArray();
            changed[bit / 8] ^= (byte)(1 << (bit % 8));
            BundleVerifier.Verify(changed, null).Failures.Should().NotBeEmpty("bit {0} was changed", bit);
        }
    }

    private void CompareWithPython(int bundles)
    {
        var random = new Random(22);
        for (var i = 0; i < bundles; i++)
        {
            string[] models = [$"M-{1 + (i % 2)}/1"];
            if (i % 3 == 0)
                _story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), $"P-{i}/1");
            var zip = BundleWriter.Write(_story.Ledger, models, NoRuns());
            BundleVerifier.Verify(zip, null).Failures.Should().BeEmpty();
            Python(zip, _story.Ledger.People.LogKeyId!).Should().Match<(int ExitCode, string Output)>(r => r.ExitCode == 0 && r.Output.StartsWith("holds: "));
            var bit = random.Next(zip.Length * 8);
            zip[bit / 8] ^= (byte)(1 << (bit % 8));
            BundleVerifier.Verify(zip, null).Holds.Should().BeFalse();
            Python(zip).ExitCode.Should().Be(1, "bit {0} was changed", bit);
        }
    }

    private (int ExitCode, string Output) Python(byte[] zip, params string[] fingerprint)
    {
        File.WriteAllBytes(_folder["bundle.zip"], zip);
        return Tool.Run(_folder.Path, "python3", ["-c", Block("python"), "bundle.zip", .. fingerprint]);
    }

    private static Dictionary<string, string> NoRuns() => [];

    private VerificationKey LogKey() => VerificationKey.FromPem(_story.Ledger.People.FindKey(_story.Ledger.People.LogKeyId!)!.Pem, "key");

    private static string Block(string language)
    {
        var page = File.ReadAllText(Path.Combine(Repository.Root, "docs", "quality-officer", "check-a-bundle.md"));
        var fence = $"```{language}\n";
        var from = page.IndexOf(fence, StringComparison.Ordinal) + fence.Length;
        return page[from..page.IndexOf("```", from, StringComparison.Ordinal)];
    }
}
