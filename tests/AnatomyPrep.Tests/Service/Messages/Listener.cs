using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;

namespace AnatomyPrep.Tests.Service.Messages;

/// <summary>One request that a listener got.</summary>
internal sealed record Heard(string Path, IReadOnlyDictionary<string, string> Headers, byte[] Body);

/// <summary>A real HTTP peer on loopback that answers as it is told.</summary>
internal sealed class Listener : IDisposable
{
    private readonly HttpListener _http = new();

    public Listener(int port = 0)
    {
        Port = port == 0 ? FreePort() : port;
        _http.Prefixes.Add($"http://127.0.0.1:{Port}/");
        _http.Start();
        _ = ServeAsync();
    }

    public int Port { get; }

    public string Url => $"http://127.0.0.1:{Port}/told";

    public ConcurrentQueue<Heard> Requests { get; } = [];

    /// <summary>Decides the status; redirects lead to <see cref="Elsewhere"/>.</summary>
    public Func<Heard, int> Answer { get; set; } = _ => 204;

    public string? Elsewhere { get; set; }

    /// <summary>What it answers beside the status; null for nothing.</summary>
    public Func<Heard, (string Type, byte[] Body)?> Content { get; set; } = _ => null;

    public static int FreePort()
    {
        using var probe = new TcpListener(IPAddress.Loopback, 0);
        probe.Start();
        return ((IPEndPoint)probe.LocalEndpoint).Port;
    }

    public void Dispose() => _http.Close();

    private async Task ServeAsync()
    {
        while (true)
        {
            HttpListenerContext context;
            try
            {
                context = await _http.GetContextAsync();
            }
            catch (Exception e) when (e is HttpListenerException or ObjectDisposedException)
            {
                return;
            }

            using var body = new MemoryStream();
            await context.Request.InputStream.CopyToAsync(body);
            var heard = new Heard(context.Request.Url!.PathAndQuery, context.Request.Headers.AllKeys.ToDictionary(k => k!, k => context.Request.Headers[k]!, StringComparer.OrdinalIgnoreCase), body.ToArray());
            context.Response.StatusCode = Answer(heard);
            if (Elsewhere is not null)
                context.Response.RedirectLocation = Elsewhere;
            Requests.Enqueue(heard);
            if (Content(heard) is var (type, bytes))
            {
                context.Response.ContentType = type;
                await context.Response.OutputStream.WriteAsync(bytes);
            }

            context.Response.Close();
        }
    }
}
