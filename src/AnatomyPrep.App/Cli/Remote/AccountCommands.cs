using System.CommandLine;
using System.Net.Http.Json;
using System.Text.Json;
using System.Web;
using AnatomyPrep.Core.Findings;
using Spectre.Console;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>sign-in, join, invite: how people come to a service, and to a token for the commands.</summary>
internal static class AccountCommands
{
    public const string SignIn = "sign-in";
    public const string Join = "join";
    public const string Invite = "invite";

    private const string TokenOption = "--token-file";
    private const string InvitationPlace = "invitation";

    public static IEnumerable<Command> All()
    {
        var link = new Argument<string>("LINK") { Description = "Invitation, as the first start or `invite` printed it" };
        var role = new Argument<string>("ROLE") { Description = string.Join(", ", Service.Accounts.Roles.All) };
        role.AcceptOnlyFromAmong([.. Service.Accounts.Roles.All]);
        yield return ForToken(SignIn, "Make a token for a service; the password is read from standard input, the token is written to --token-file");
        yield return ForToken(Join, "Make an account from an invitation, and a token for it; the password is read from standard input, the token is written to --token-file", link);
        yield return Command(Invite, "Print the link of an invitation to a service: it makes one account of the role, within a day", role);
    }

    public static async Task<int> SignInAsync(CommandContext context, string url, ParseResult parsed, CancellationToken cancellation)
    {
        var file = FileOf(parsed);
        using var link = new ServiceLink(url, null);
        return await MakeTokenAsync(context, link, url, file, ReadPassword(context, twice: false), parsed, cancellation).ConfigureAwait(false);
    }

    /// <summary>The link says which service it is.</summary>
    public static async Task<int> JoinAsync(CommandContext context, ParseResult parsed, CancellationToken cancellation)
    {
        var (file, given) = (FileOf(parsed), parsed.GetValue<string>("LINK")!);
        if (!Uri.TryCreate(given, UriKind.Absolute, out var address) || !address.AbsolutePath.EndsWith(InvitationPlace, StringComparison.Ordinal) || HttpUtility.ParseQueryString(address.Query)["token"] is not { Length: > 0 } secret)
            throw new PlanException("command", null, "LINK", "not an invitation", "the whole link, in quotation marks");
        var url = new Uri(address, ".").ToString();
        using var link = new ServiceLink(url, null);
        var password = ReadPassword(context, twice: true);
        using var form = new FormUrlEncodedContent(new Dictionary<string, string> { ["token"] = secret, ["name"] = parsed.GetValue<string>("--account")!, ["password"] = password });
        using var ask = new HttpRequestMessage(HttpMethod.Post, new Uri(address, InvitationPlace)) { Content = form };
        using var made = await link.SendAsync(ask, cancellation).ConfigureAwait(false);
        return await MakeTokenAsync(context, link, url, file, password, parsed, cancellation).ConfigureAwait(false);
    }

    public static async Task<int> InviteAsync(ServiceLink link, ParseResult parsed, CancellationToken cancellation)
    {
        Output.WriteResult((await link.PostAsync("invitations", new { role = parsed.GetValue<string>("ROLE") }, cancellation).ConfigureAwait(false)).GetProperty("link").GetString()!);
        return ExitCodes.Done;
    }

    private static async Task<int> MakeTokenAsync(CommandContext context, ServiceLink link, string url, string file, string password, ParseResult parsed, CancellationToken cancellation)
    {
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

    private static string FileOf(ParseResult parsed) => parsed.GetValue<string?>(TokenOption) ?? throw new PlanException("command", null, TokenOption, "none", "the file the token is to be written to");

    private static Command ForToken(string name, string description, params Symbol[] symbols) => Command(
        name, description,
        [
            .. symbols,
            new Option<string>("--account") { Description = "Name of the account", Required = true },
            new Option<int>("--days") { Description = "How long the token holds", DefaultValueFactory = _ => 30 },
            new Option<string>("--name") { Description = "What the token is for", DefaultValueFactory = _ => "command-line" },
        ]);

    private static Command Command(string name, string description, params Symbol[] symbols)
    {
        var command = new Command(name, description);
        command.AddAll(symbols);
        // Never reached: see RemoteCommands.
        command.SetAction((_, _) => Task.FromResult(ExitCodes.WrongUsage));
        return command;
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

    private static string ReadPassword(CommandContext context, bool twice)
    {
        if (Console.IsInputRedirected)
            return Console.ReadLine() ?? "";
        string Ask(string words) => context.Output.People.Prompt(new TextPrompt<string>(words).Secret());
        while (true)
        {
            var password = Ask(twice ? "Password (12 characters or more):" : "Password:");
            if (!twice || Ask("Again:") == password)
                return password;
            context.Output.Say("The two differ.");
        }
    }
}
