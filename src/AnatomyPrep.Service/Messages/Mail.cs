using System.Globalization;
using MailKit;
using MailKit.Net.Smtp;
using MailKit.Security;
using MimeKit;

namespace AnatomyPrep.Service.Messages;

/// <summary>Sends messages by SMTP (RFC 5321) to the addresses that are set. The text is fixed: kind, numbers, a link.</summary>
internal sealed class Mail(MailSettings settings, string? pageUrl) : IMessageTarget
{
    private const int LongestMilliseconds = 30_000;

    public string Name => MailSettings.TargetName;

    public async Task SendAsync(Message message, CancellationToken cancellation)
    {
        using var client = new SmtpClient { Timeout = LongestMilliseconds };
        try
        {
            await client.ConnectAsync(settings.Host, settings.Port, Security(), cancellation).ConfigureAwait(false);
            if (settings.User is { } user)
                await client.AuthenticateAsync(user, (await File.ReadAllTextAsync(settings.PasswordFile!, cancellation).ConfigureAwait(false)).Trim(), cancellation).ConfigureAwait(false);
            using var mail = Compose(message);
            await client.SendAsync(mail, cancellation).ConfigureAwait(false);
        }
        catch (SmtpCommandException e)
        {
            throw new DeliveryException($"the mail server answered {(int)e.StatusCode}", isFinal: (int)e.StatusCode >= 500);
        }
        catch (Exception e) when (e is IOException or System.Net.Sockets.SocketException or ProtocolException or AuthenticationException or SslHandshakeException or NotSupportedException or TimeoutException)
        {
            throw new DeliveryException($"the mail server cannot be used: {e.GetType().Name}", isFinal: false);
        }

        await GoodbyeAsync(client, cancellation).ConfigureAwait(false);
    }

    /// <summary>The mail was taken by then: what goes wrong now must not send it again.</summary>
    private static async Task GoodbyeAsync(SmtpClient client, CancellationToken cancellation)
    {
        try
        {
            await client.DisconnectAsync(quit: true, cancellation).ConfigureAwait(false);
        }
        catch (Exception e) when (e is IOException or ProtocolException or OperationCanceledException)
        {
            // It closed the line first.
        }
    }

    private MimeMessage Compose(Message message)
    {
        var mail = new MimeMessage { Date = message.At, MessageId = $"{message.Id}@{settings.From.Split('@')[1]}" };
        mail.From.Add(MailboxAddress.Parse(settings.From));
        mail.To.AddRange(settings.To.Select(MailboxAddress.Parse));
        var (what, id) = message.RequestId is { } request ? ("request", request) : ("job", message.JobId);
        mail.Subject = $"{Words(message.Kind)} ({what} {id})";
        // Told by a program: no holiday notes, please (RFC 3834).
        mail.Headers.Add("Auto-Submitted", "auto-generated");
        var lines = new List<string> { $"{Words(message.Kind)}.", "" };
        if (message.RequestId is not null)
            lines.Add($"Request {message.RequestId}");
        if (message.JobId is not null)
            lines.Add($"Job     {message.JobId}");
        lines.Add(string.Create(CultureInfo.InvariantCulture, $"At      {message.At.UtcDateTime:yyyy-MM-dd HH:mm:ss} UTC"));
        if (pageUrl is not null)
            lines.Add($"See     {pageUrl.TrimEnd('/')}/board");
        mail.Body = new TextPart("plain") { Text = string.Join("\r\n", lines) + "\r\n" };
        return mail;
    }

    /// <summary>"job.cancel-asked" as "Job cancel asked".</summary>
    private static string Words(string kind)
    {
        var words = kind.Replace('.', ' ').Replace('-', ' ');
        return char.ToUpperInvariant(words[0]) + words[1..];
    }

    private SecureSocketOptions Security() => settings.Security switch
    {
        "tls" => SecureSocketOptions.SslOnConnect,
        "none" => SecureSocketOptions.None,
        _ => SecureSocketOptions.StartTls,
    };
}
