using System.Globalization;
using System.Net.Http.Headers;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Service.Hosting;

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
/// Signed as Standard Webhooks 1.0 has it (from memory): HMAC-SHA256 over id, time and body, so that general libraries check it. See
/// <see cref="OutboundHttp"/> for where it may go. Of the answer only the status is read.
/// </remarks>
internal sealed class Webhook : IMessageTarget, IDisposable
{
    private static readonly TimeSpan s_longest = TimeSpan.FromSeconds(30);

    private readonly WebhookSettings _settings;
    private readonly TimeProvider _clock;
    private readonly HttpClient _http;

    public Webhook(WebhookSettings settings, TimeProvider clock)
    {
        (_settings, _clock) = (settings, clock);
        _http = OutboundHttp.Create(settings.Networks, s_longest);
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
            throw new DeliveryException(OutboundHttp.Reason(e), isFinal: false);
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
}
