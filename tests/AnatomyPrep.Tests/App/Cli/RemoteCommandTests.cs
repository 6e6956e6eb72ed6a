using System.Diagnostics;
using System.Text.Json;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Tests.Service;

namespace AnatomyPrep.Tests.App.Cli;

/// <summary>The commands against a running service: the same words, the same exit codes, and the same files.</summary>
public sealed class RemoteCommandTests : IDisposable
{
    private static readonly object s_settings = new { intake = new { quietSeconds = 0.3 } };

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task Prepare_verify_and_replay_on_a_service_give_what_they_give_here()
    {
        Phantom.Write(Phantom.Bones(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(_folder["data"], s_settings);
        await Token(service, Roles.Technician, "tom");
        var (exit, output, errors) = Remote(service, "prepare", _folder["ct"], "--plan", "bone", "--anatomy", "shells", "--out", _folder["fetched"], "--json");
        exit.Should().Be(0, errors);
        var made = JsonDocument.Parse(output).RootElement;
        made.GetProperty("files").EnumerateArray().Select(f => f.GetString()).Should().Contain(["model.stl", "record.json", "report.pdf", "run.json"]);
        errors.Should().Contain("%", "the stages are told");
        TestProgram.Run(_folder["home"], "verify", _folder["fetched"]).ExitCode.Should().Be(0);
        Directory.GetDirectories(_folder.Path, ".fetched*").Should().BeEmpty("what was written aside is gone");

        var (here, _, said) = TestProgram.Run(_folder["home"], "prepare", _folder["ct"], "--plan", "bone", "--anatomy", "shells", "--out", _folder["here"]);
        here.Should().Be(0, said);
        foreach (var name in new[] { "model.stl", "model.ply", "model.3mf" })
            File.ReadAllBytes(Path.Combine(_folder["fetched"], name)).Should().Equal(File.ReadAllBytes(Path.Combine(_folder["here"], name)), "of {0}", name);

        var job = made.GetProperty("job").GetString()!;
        var (verified, report, _) = Remote(service, "verify", job, "--json");
        verified.Should().Be(0);
        JsonDocument.Parse(report).RootElement.GetProperty("holds").GetBoolean().Should().BeTrue();
        Remote(service, "verify", job).Output.Should().Be(TestProgram.Run(_folder["home"], "verify", _folder["fetched"]).Output, "the lines are those of the command here");
        var (replayed, bytes, why) = Remote(service, "replay", job);
        replayed.Should().Be(0, why);
        bytes.Should().EndWith("identical bytes\n").And.Contain("identical  model.stl");
        foreach (var json in new[] { true, false })
        {
            string[] words = ["check", Path.Combine(_folder["fetched"], "model.stl"), .. json ? new[] { "--json" } : []];
            Remote(service, words).Output.Should().Be(TestProgram.Run(_folder["home"], words).Output);
        }

        Remote(service, "verify", job, "--key", _folder["token"]).ExitCode.Should().Be(2, "a key that was given must not be left out silently");
        File.AppendAllText(Path.Combine(_folder["data"], "jobs", job, "1", "model", "model.stl"), "x");
        Remote(service, "verify", job).ExitCode.Should().Be(1, "a changed model does not hold there either");

        // By the id of a source that is there: nothing is sent, and bad input has the exit code it has here.
        var source = made.GetProperty("source").GetString()!;
        var (bad, _, reason) = Remote(service, "prepare", source, "--plan", "vessels-contrast", "--out", _folder["bad"]);
        (bad, Directory.Exists(_folder["bad"])).Should().Be((TestProgram.Run(_folder["home"], "prepare", _folder["ct"], "--plan", "vessels-contrast", "--out", _folder["worse"]).ExitCode, false), reason);
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task An_upload_that_broke_goes_on_where_it_was()
    {
        var files = Phantom.Write(Phantom.Ball(slices: 6), _folder["ct"]);
        await using var service = await RunningService.StartAsync(_folder["data"], s_settings);
        await Token(service, Roles.Technician, "tom");
        // An interrupt in the middle leaves an upload and its note: here the note is made by a first command whose service answers no longer.
        using (var tom = new ServiceClient(service.Address))
        {
            await tom.SignInAsync("tom", ServiceClient.Password);
            var (exit, output, errors) = Remote(service, "inspect", _folder["ct"], "--json");
            exit.Should().Be(0, errors);
            JsonDocument.Parse(output).RootElement.GetProperty("series")[0].GetProperty("slices").GetInt32().Should().Be(6);
        }

        using var link = new AnatomyPrep.App.Cli.Remote.ServiceLink(service.Address.ToString(), File.ReadAllText(_folder["token"]).Trim());
        var upload = new AnatomyPrep.App.Cli.Remote.RemoteUpload(link, _folder["notes"]);
        var first = await upload.SendAsync(files, null, default);
        // Half of the last file is lost, as if the line had broken.
        var last = Path.Combine(_folder["data"], "uploads", first, "000005.dcm");
        using (var cut = new FileStream(last, FileMode.Open))
            cut.SetLength(100);
        var second = await upload.SendAsync(files, null, default);
        second.Should().Be(first, "it is the same upload");
        foreach (var (file, number) in files.Order(StringComparer.Ordinal).Select((f, k) => (f, k)))
            File.ReadAllBytes(Path.Combine(_folder["data"], "uploads", first, $"{number:D6}.dcm")).Should().Equal(File.ReadAllBytes(file));
        await upload.CompleteAsync(first, files, default);
        Directory.GetFiles(_folder["notes"]).Should().BeEmpty();
        await service.Until(() => service.Sources.List(1) is [{ Files: 6 } only] ? only : null, "no source");
    }

    [Fact]
    public async Task Requests_catalogue_and_questions_are_asked_by_the_same_words()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { storage = new { leastFreeMegabytes = int.MaxValue } });
        await Token(service, Roles.Coordinator, "cora");
        File.WriteAllText(_folder["asked.csv"], "purpose,anatomy,plan,patientId\neducation,skull,bone,INVENTED-5\nplanning,jaw,bone,INVENTED-6\n");
        var (added, lines, errors) = Remote(service, "requests", "add", _folder["asked.csv"]);
        added.Should().Be(0, errors);
        lines.Split('\n', StringSplitOptions.RemoveEmptyEntries).Should().HaveCount(2);
        var id = service.Requests.List(1)[0].Id;
        Remote(service, "requests", "show", id, "--json").Output.Should().Contain(id);
        Remote(service, "requests", "cancel", id).ExitCode.Should().Be(0);
        Remote(service, "requests", "list", "--state", "cancelled").Output.Should().Contain(id);
        Remote(service, "requests", "cancel", id).ExitCode.Should().Be(3, "it has ended already");
        foreach (var words in new string[][] { ["plans"], ["plans", "bone"], ["plans", "bone", "--json"], ["plans", "--schema"], ["profiles"], ["profiles", "vat"] })
            Remote(service, words).Output.Should().Be(TestProgram.Run(_folder["home"], words).Output, "of {0}", string.Join(' ', words));
        var (refused, _, why) = Remote(service, "ledger", "ask", "alone");
        refused.Should().Be(2, "a coordinator may not ask");
        why.Should().Contain("a token of an account");
        await Token(service, Roles.QualityOfficer, "quinn");
        Remote(service, "ledger", "ask", "alone").Output.Should().Be("none\n");
        Remote(service, "ledger", "ask", "retention", "--before", "2040-01-01", "--json").Output.Trim().Should().Be("[]");
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task The_ledger_there_answers_in_the_lines_of_the_ledger_here()
    {
        const string Passphrase = "a passphrase nobody logs";
        string[][] questions =
        [
            ["model", "M-{job}/1"], ["models", "person", "ledger"], ["recall", "L-1"], ["acknowledged", "anisotropy"], ["alone"], ["drift"], ["drift-by-software"],
            ["retention", "--before", "2040-01-01"], ["key", "{key}"], ["events", "request"], ["events", "serviceEvent"],
        ];
        string[] told = [];
        var ledger = "";
        await using (var service = await RunningService.StartAsync(_folder["data"], new { storage = new { leastFreeMegabytes = int.MaxValue } }))
        {
            using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
            (await ada.SendAsync(HttpMethod.Post, "/api/v1/ledger/me/key", new { passphrase = Passphrase, name = "Ada Lindgren" })).EnsureSuccessStatusCode();
            using var tess = await ServiceClient.AsAsync(service, Roles.Technician, "tess");
            var job = service.Jobs.Create(new(AnatomyPrep.Records.Statements.Purpose.Education, "skull", null, "bone", null, null, "someone", null), "tess", null).Id;
            await Token(service, Roles.QualityOfficer, "quinn");
            var key = (await ada.ReadAsync("/api/v1/ledger/me")).GetProperty("signer").GetProperty("key").GetString()!;
            questions = [.. questions.Select(q => q.Select(w => w.Replace("{job}", job, StringComparison.Ordinal).Replace("{key}", key, StringComparison.Ordinal)).ToArray())];
            told = [.. questions.SelectMany(q => new[] { Remote(service, ["ledger", "ask", .. q]).Output, Remote(service, ["ledger", "ask", .. q, "--json"]).Output })];
            Remote(service, "ledger", "ask", "model", "M-none/1").ExitCode.Should().Be(3);
            ledger = Path.Combine(_folder["data"], "ledger");
        }

        // The service is gone: the same ledger, read here. Nothing was added to it meanwhile.
        string[] here = [.. questions.SelectMany(q => new[] { Local(ledger, q).Output, Local(ledger, [.. q, "--json"]).Output })];
        told.Should().Equal(here);
        told[0].Should().StartWith("M-").And.Contain("is requested").And.Contain("by ");
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task The_steps_of_the_README_lead_from_a_fresh_service_to_a_finished_model()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_settings);
        var link = $"{service.Address}invitation?token={service.Accounts.InviteFirst()}";
        var steps = Steps();
        steps[0].Should().StartWith("./anatomyprep serve");
        foreach (var step in steps.Skip(1))
        {
            // What README says, with the link that was printed, this service's port, and a folder of the test's own.
            var words = step.Split(' ', StringSplitOptions.RemoveEmptyEntries).Skip(1)
                .Select(w => w == "'LINK'" ? link : w == "http://127.0.0.1:5080" ? service.Address.ToString() : w.Replace("/tmp", _folder.Path, StringComparison.Ordinal)).ToArray();
            var (exit, output, errors) = await Typed(words, ServiceClient.Password);
            exit.Should().Be(0, "of {0}: {1}", step, errors);
            if (output.StartsWith("http", StringComparison.Ordinal))
                link = output.Trim();
        }

        foreach (var name in new[] { "model.stl", "preview.png", "report.pdf", "record.json" })
            File.Exists(Path.Combine(_folder.Path, "lab-demo", "model", name)).Should().BeTrue("{0} is there", name);
        service.Accounts.List().Select(a => (a.Name, a.Role)).Should().BeEquivalentTo([("lab", Roles.Administrator), ("tom", Roles.Technician)]);
        service.Log.Text.Should().NotContain(ServiceClient.Password);
    }

    [Fact]
    public async Task An_invitation_that_is_none_or_used_makes_no_account_and_says_so()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        var link = $"{service.Address}invitation?token={service.Accounts.InviteFirst()}";
        string[] rest = ["--account", "lab", "--token-file", _folder["token"]];
        (await Typed(["join", link, .. rest], "short")).ExitCode.Should().Be(2, "the password is too short");
        (await Typed(["join", service.Address.ToString(), .. rest], ServiceClient.Password)).ExitCode.Should().Be(2, "that is no invitation");
        (await Typed(["join", link, "--account", "lab"], ServiceClient.Password)).Errors.Should().Contain("--token-file");
        (await Typed(["join", link, .. rest], ServiceClient.Password)).ExitCode.Should().Be(0);
        (await Typed(["join", link, .. rest], ServiceClient.Password)).ExitCode.Should().Be(3, "it works once");
        (await Typed(["join", link.Replace("127.0.0.1", "models.example.org", StringComparison.Ordinal), .. rest], ServiceClient.Password)).Errors.Should().Contain("not sent in the clear");
        Remote(service, "invite", "cook").ExitCode.Should().Be(2);
        Remote(service, "invite", Roles.Coordinator).Output.Should().StartWith($"{service.Address}invitation?token=");
        service.Accounts.List().Should().ContainSingle().Which.Role.Should().Be(Roles.Administrator);
    }

    [Fact]
    public async Task What_works_here_only_says_so_and_a_token_goes_to_no_strange_place()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        await Token(service, Roles.Technician, "tom");
        var (exit, _, errors) = Remote(service, "compare", "a.stl", "b.stl");
        exit.Should().Be(2);
        string.Join(' ', errors.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries)).Should().Contain("compare").And.Contain("this machine only");
        TestProgram.Run(_folder["home"], "requests", "list").Errors.Should().Contain("--service");
        Run("plans", "--service", "http://models.example.org", "--token-file", _folder["token"]).Errors.Should().Contain("not sent in the clear");
        Run("plans", "--service", service.Address.ToString()).Errors.Should().Contain("ANATOMYPREP_TOKEN");
        File.WriteAllText(_folder["token"], "wrong");
        Remote(service, "plans").ExitCode.Should().Be(2);
        if (!OperatingSystem.IsWindows())
        {
            File.Delete(_folder["token"]);
            await Token(service, Roles.Technician, "tam");
            File.GetUnixFileMode(_folder["token"]).Should().Be(UnixFileMode.UserRead | UnixFileMode.UserWrite);
            File.SetUnixFileMode(_folder["token"], UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.OtherRead);
            await Token(service, Roles.Technician, "tim");
            File.GetUnixFileMode(_folder["token"]).Should().Be(UnixFileMode.UserRead | UnixFileMode.UserWrite, "also where a file was there that others may read");
        }
    }

    [Fact]
    public async Task A_token_ends_with_its_account_and_by_its_owner_and_is_kept_as_a_hash()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
        await Token(service, Roles.Technician, "tom");
        var secret = File.ReadAllText(_folder["token"]).Trim();
        Remote(service, "plans").ExitCode.Should().Be(0);
        System.Text.Encoding.Latin1.GetString(File.ReadAllBytes(Path.Combine(_folder["data"], "service.db"))).Should().NotContain(secret);
        service.Log.Text.Should().NotContain(secret);
        service.Accounts.EndToken("ada", service.Accounts.Tokens("tom")[0].Id).Should().BeFalse("it is another one's");
        await ada.SendAsync(HttpMethod.Post, "/api/v1/accounts/tom/disable");
        Remote(service, "plans").ExitCode.Should().Be(2);
    }

    private (int ExitCode, string Output, string Errors) Remote(RunningService service, params string[] arguments) =>
        Run([.. arguments, "--service", service.Address.ToString(), "--token-file", _folder["token"]]);

    private (int ExitCode, string Output, string Errors) Run(params string[] arguments) => TestProgram.Run(_folder["home"], arguments);

    private (int ExitCode, string Output, string Errors) Local(string ledger, string[] question) => Run(["ledger", "ask", .. question, "--ledger", ledger]);

    /// <summary>The commands of the README's section on the service, in order.</summary>
    private static string[] Steps()
    {
        var text = File.ReadAllText(Path.Combine(Repository.Root, "README.md"));
        var section = text[text.IndexOf("\n## As a service", StringComparison.Ordinal)..];
        section = section[..section.IndexOf("\n## ", 5, StringComparison.Ordinal)];
        return [.. section.Split('\n').Select(l => l.Trim()).Where(l => l.StartsWith("./anatomyprep ", StringComparison.Ordinal))];
    }

    /// <summary>Makes an account, and a token by the command that people use.</summary>
    private async Task Token(RunningService service, string role, string name)
    {
        using var made = await ServiceClient.AsAsync(service, role, name);
        var (exit, _, errors) = await Typed(["sign-in", "--service", service.Address.ToString(), "--account", name, "--token-file", _folder["token"]], ServiceClient.Password);
        exit.Should().Be(0, errors);
    }

    /// <summary>Runs a command that reads a password from standard input.</summary>
    private async Task<(int ExitCode, string Output, string Errors)> Typed(string[] words, string password)
    {
        var start = new ProcessStartInfo("dotnet", [Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll"), .. words])
        {
            RedirectStandardInput = true,
            RedirectStandardOutput = true,
            RedirectStandardError = true,
        };
        start.Environment["ANATOMYPREP_HOME"] = _folder["home"];
        using var process = Process.Start(start)!;
        try
        {
            await process.StandardInput.WriteLineAsync(password);
            process.StandardInput.Close();
        }
        catch (IOException)
        {
            // It ended without asking.
        }

        var errors = process.StandardError.ReadToEndAsync();
        var output = await process.StandardOutput.ReadToEndAsync();
        await process.WaitForExitAsync();
        return (process.ExitCode, output, await errors);
    }
}
