using System.Text;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Messages;

/// <summary>Who is told of changes of requests and jobs; nobody until a site says so. Targets are set here only, never over the API.</summary>
public sealed record MessageSettings
{
    public IReadOnlyList<WebhookSettings> Webhooks { get; init; } = [];

    public MailSettings? Mail { get; init; }

    /// <summary>A message that could not be delivered for so long is given up, with an event.</summary>
    public double GiveUpHours { get; init; } = 72;

    /// <summary>Address of the page, for links; without it there are none.</summary>
    public string? PageUrl { get; init; }

    internal void Check()
    {
        foreach (var webhook in Webhooks)
            webhook.Check();
        Mail?.Check();
        ServiceSettings.Require(GiveUpHours is > 0 and <= 720, "messages.giveUpHours", GiveUpHours, "above 0, up to 720");
        ServiceSettings.Require(PageUrl is null || Uri.TryCreate(PageUrl, UriKind.Absolute, out var page) && page.Scheme is "http" or "https", "messages.pageUrl", PageUrl ?? "", "such as https://models.example.org");
        var names = Webhooks.Select(w => w.Name).Append(MailSettings.TargetName).ToArray();
        ServiceSettings.Require(names.Distinct().Count() == names.Length, "messages.webhooks", "a name twice", "each a name of its own, and none 'mail'");
    }

    internal static bool Wants(IReadOnlyList<string> kinds, string kind) => kinds.Any(k => kind == k || (k.EndsWith('.') && kind.StartsWith(k, StringComparison.Ordinal)));

    internal static void CheckKinds(IReadOnlyList<string> kinds, string setting) => ServiceSettings.Require(
        kinds.Count > 0 && kinds.All(k => k.StartsWith("request.", StringComparison.Ordinal) || k.StartsWith("job.", StringComparison.Ordinal)), setting, string.Join(", ", kinds), "kinds such as job.done, or request. and job. for all of each");
}

/// <summary>A program that is told by a signed POST.</summary>
public sealed record WebhookSettings
{
    private const int LeastSecretBytes = 24;
    private const string SecretPrefix = "whsec_";

    /// <summary>What the lists call it.</summary>
    public required string Name { get; init; }

    /// <summary>https, or http to loopback.</summary>
    public required string Url { get; init; }

    /// <summary>File whose text is the key of the signatures; after "whsec_" it is base64.</summary>
    public required string SecretFile { get; init; }

    /// <summary>Networks its address must be in; empty for any but link-local ones.</summary>
    public IReadOnlyList<string> Networks { get; init; } = [];

    public IReadOnlyList<string> Kinds { get; init; } = ["request.", "job."];

    internal byte[] Secret()
    {
        var text = File.ReadAllText(SecretFile).Trim();
        return text.StartsWith(SecretPrefix, StringComparison.Ordinal) ? Convert.FromBase64String(text[SecretPrefix.Length..]) : Encoding.UTF8.GetBytes(text);
    }

    internal void Check()
    {
        ServiceSettings.Require(Name.Length is >= 1 and <= 40 && Name.All(c => char.IsAsciiLetterOrDigit(c) || c == '-'), "messages.webhooks.name", Name, "1 to 40 letters, digits and -");
        ServiceSettings.Require(ServiceSettings.IsSafeAddress(Url), "messages.webhooks.url", Name, "an https address, or http to loopback, without a user in it");
        ServiceSettings.RequireNetworks(Networks, "messages.webhooks.networks");
        MessageSettings.CheckKinds(Kinds, "messages.webhooks.kinds");
        ServiceSettings.Require(File.Exists(SecretFile) && IsSecret(), "messages.webhooks.secretFile", Name, $"a file with a secret of {LeastSecretBytes} bytes or more");
    }

    private bool IsSecret()
    {
        try
        {
            return Secret().Length >= LeastSecretBytes;
        }
        catch (FormatException)
        {
            return false;
        }
    }
}

/// <summary>People who are told by e-mail, all alike.</summary>
public sealed record MailSettings
{
    public const string TargetName = "mail";

    public required string Host { get; init; }

    public int Port { get; init; } = 587;

    /// <summary>starttls, tls, or none (to loopback only).</summary>
    public string Security { get; init; } = "starttls";

    public string? User { get; init; }

    public string? PasswordFile { get; init; }

    public required string From { get; init; }

    public required IReadOnlyList<string> To { get; init; }

    public IReadOnlyList<string> Kinds { get; init; } = ["request.created", "request.stopped", "request.choose", "request.cancelled", "job.done", "job.failed", "job.cancelled"];

    internal void Check()
    {
        ServiceSettings.Require(Host.Length > 0, "messages.mail.host", Host, "name or address of the mail server");
        ServiceSettings.Require(Port is >= 1 and <= 65535, "messages.mail.port", Port, "1 to 65535");
        ServiceSettings.Require(Security is "starttls" or "tls" || (Security == "none" && ServiceSettings.IsLoopback(Host)), "messages.mail.security", Security, "starttls, tls, or none to loopback");
        ServiceSettings.Require((User is null) == (PasswordFile is null) && (PasswordFile is null || File.Exists(PasswordFile)), "messages.mail.user, messages.mail.passwordFile", "one of two", "both, the file being there, or neither");
        ServiceSettings.Require(IsAddress(From), "messages.mail.from", From, "an e-mail address");
        ServiceSettings.Require(To.Count > 0 && To.All(IsAddress), "messages.mail.to", string.Join(", ", To), "e-mail addresses");
        MessageSettings.CheckKinds(Kinds, "messages.mail.kinds");
    }

    private static bool IsAddress(string text) => MimeKit.MailboxAddress.TryParse(text, out var address) && address.Address == text && text.Contains('@', StringComparison.Ordinal);
}
