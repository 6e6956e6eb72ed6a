using System.CommandLine;
using System.Globalization;
using System.Runtime.InteropServices;
using System.Text.Json;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>What each command does when --service names a running service.</summary>
internal sealed class RemoteCommands
{
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

    private static bool NeedsService(string path) => path.StartsWith("requests ", StringComparison.Ordinal) || path == "sign-in";

    private async Task<int> RunAsync(ParseResult parsed, CancellationToken cancellation)
    {
        var path = PathOf(parsed);
        if (parsed.GetValue(_service) is not { } url)
            throw new PlanException("command", null, "--service", "none", $"the address of a service: {path} works with one only");
        if (path == "sign-in")
            return await SignIn.RunAsync(_context, url, parsed, cancellation).ConfigureAwait(false);
        if (Of(path, parsed) is not { } run)
            throw new PlanException("command", null, "--service", path, "inspect, check, prepare, verify, replay, plans, profiles, ledger ask, requests; what works on this machine only is run without it");
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
        "prepare" => (link, c) => new RemotePrepare(_context, link).RunAsync(parsed, c),
        "inspect" => (link, c) => OnFilesAsync(link, "inspect", parsed.GetValue<string>("SOURCE")!, c),
        "check" => (link, c) => OnFilesAsync(link, "check", parsed.GetValue<string>("MESH")!, c),
        "verify" => (link, c) => OnJobAsync(link, "verify", JobOf(parsed, "DIR|RECORD|BUNDLE"), c),
        "replay" => (link, c) => OnJobAsync(link, "replay", JobOf(parsed, "DIR"), c),
        "plans" => (link, c) => CatalogueAsync(link, "plans", parsed.GetValue<string?>("NAME"), c),
        "profiles" => (link, c) => CatalogueAsync(link, "profiles", parsed.GetValue<string?>("NAME"), c),
        _ when path.StartsWith("ledger ask ", StringComparison.Ordinal) => Question(path["ledger ask ".Length..], parsed) is { } question ? (link, c) => AskAsync(link, question, parsed.GetValue<bool>("--json"), c) : null,
        _ when path.StartsWith("requests ", StringComparison.Ordinal) => (link, c) => RequestsCommand.RunAsync(link, path["requests ".Length..], parsed, c),
        _ => null,
    };

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
    private async Task<int> OnFilesAsync(ServiceLink link, string command, string given, CancellationToken cancellation)
    {
        var files = FilesOf(given);
        var kind = files is [var only] && Path.GetExtension(only).TrimStart('.').ToLowerInvariant() is ("stl" or "ply" or "obj" or "off" or "3mf") and var mesh ? mesh : null;
        if (command == "check" && kind is null)
            throw new PlanException("command", null, "MESH", Path.GetExtension(given), "stl, ply, obj, off, 3mf");
        var upload = new RemoteUpload(link, NotesOf(_context));
        var id = await upload.SendAsync(files, null, cancellation).ConfigureAwait(false);
        var said = await link.PostAsync($"uploads/{id}/{command}{(kind is null ? "" : $"?kind={kind}")}", null, cancellation).ConfigureAwait(false);
        await upload.AbandonAsync(id, files, cancellation).ConfigureAwait(false);
        return Show(said);
    }

    private async Task<int> OnJobAsync(ServiceLink link, string command, string job, CancellationToken cancellation) =>
        Show(await link.PostAsync($"jobs/{job}/{command}", null, cancellation).ConfigureAwait(false));

    /// <summary>As the command itself would: JSON to stdout, words to stderr, its exit code.</summary>
    private int Show(JsonElement said)
    {
        if (said.GetProperty("output").GetString() is { Length: > 0 } output)
            Output.WriteResult(output.TrimEnd());
        if (said.GetProperty("messages").GetString() is { Length: > 0 } messages)
            _context.Output.Say(messages.TrimEnd());
        return said.GetProperty("exitCode").GetInt32();
    }

    private static async Task<int> CatalogueAsync(ServiceLink link, string what, string? name, CancellationToken cancellation)
    {
        if (name is not null)
        {
            Output.WriteResult((await link.GetAsync($"{what}/{Uri.EscapeDataString(name)}", cancellation).ConfigureAwait(false)).GetProperty("text").GetString()!);
            return ExitCodes.Done;
        }

        foreach (var item in (await link.GetAsync(what, cancellation).ConfigureAwait(false)).GetProperty("items").EnumerateArray())
            Output.WriteResult($"{item.GetProperty("name").GetString(),-16} {item.GetProperty("description").GetString()}");
        return ExitCodes.Done;
    }

    private static string? Question(string question, ParseResult parsed)
    {
        string Given(string name) => Uri.EscapeDataString(parsed.GetValue<string>(name)!);
        return question switch
        {
            "model" => $"ledger/models/{parsed.GetValue<string>("MODEL")}",
            "models" => $"ledger/questions/models?by={Given("BY")}&value={Given("VALUE")}",
            "recall" => $"ledger/questions/recall?lot={Given("LOT")}",
            "acknowledged" => $"ledger/questions/acknowledged?finding={Given("FINDING")}{(parsed.GetValue<string?>("--model") is { } model ? $"&model={Uri.EscapeDataString(model)}" : "")}",
            "alone" or "drift" or "drift-by-software" => $"ledger/questions/{question}",
            "retention" => $"ledger/questions/retention?before={Given("--before")}",
            "differences" => $"ledger/questions/differences?first={Given("FIRST")}&second={Given("SECOND")}",
            "key" => $"ledger/questions/key?fingerprint={Given("FINGERPRINT")}",
            _ => null,
        };
    }

    private static async Task<int> AskAsync(ServiceLink link, string path, bool json, CancellationToken cancellation)
    {
        var answer = await link.GetAsync(path, cancellation).ConfigureAwait(false);
        var isList = answer.TryGetProperty("items", out var items);
        if (json)
            Output.WriteJson(isList ? items : answer);
        else if (!isList)
            Output.WriteResult(Line(answer));
        else if (items.GetArrayLength() == 0)
            Output.WriteResult("none");
        else
            foreach (var item in items.EnumerateArray())
                Output.WriteResult(Line(item));
        return ExitCodes.Done;
    }

    /// <summary>One line for one thing: its fields with their names.</summary>
    public static string Line(JsonElement item) => item.ValueKind == JsonValueKind.Object
        ? string.Join(", ", item.EnumerateObject().Where(p => p.Value.ValueKind != JsonValueKind.Null).Select(p => string.Create(CultureInfo.InvariantCulture, $"{p.Name} {p.Value}")))
        : item.ToString();
}
