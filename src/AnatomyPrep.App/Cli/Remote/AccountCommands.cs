using System.CommandLine;
using System.Net.Http.Json;
using System.Text.Json;
using Spectre.Console;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>sign-in --service URL --account NAME: makes a token for the commands, from name and password.</summary>
internal static class SignIn
{
    private const string TokenOption = "--token-file";

    public static Command Create()
    {
        var account = new Option<string>("--account") { Description = "Name of the account", Required = true };
        var days = new Option<int>("--days") { Description = "How long the token holds", DefaultValueFactory = _ => 30 };
        var name = new Option<string>("--name") { Description = "What the token is for", DefaultValueFactory = _ => "command-line" };
        var command = new Command("sign-in", "Make a token for a service; the password is read from standard input, the token is written to --token-file") { account, days, name };
        // Never reached without --service: see RemoteCommands.
        command.SetAction((_, _) => Task.FromResult(ExitCodes.WrongUsage));
        return command;
    }

    public static async Task<int> RunAsync(CommandContext context, string url, ParseResult parsed, CancellationToken cancellation)
    {
        var file = parsed.GetValue<string?>(TokenOption) ?? throw new Core.Findings.PlanException("command", null, TokenOption, "none", "the file the token is to be written to");
        using var link = new ServiceLink(url, null);
        var password = ReadPassword(context);
        using var ask = new HttpRequestMessage(HttpMethod.Post, "session") { Content = JsonContent.Create(new { name = parsed.GetValue<string>("--account"), password }) };
        // The cookie of this session is used for one request, then the session is ended.
        using var opened = await link.SendAsync(ask, cancellation).ConfigureAwait(false);
        var csrf = (await opened.Content.ReadFromJsonAsync<JsonElement>(cancellation).ConfigureAwait(false)).GetProperty("csrfToken").GetString()!;
        var cookie = opened.Headers.GetValues("Set-Cookie").First().Split(';')[0];
        using var make = new HttpRequestMessage(HttpMethod.Post, "tokens") { Content = JsonContent.Create(new { name = parsed.GetValue<string>("--name"), days = parsed.GetValue<int>("--days") }) };
        using var made = await link.SendAsync(With(make, cookie, csrf), cancellation).ConfigureAwait(false);
        Write(file, (await made.Content.ReadFromJsonAsync<JsonElement>(cancellation).ConfigureAwait(false)).GetProperty("secret").GetString()!);
        using var end = new HttpRequestMessage(HttpMethod.Delete, "session");
        using var ended = await link.SendAsync(With(end, cookie, csrf), cancellation).ConfigureAwait(false);
        context.Output.Say($"The token is in {file}; only its owner may read it. Use it with --service {url} --token-file {file}.");
        return ExitCodes.Done;
    }

    private static HttpRequestMessage With(HttpRequestMessage request, string cookie, string csrf)
    {
        request.Headers.Add("Cookie", cookie);
        request.Headers.Add("X-CSRF-Token", csrf);
        return request;
    }

    private static void Write(string file, string token)
    {
        const UnixFileMode ownerOnly = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        var options = new FileStreamOptions { Mode = FileMode.Create, Access = FileAccess.Write };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = ownerOnly;
        using var stream = new FileStream(file, options);
        // A file that was there keeps the mode it had.
        if (!OperatingSystem.IsWindows())
            File.SetUnixFileMode(stream.SafeFileHandle, ownerOnly);
        using var writer = new StreamWriter(stream);
        writer.WriteLine(token);
    }

    private static string ReadPassword(CommandContext context)
    {
        if (Console.IsInputRedirected)
            return Console.ReadLine() ?? "";
        return context.Output.People.Prompt(new TextPrompt<string>("Password:").Secret());
    }
}
