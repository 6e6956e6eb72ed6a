using System.CommandLine;
using System.Globalization;
using System.Text.Json;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>requests list|show|add|cancel|retry: the requests of a service.</summary>
internal static class RequestsCommand
{
    public static Command Create()
    {
        var command = new Command("requests", "Ask a service for models, and follow what was asked for (with --service)");
        var state = new Option<string?>("--state") { Description = "Such as waiting, done, failed" };
        var limit = new Option<int>("--limit") { Description = "How many, newest first", DefaultValueFactory = _ => 50 };
        Add(command, "list", "Newest requests", state, limit);
        Add(command, "show", "One request", Id());
        Add(command, "add", "Ask by a table of requests (CSV): all rows or none", new Argument<FileInfo>("FILE") { Description = "The table; docs/operations/api.md has its columns" });
        Add(command, "cancel", "Cancel a request", Id());
        Add(command, "retry", "Take a failed or cancelled request up again", Id());
        return command;
    }

    public static async Task<int> RunAsync(ServiceLink link, string what, ParseResult parsed, CancellationToken cancellation)
    {
        var json = parsed.GetValue<bool>("--json");
        switch (what)
        {
            case "list":
                var state = parsed.GetValue<string?>("--state");
                Show((await link.GetAsync($"requests/?limit={parsed.GetValue<int>("--limit")}{(state is null ? "" : $"&state={Uri.EscapeDataString(state)}")}", cancellation).ConfigureAwait(false)).GetProperty("items"), json);
                break;
            case "add":
                using (var table = new ByteArrayContent(await File.ReadAllBytesAsync(parsed.GetValue<FileInfo>("FILE")!.FullName, cancellation).ConfigureAwait(false)))
                {
                    table.Headers.ContentType = new("text/csv");
                    Show((await link.PostAsync("requests/csv", table, cancellation).ConfigureAwait(false)).GetProperty("items"), json);
                }

                break;
            case "show":
                Show(await link.GetAsync($"requests/{IdOf(parsed)}", cancellation).ConfigureAwait(false), json);
                break;
            default:
                Show(await link.PostAsync($"requests/{IdOf(parsed)}/{what}", null, cancellation).ConfigureAwait(false), json);
                break;
        }

        return ExitCodes.Done;
    }

    private static Argument<string> Id() => new("ID") { Description = "Of the request" };

    private static string IdOf(ParseResult parsed) => Uri.EscapeDataString(parsed.GetValue<string>("ID")!);

    private static void Add(Command to, string name, string description, params Symbol[] symbols)
    {
        var command = new Command(name, description);
        command.AddAll(symbols);
        command.Options.Add(new Option<bool>("--json") { Description = "One JSON document on stdout" });
        // Never reached without --service: see RemoteCommands.
        command.SetAction((_, _) => Task.FromResult(ExitCodes.WrongUsage));
        to.Subcommands.Add(command);
    }

    private static void Show(JsonElement answer, bool json)
    {
        if (json)
            Output.WriteJson(answer);
        else if (answer.ValueKind == JsonValueKind.Array)
            foreach (var item in answer.EnumerateArray())
                Output.WriteResult(Short(item));
        else
            Output.WriteResult(Line(answer));
    }

    /// <summary>One line for one request: its fields with their names.</summary>
    private static string Line(JsonElement request) => string.Join(
        ", ", request.EnumerateObject().Where(p => p.Value.ValueKind != JsonValueKind.Null).Select(p => string.Create(CultureInfo.InvariantCulture, $"{p.Name} {p.Value}")));

    private static string Short(JsonElement r) => string.Join("  ", new[] { "id", "state", "anatomy", "side", "plan", "neededBy", "reason" }.Select(n => r.GetProperty(n).ToString()).Where(t => t.Length > 0));
}
