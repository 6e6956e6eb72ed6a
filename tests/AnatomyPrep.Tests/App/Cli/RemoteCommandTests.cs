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
        var (verified, report, _) = Remote(service, "verify", job);
        verified.Should().Be(0);
        JsonDocument.Parse(report).RootElement.GetProperty("holds").GetBoolean().Should().BeTrue();
        var (replayed, bytes, why) = Remote(service, "replay", job);
        replayed.Should().Be(0, why);
        JsonDocument.Parse(bytes).RootElement.GetProperty("identical").GetBoolean().Should().BeTrue();
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
            var (exit, output, errors) = Remote(service, "inspect", _folder["ct"]);
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
        Remote(service, "plans").Output.Should().Contain("bone");
        Remote(service, "plans", "bone").Output.TrimEnd().Should().Be(TestProgram.Run(_folder["home"], "plans", "bone").Output.TrimEnd());
        var (refused, _, why) = Remote(service, "ledger", "ask", "alone");
        refused.Should().Be(2, "a coordinator may not ask");
        why.Should().Contain("a token of an account");
        await Token(service, Roles.QualityOfficer, "quinn");
        Remote(service, "ledger", "ask", "alone").Output.Should().Be("none\n");
        Remote(service, "ledger", "ask", "retention", "--before", "2040-01-01", "--json").Output.Trim().Should().Be("[]");
    }

    [Fact]
    public async Task What_works_here_only_says_so_and_a_token_goes_to_no_strange_place()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        await Token(service, Roles.Technician, "tom");
        var (exit, _, errors) = Remote(service, "compare", "a.stl", "b.stl");
        exit.Should().Be(2);
        errors.Should().Contain("compare").And.Contain("this machine only");
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

    /// <summary>Makes an account, and a token by the command that people use.</summary>
    private async Task Token(RunningService service, string role, string name)
    {
        using var made = await ServiceClient.AsAsync(service, role, name);
        var start = new ProcessStartInfo("dotnet", [Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll"), "sign-in", "--service", service.Address.ToString(), "--account", name, "--token-file", _folder["token"]])
        {
            RedirectStandardInput = true,
            RedirectStandardOutput = true,
            RedirectStandardError = true,
        };
        start.Environment["ANATOMYPREP_HOME"] = _folder["home"];
        using var process = Process.Start(start)!;
        await process.StandardInput.WriteLineAsync(ServiceClient.Password);
        process.StandardInput.Close();
        var errors = await process.StandardError.ReadToEndAsync();
        await process.WaitForExitAsync();
        process.ExitCode.Should().Be(0, errors);
    }
}
