using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Net.Sockets;
using System.Security.Cryptography;
using System.Text;

namespace AnatomyPrep.Service.Messages;

/// <summary>Where messages of a target go.</summary>
internal interface IMessageTarget
{
    string Name { get; }

    /// <summary>Delivers a message, or throws.</summary>
    /// <exception cref="DeliveryException">It was not taken.</exception>
    Task SendAsync(Message message, CancellationToken cancellation);
}

/// <summary>A message was not taken.</summary>
/// <param name="isFinal">It would be refused again.</param>
internal sealed class DeliveryException(string message, bool isFinal) : Exception(message)
{
    public bool IsFinal { get; } = isFinal;
}

/// <summary>Sends messages as signed POSTs to one address, and to no other.</summary>
/// <remarks>
/// Signed as Standard Webhooks 1.0 has it (from memory): HMAC-SHA256 over id, time and body, so that general libraries check it. No
/// redirect is followed, no proxy is asked, and the address that the name resolves to is looked at before it is connected to: a name that
/// somebody points at another machine reaches nothing inside.
/// </remarks>
internal sealed class Webhook : IMessageTarget, IDisposable
{
    private const int MostAnswerBytes = 64 << 10;

    private static readonly TimeSpan s_longest = TimeSpan.FromSeconds(30);
    private static readonly IPNetwork[] s_never = [IPNetwork.Parse("169.254.0.0/16"), IPNetwork.Parse("fe80::/10"), IPNetwork.Parse("0.0.0.0/8"), IPNetwork.Parse("224.0.0.0/4"), IPNetwork.Parse("ff00::/8")];

    private readonly WebhookSettings _settings;
    private readonly TimeProvider _clock;
    private readonly IPNetwork[] _networks;
    private readonly HttpClient _http;

    public Webhook(WebhookSettings settings, TimeProvider clock)
    {
        (_settings, _clock) = (settings, clock);
        _networks = [.. settings.Networks.Select(n => IPNetwork.Parse(n))];
        _http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false, UseCookies = false, UseProxy = false, ConnectCallback = ConnectAsync, PooledConnectionLifetime = TimeSpan.FromMinutes(2) })
        {
            Timeout = s_longest,
            MaxResponseContentBufferSize = MostAnswerBytes,
        };
    }

    public string Name => _settings.Name;

    public async Task SendAsync(Message message, CancellationToken cancellation)
    {
        var body = message.Body();
        var time = _clock.GetUtcNow().ToUnixTimeSeconds().ToString(CultureInfo.InvariantCulture);
        using var request = new HttpRequestMessage(HttpMethod.Post, _settings.Url) { Content = new ByteArrayContent(body) };
        request.Content.Headers.ContentType = new MediaTypeHeaderValue("application/json");
        request.Headers.Add("webhook-id", message.Id);
        request.Headers.Add("webhook-timestamp", time);
        request.Headers.Add("webhook-signature", Signature(_settings.Secret(), message.Id, time, body));
        try
        {
            using var answer = await _http.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, cancellation).ConfigureAwait(false);
            var status = (int)answer.StatusCode;
            if (!answer.IsSuccessStatusCode)
                throw new DeliveryException($"answered {status}", isFinal: status is >= 400 and < 500 and not 408 and not 425 and not 429);
        }
        catch (HttpRequestException e)
        {
            throw new DeliveryException(e.InnerException is NotAllowedException ? "its address is not in the networks that are set" : $"cannot be reached: {e.HttpRequestError}", isFinal: false);
        }
        catch (OperationCanceledException) when (!cancellation.IsCancellationRequested)
        {
            throw new DeliveryException("did not answer in 30 s", isFinal: false);
        }
    }

    /// <summary>"v1," and the base64 of HMAC-SHA256 over "id.time.body".</summary>
    internal static string Signature(byte[] secret, string id, string time, byte[] body) =>
        "v1," + Convert.ToBase64String(HMACSHA256.HashData(secret, (byte[])[.. Encoding.UTF8.GetBytes($"{id}.{time}."), .. body]));

    public void Dispose() => _http.Dispose();

    private async ValueTask<Stream> ConnectAsync(SocketsHttpConnectionContext context, CancellationToken cancellation)
    {
        var addresses = await Dns.GetHostAddressesAsync(context.DnsEndPoint.Host, cancellation).ConfigureAwait(false);
        var allowed = addresses.Where(IsAllowed).ToArray();
        if (allowed.Length == 0)
            throw new NotAllowedException();
        var socket = new Socket(SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
        try
        {
            await socket.ConnectAsync(allowed, context.DnsEndPoint.Port, cancellation).ConfigureAwait(false);
            return new NetworkStream(socket, ownsSocket: true);
        }
        catch
        {
            socket.Dispose();
            throw;
        }
    }

    private bool IsAllowed(IPAddress address)
    {
        var plain = address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address;
        return _networks.Length > 0 ? _networks.Any(n => n.Contains(plain)) : !s_never.Any(n => n.Contains(plain));
    }

    private sealed class NotAllowedException : Exception;
}
