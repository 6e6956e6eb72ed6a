using System.CommandLine;
using System.Runtime.InteropServices;
using System.Text.Json;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>What each command does when --service names a running service.</summary>
internal sealed class RemoteCommands
{
    private const string Json = "--json";
    private const string LedgerAsk = "ledger ask ";

    private readonly CommandContext _context;
    private readonly Option<string?> _service = new("--service") { Description = "Address of a running service that is to do it", Recursive = true };
    private readonly Option<string?> _token = new("--token-file") { Description = $"With --service: file with a token (default: the variable {ServiceLink.TokenVariable})", Recursive = true };

    public RemoteCommands(CommandContext context) => _context = context;

    public void AddTo(RootCommand root)
    {
        root.Options.Add(_service);
        root.Options.Add(_token);
    }

    /// <summary>True when a service is named, or the command needs one. --help and the like are about the command itself.</summary>
    public bool Wants(ParseResult parsed) => parsed.Action == parsed.CommandResult.Command.Action && (parsed.GetValue(_service) is not null || NeedsService(PathOf(parsed)));

    /// <summary>Runs the command on a service; gives its exit code.</summary>
    /// <exception cref="PlanException">The command works on this machine only, or with a service only and none is named.</exception>
    public async Task<int> RunAsync(ParseResult parsed)
    {
        using var stop = new CancellationTokenSource();
        using var interrupt = PosixSignalRegistration.Create(PosixSignal.SIGINT, signal =>
        {
            signal.Cancel = true;
            stop.Cancel();
        });
        return await RunAsync(parsed, stop.Token).ConfigureAwait(false);
    }

    private static bool NeedsService(string path) => path.StartsWith("requests ", StringComparison.Ordinal) || path is AccountCommands.SignIn or AccountCommands.Join or AccountCommands.Invite;

    private async Task<int> RunAsync(ParseResult parsed, CancellationToken cancellation)
    {
        var path = PathOf(parsed);
        if (path == AccountCommands.Join)
            return await AccountCommands.JoinAsync(_context, parsed, cancellation).ConfigureAwait(false);
        if (parsed.GetValue(_service) is not { } url)
            throw new PlanException("command", null, "--service", "none", $"the address of a service: {path} works with one only");
        if (path == AccountCommands.SignIn)
            return await AccountCommands.SignInAsync(_context, url, parsed, cancellation).ConfigureAwait(false);
        if (Of(path, parsed) is not { } run)
            throw new PlanException("command", null, "--service", path, "demo, inspect, check, prepare, verify, replay, plans, profiles, ledger ask, requests, invite; what works on this machine only is run without it");
        RefuseOthers(path, parsed);
        using var link = new ServiceLink(url, ServiceLink.TokenOf(parsed.GetValue(_token)));
        return await run(link, cancellation).ConfigureAwait(false);
    }

    /// <summary>The files of a folder, or the one file.</summary>
    public static IReadOnlyList<string> FilesOf(string given)
    {
        string[] files = Directory.Exists(given) ? [.. Directory.GetFiles(given, "*", SearchOption.AllDirectories).Order(StringComparer.Ordinal)] : File.Exists(given) ? [given] : [];
        return files.Length > 0 ? files : throw new BadInputException("source", "files", "none", "Name a folder with files, or a file.");
    }

    public static string NotesOf(CommandContext context) => Path.Combine(context.Bench.Folders.Home, "uploads");

    private Func<ServiceLink, CancellationToken, Task<int>>? Of(string path, ParseResult parsed) => path switch
    {
        "demo" => (link, c) => DemoCommand.RunAsync(_context, link, parsed.GetValue<string>("--out")!, c),
        "prepare" => (link, c) => new RemotePrepare(_context, link).RunAsync(parsed, c),
        "inspect" => (link, c) => OnFilesAsync(link, "inspect", parsed.GetValue<string>("SOURCE")!, parsed, c),
        "check" => (link, c) => OnFilesAsync(link, "check", parsed.GetValue<string>("MESH")!, parsed, c),
        "verify" => (link, c) => OnJobAsync(link, "verify", JobOf(parsed, "DIR|RECORD|BUNDLE"), parsed, c),
        "replay" => (link, c) => OnJobAsync(link, "replay", JobOf(parsed, "DIR"), parsed, c),
        "plans" => (link, c) => PlansAsync(link, parsed, c),
        "profiles" => (link, c) => CatalogueAsync(link, "profiles", parsed.GetValue<string?>("NAME"), ProfilesCommand.Line, c),
        _ when path.StartsWith(LedgerAsk, StringComparison.Ordinal) => RemoteQuestions.Of(path[LedgerAsk.Length..], parsed),
        AccountCommands.Invite => (link, c) => AccountCommands.InviteAsync(link, parsed, c),
        _ when path.StartsWith("requests ", StringComparison.Ordinal) => (link, c) => RequestsCommand.RunAsync(link, path["requests ".Length..], parsed, c),
        _ => null,
    };

    /// <summary>What a command takes with --service; whatever else was given would be left out silently, so it is refused.</summary>
    private static string[] OptionsOf(string path) => path switch
    {
        "demo" => ["--out"],
        "prepare" => ["--plan", "--out", "--purpose", "--anatomy", "--side", "--scale", "--profile", "--requester", "--patient-id", Json],
        "inspect" or "check" or "verify" or "replay" => [Json],
        "plans" => [Json, "--schema"],
        "profiles" => [],
        _ => [Json, "--model", "--before", "--state", "--limit"],
    };

    private void RefuseOthers(string path, ParseResult parsed)
    {
        string[] taken = [.. OptionsOf(path), _service.Name, _token.Name];
        for (var at = parsed.CommandResult; at is not null; at = at.Parent as System.CommandLine.Parsing.CommandResult)
            foreach (var given in at.Children.OfType<System.CommandLine.Parsing.OptionResult>())
                if (!given.Implicit && !taken.Contains(given.Option.Name))
                    throw new PlanException("command", null, given.Option.Name, "given with --service", "a run on this machine, without --service");
    }

    private static string PathOf(ParseResult parsed)
    {
        var names = new List<string>();
        for (var at = parsed.CommandResult; at is not null; at = at.Parent as System.CommandLine.Parsing.CommandResult)
            if (at.Command is not RootCommand)
                names.Insert(0, at.Command.Name);
        return string.Join(' ', names);
    }

    private static string JobOf(ParseResult parsed, string argument) => parsed.GetValue<string>(argument) is { Length: 32 } id && id.All(char.IsAsciiHexDigitLower)
        ? id
        : throw new PlanException("command", null, argument, "with --service", "the id of a finished job of that service");

    /// <summary>Sends files, has a command run on them there, and gives the upload up again.</summary>
    private async Task<int> OnFilesAsync(ServiceLink link, string command, string given, ParseResult parsed, CancellationToken cancellation)
    {
        var files = FilesOf(given);
        var kind = files is [var only] && Path.GetExtension(only).TrimStart('.').ToLowerInvariant() is ("stl" or "ply" or "obj" or "off" or "3mf") and var mesh ? mesh : null;
        if (command == "check" && kind is null)
            throw new PlanException("command", null, "MESH", Path.GetExtension(given), "stl, ply, obj, off, 3mf");
        var upload = new RemoteUpload(link, NotesOf(_context));
        var id = await upload.SendAsync(files, null, cancellation).ConfigureAwait(false);
        var said = await link.PostAsync($"uploads/{id}/{command}?{Form(parsed)}{(kind is null ? "" : $"&kind={kind}")}", null, cancellation).ConfigureAwait(false);
        await upload.AbandonAsync(id, files, cancellation).ConfigureAwait(false);
        return Show(said);
    }

    private async Task<int> OnJobAsync(ServiceLink link, string command, string job, ParseResult parsed, CancellationToken cancellation) =>
        Show(await link.PostAsync($"jobs/{job}/{command}?{Form(parsed)}", null, cancellation).ConfigureAwait(false));

    /// <summary>As the command itself would: JSON to stdout, words to stderr, its exit code.</summary>
    private int Show(JsonElement said)
    {
        if (said.GetProperty("output").GetString() is { Length: > 0 } output)
            Output.WriteResult(output.TrimEnd());
        if (said.GetProperty("messages").GetString() is { Length: > 0 } messages)
            _context.Output.Say(messages.TrimEnd());
        return said.GetProperty("exitCode").GetInt32();
    }

    private static string Form(ParseResult parsed) => parsed.GetValue<bool>(Json) ? "json=true" : "json=false";

    private static async Task<int> PlansAsync(ServiceLink link, ParseResult parsed, CancellationToken cancellation)
    {
        var name = parsed.GetValue<string?>("NAME");
        if (parsed.GetValue<bool>("--schema"))
            Output.WriteJson(await link.GetAsync("viewing/plans/schema", cancellation).ConfigureAwait(false));
        else if (name is not null && parsed.GetValue<bool>(Json))
            Output.WriteJson(await link.GetAsync($"viewing/plans/{Uri.EscapeDataString(name)}", cancellation).ConfigureAwait(false));
        else
            return await CatalogueAsync(link, "plans", name, PlansCommand.Line, cancellation).ConfigureAwait(false);
        return ExitCodes.Done;
    }

    private static async Task<int> CatalogueAsync(ServiceLink link, string what, string? name, Func<string, string, string> line, CancellationToken cancellation)
    {
        if (name is not null)
        {
            Output.WriteResult((await link.GetAsync($"{what}/{Uri.EscapeDataString(name)}", cancellation).ConfigureAwait(false)).GetProperty("text").GetString()!.TrimEnd());
            return ExitCodes.Done;
        }

        foreach (var item in (await link.GetAsync(what, cancellation).ConfigureAwait(false)).GetProperty("items").EnumerateArray())
            Output.WriteResult(line(item.GetProperty("name").GetString()!, item.GetProperty("description").GetString()!));
        return ExitCodes.Done;
    }
}
