using System.Diagnostics;
using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Tests.Records.Ledgers;

namespace AnatomyPrep.Tests.App.Ledgers;

/// <summary>What a user of the commands can do wrong or meet: named, with the exit code, and the ledger as it was.</summary>
[Trait("Kind", "Hostile")]
public sealed class LedgerRefusalTests : IDisposable
{
    private const int Refused = 1;
    private const int WrongUsage = 2;
    private const int BadInput = 3;

    private readonly TestFolder _folder = new();
    private readonly string _passphrase;
    private readonly string _wrong;

    public LedgerRefusalTests()
    {
        using var story = LedgerStory.Begin(new LedgerPlace(Place));
        story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        File.WriteAllText(_passphrase = _folder["passphrase"], LedgerStory.Passphrase + "\n");
        File.WriteAllText(_wrong = _folder["wrong"], "another passphrase\n");
    }

    private string Place => _folder["ledger"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void Numbers_and_names_that_no_record_can_hold_are_refused()
    {
        var size = Size();
        foreach (var scale in new[] { "1e999", "NaN", "-1", "0" })
            Said(WrongUsage, "--scale", Request("M-2/1", "--scale", scale));
        foreach (var deviation in new[] { "1e999", "NaN", "-1" })
            Said(WrongUsage, "--largest-deviation-mm", "inspect", "M-1/1", "--method", "caliper", "--largest-deviation-mm", deviation, "--as", "quinn", "--passphrase-file", _passphrase);
        string first;
        using (var ledger = Open())
            first = ledger.EventsOf("M-1/1")[0].Event.Content.Id;
        foreach (var (now, why) in new[] { ("{\"a\":1,\"a\":2}", "twice"), ("{\"a\":1e400}", "IEEE"), ("{\"a\":}", "JSON") })
            Said(WrongUsage, why, "correct", first, "--now", now, "--reason", "x", "--as", "cora", "--passphrase-file", _passphrase);
        Said(Refused, Refusals.EventForm, "correct", new string('0', 32), "--now", "{\"a\":1}", "--reason", "x", "--as", "cora", "--passphrase-file", _passphrase);
        Intact(size);
    }

    [Fact]
    public void Wrong_passphrases_are_logged_and_shut_the_key_and_a_missing_key_is_named()
    {
        var size = Size();
        for (var i = 0; i < 5; i++)
            Said(Refused, Refusals.PassphraseWrong, [.. Request("M-2/1")[..^1], _wrong]);
        Said(Refused, Refusals.PassphraseLocked, Request("M-2/1"));
        Size().Should().Be(size + 5, "each failure is an event");
        File.Delete(Directory.GetFiles(Path.Combine(Place, "keys"), "tom-*.pem").Single());
        Said(Refused, Refusals.UnknownKey, "finish", "M-1/1", "--process", "washed", "--as", "tom", "--passphrase-file", _passphrase);
        Said(Refused, Refusals.PersonUnknown, [.. Request("M-2/1")[..^3], "nobody", "--passphrase-file", _passphrase]);
        Intact(size + 5);
    }

    [Fact]
    public void Clock_set_back_is_refused_until_it_is_corrected()
    {
        var size = Size();
        using (var ledger = Ledger.Open(new LedgerPlace(Place), new TestClock { Now = TimeProvider.System.GetUtcNow().AddDays(400) }, keyIterations: LedgerStory.KeyIterations))
            ledger.Record(new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), ["M-2/1"]), "cora", LedgerStory.Passphrase);
        Said(Refused, Refusals.ClockSetBack, Request("M-3/1"));
        Intact(size + 1);
        Said(0, "", "clock-corrected", "--reason", "it was a year ahead", "--as", "ada", "--passphrase-file", _passphrase);
        Said(0, "", Request("M-3/1"));
        Intact(size + 3);
    }

    [Fact]
    public void Forged_cut_and_foreign_heads_are_named()
    {
        var size = Size();
        Said(0, "", "witness", "copy", _folder["heads"]);
        var copy = Directory.GetFiles(_folder["heads"], "*", SearchOption.AllDirectories).Single();
        Said(0, "", "verify", "--witness", copy);
        var good = File.ReadAllText(copy);
        var payload = Encoding.UTF8.GetString(Convert.FromBase64String(good.Split('"')[3]));
        var larger = payload.Replace($"\"size\":{size.ToString(CultureInfo.InvariantCulture)}", "\"size\":2", StringComparison.Ordinal);
        larger.Should().NotBe(payload);
        File.WriteAllText(copy, good.Replace(good.Split('"')[3], Convert.ToBase64String(Encoding.UTF8.GetBytes(larger)), StringComparison.Ordinal));
        Said(Refused, "witness", "verify", "--witness", copy);
        var twice = payload.Replace("\"size\":", "\"size\":1,\"size\":", StringComparison.Ordinal);
        File.WriteAllText(copy, good.Replace(good.Split('"')[3], Convert.ToBase64String(Encoding.UTF8.GetBytes(twice)), StringComparison.Ordinal));
        Said(BadInput, "witnessed head", "verify", "--witness", copy);
        File.WriteAllText(copy, good[..^20]);
        Said(BadInput, "witnessed head", "verify", "--witness", copy);
        Intact(size);
    }

    [Fact]
    public async Task Several_people_at_once_make_one_history()
    {
        var size = Size();
        var all = await Task.WhenAll(Enumerable.Range(2, 4).Select(i => Task.Factory.StartNew(() => Run(Request($"M-{i}/1")), TaskCreationOptions.LongRunning)));
        all.Should().OnlyContain(done => done.ExitCode == 0);
        Intact(size + 4);
    }

    [Fact]
    public void File_that_may_not_be_written_is_named_and_can_be_read()
    {
        var size = Size();
        // Whoever is root writes everything, so the command runs as another user, who may read but not write.
        Tool("chmod", "a+x", Path.GetDirectoryName(_folder.Path)!);
        Tool("chmod", "-R", "a+rX,a-w", _folder.Path);
        Tool("chmod", "-R", "u+rwX,go-rwx", Path.Combine(Place, "keys"));
        if (Environment.UserName == "root")
            Tool("chown", "-R", "nobody", Path.Combine(Place, "keys"));
        Tool("chmod", "a+rwx", Directory.CreateDirectory(_folder["home"]).FullName);
        try
        {
            var (exitCode, _, errors) = Run(Request("M-2/1"), asNobody: true);
            errors.Should().Contain(Refusals.DatabaseReadOnly);
            exitCode.Should().Be(Refused);
        }
        finally
        {
            Tool("chmod", "-R", "u+w", _folder.Path);
        }

        Intact(size);
    }

    private string[] Request(string model, params string[] more) =>
        ["request", model, "--anatomy", "skull", "--purpose", "education", .. more, "--as", "cora", "--passphrase-file", _passphrase];

    private void Said(int exitCode, string words, params string[] command)
    {
        var done = Run(command);
        done.ExitCode.Should().Be(exitCode, "ledger {0} said {1}{2}", string.Join(' ', command), done.Output, done.Errors);
        (done.Output + done.Errors).Contains(words, StringComparison.Ordinal).Should().BeTrue("{0} belongs into {1}{2}", words, done.Output, done.Errors);
        done.Errors.Should().NotContain("Internal");
    }

    private (int ExitCode, string Output, string Errors) Run(string[] command, bool asNobody = false)
    {
        string[] words = ["dotnet", Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll"), "ledger", .. command, "--ledger", Place];
        if (asNobody && Environment.UserName == "root")
            words = ["setpriv", "--reuid", "nobody", "--regid", "nogroup", "--clear-groups", .. words];
        var start = new ProcessStartInfo(words[0], words[1..]) { RedirectStandardOutput = true, RedirectStandardError = true };
        start.Environment["ANATOMYPREP_HOME"] = _folder["home"];
        start.Environment["COLUMNS"] = "400";
        start.Environment["DOTNET_CLI_HOME"] = _folder["home"];
        using var process = Process.Start(start)!;
        var errors = process.StandardError.ReadToEndAsync();
        var output = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        return (process.ExitCode, output, errors.Result);
    }

    private void Tool(string name, params string[] words) => Records.Tool.Run(_folder.Path, name, words).ExitCode.Should().Be(0);

    private Ledger Open() => Ledger.Open(new LedgerPlace(Place), TimeProvider.System, readOnly: true, keyIterations: LedgerStory.KeyIterations);

    private long Size()
    {
        using var ledger = Open();
        return ledger.Size();
    }

    private void Intact(long size)
    {
        using var ledger = Open();
        ledger.Size().Should().Be(size);
        LedgerChecks.Full(ledger, [], RunContext.Default).Failures.Should().BeEmpty();
    }
}
