using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;
using System.Text;

namespace AnatomyPrep.Tests.Service.Messages;

/// <summary>A mail as it came.</summary>
internal sealed record ReceivedMail(string From, IReadOnlyList<string> To, string Text)
{
    public string? Header(string name) => Text.Split("\r\n\r\n")[0].Split("\r\n").FirstOrDefault(l => l.StartsWith($"{name}: ", StringComparison.OrdinalIgnoreCase))?[(name.Length + 2)..];
}

/// <summary>A small SMTP server (RFC 5321: EHLO, MAIL, RCPT, DATA, QUIT) on loopback that takes mails, or refuses as it is told.</summary>
internal sealed class MailServer : IDisposable
{
    private readonly TcpListener _listener;

    public MailServer(int port = 0)
    {
        _listener = new TcpListener(IPAddress.Loopback, port);
        _listener.Start();
        _ = ServeAsync();
    }

    public int Port => ((IPEndPoint)_listener.LocalEndpoint).Port;

    public ConcurrentQueue<ReceivedMail> Mails { get; } = [];

    /// <summary>Answer to the end of DATA; the mail counts as taken with 250.</summary>
    public Func<string> Verdict { get; set; } = () => "250 taken";

    public void Dispose() => _listener.Stop();

    private async Task ServeAsync()
    {
        try
        {
            while (true)
                _ = TalkAsync(await _listener.AcceptTcpClientAsync());
        }
        catch (Exception e) when (e is SocketException or ObjectDisposedException)
        {
            // Stopped.
        }
    }

    private async Task TalkAsync(TcpClient client)
    {
        using var _ = client;
        await using var stream = client.GetStream();
        using var reader = new StreamReader(stream, Encoding.Latin1);
        await using var writer = new StreamWriter(stream, Encoding.Latin1) { NewLine = "\r\n", AutoFlush = true };
        await writer.WriteLineAsync("220 test");
        var (from, to) = ("", new List<string>());
        while (await reader.ReadLineAsync() is { } line)
        {
            var verb = line.Split(' ')[0].ToUpperInvariant();
            if (verb == "MAIL")
                (from, to) = (line[line.IndexOf('<', StringComparison.Ordinal)..], []);
            if (verb == "RCPT")
                to.Add(line[(line.IndexOf('<', StringComparison.Ordinal) + 1)..line.IndexOf('>', StringComparison.Ordinal)]);
            if (verb != "DATA")
            {
                await writer.WriteLineAsync(verb switch { "EHLO" => "250 test", "QUIT" => "221 bye", _ => "250 ok" });
                if (verb == "QUIT")
                    return;
                continue;
            }

            await writer.WriteLineAsync("354 go on");
            var text = new StringBuilder();
            while (await reader.ReadLineAsync() is { } part && part != ".")
                text.Append(part).Append("\r\n");
            var verdict = Verdict();
            if (verdict.StartsWith("250", StringComparison.Ordinal))
                Mails.Enqueue(new(from, to, text.ToString()));
            await writer.WriteLineAsync(verdict);
        }
    }
}
