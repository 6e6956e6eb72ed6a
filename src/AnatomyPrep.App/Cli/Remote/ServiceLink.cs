using System.Net;
using System.Net.Http.Headers;
using System.Net.Http.Json;
using System.Text.Json;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>A running service, spoken to with a token.</summary>
internal sealed class ServiceLink : IDisposable
{
    public const string TokenVariable = "ANATOMYPREP_TOKEN";

    private const string Api = "api/v1/";

    private static readonly TimeSpan s_longest = TimeSpan.FromHours(3);

    private readonly HttpClient _http;

    /// <exception cref="PlanException">Not an address, or one that a token must not be sent to.</exception>
    public ServiceLink(string url, string? token)
    {
        if (!Uri.TryCreate(url.EndsWith('/') ? url : url + "/", UriKind.Absolute, out var address) || address.Scheme is not ("http" or "https"))
            throw new PlanException("command", null, "--service", url, "an address such as https://models.example.org");
        if (address.Scheme == "http" && !address.IsLoopback)
            throw new PlanException("command", null, "--service", url, "https, or http to this machine: a token is not sent in the clear");
        _http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false }) { BaseAddress = new Uri(address, Api), Timeout = s_longest };
        if (token is not null)
            _http.DefaultRequestHeaders.Authorization = new AuthenticationHeaderValue("Bearer", token);
    }

    public string Host => _http.BaseAddress!.Authority;

    /// <summary>The token of a file, or of the environment.</summary>
    /// <exception cref="PlanException">Neither is there.</exception>
    public static string TokenOf(string? file) => (file is null ? Environment.GetEnvironmentVariable(TokenVariable) : File.ReadAllText(file))?.Trim() is { Length: > 0 } token
        ? token
        : throw new PlanException("command", null, "--token-file", "none", $"a file with a token, or the variable {TokenVariable}; `sign-in` makes one");

    public Task<JsonElement> GetAsync(string path, CancellationToken cancellation) => JsonAsync(HttpMethod.Get, path, null, cancellation);

    public Task<JsonElement> PostAsync(string path, object? body, CancellationToken cancellation) => JsonAsync(HttpMethod.Post, path, body is null ? null : body as HttpContent ?? JsonContent.Create(body), cancellation);

    /// <summary>Sends a request; whatever is not a success becomes the exception that the command line gives its exit code.</summary>
    public async Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellation, bool wholeAnswer = true)
    {
        try
        {
            var answer = await _http.SendAsync(request, wholeAnswer ? HttpCompletionOption.ResponseContentRead : HttpCompletionOption.ResponseHeadersRead, cancellation).ConfigureAwait(false);
            if (answer.IsSuccessStatusCode)
                return answer;
            using (answer)
                throw await RefusalAsync(answer, cancellation).ConfigureAwait(false);
        }
        catch (HttpRequestException e)
        {
            throw new BadInputException("service", Host, $"cannot be reached ({e.HttpRequestError})", "See whether it runs and the address is right, then try again.");
        }
    }

    public void Dispose() => _http.Dispose();

    private async Task<JsonElement> JsonAsync(HttpMethod method, string path, HttpContent? body, CancellationToken cancellation)
    {
        using var request = new HttpRequestMessage(method, path) { Content = body };
        using var answer = await SendAsync(request, cancellation).ConfigureAwait(false);
        return answer.StatusCode == HttpStatusCode.NoContent ? default : await answer.Content.ReadFromJsonAsync<JsonElement>(cancellation).ConfigureAwait(false);
    }

    private async Task<Exception> RefusalAsync(HttpResponseMessage answer, CancellationToken cancellation)
    {
        var text = await answer.Content.ReadAsStringAsync(cancellation).ConfigureAwait(false);
        var what = Said(text) ?? $"status {(int)answer.StatusCode}";
        return answer.StatusCode switch
        {
            HttpStatusCode.Unauthorized or HttpStatusCode.Forbidden => new PlanException("service", null, Host, what, "a token of an account that may do this"),
            HttpStatusCode.BadRequest => new PlanException("service", null, Host, what, "what it names"),
            _ => new BadInputException("service", Host, what, (int)answer.StatusCode >= 500 ? "Try again later; the log of the service has more." : "Do what it says, then try again."),
        };
    }

    private static string? Said(string text)
    {
        try
        {
            var problem = JsonDocument.Parse(text).RootElement;
            var parts = new[] { "title", "detail" }.Select(n => problem.TryGetProperty(n, out var p) ? p.GetString() : null);
            return string.Join(": ", parts.Where(p => p is not null)).TrimEnd('.');
        }
        catch (JsonException)
        {
            return null;
        }
    }
}
