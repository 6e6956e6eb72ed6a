using System.Net;
using System.Net.Http.Json;
using System.Text.Json;

namespace AnatomyPrep.Tests.Service;

/// <summary>One person at the API: keeps the cookie and sends the session's token, as a page would.</summary>
internal sealed class ServiceClient : IDisposable
{
    public const string Password = "correct horse battery";

    private readonly HttpClient _http;

    public ServiceClient(Uri address) => _http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false, CookieContainer = new CookieContainer() }) { BaseAddress = address };

    public string? CsrfToken { get; set; }

    /// <summary>Makes an account of the role from an invitation and signs in.</summary>
    public static async Task<ServiceClient> AsAsync(RunningService service, string role, string? name = null)
    {
        name ??= role;
        await service.Accounts.AcceptAsync(service.Accounts.Invite(role, null), name, Password);
        var client = new ServiceClient(service.Address);
        (await client.SignInAsync(name, Password)).StatusCode.Should().Be(HttpStatusCode.OK);
        return client;
    }

    public async Task<HttpResponseMessage> SignInAsync(string name, string password)
    {
        var answer = await SendAsync(HttpMethod.Post, "/api/v1/session", new { name, password });
        if (answer.IsSuccessStatusCode)
            CsrfToken = (await answer.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("csrfToken").GetString();
        return answer;
    }

    public Task<HttpResponseMessage> SendAsync(HttpMethod method, string path, object? body = null, params (string Name, string Value)[] headers) => _http.SendAsync(Request(method, path, body, headers));

    private HttpRequestMessage Request(HttpMethod method, string path, object? body, params (string Name, string Value)[] headers)
    {
        var request = new HttpRequestMessage(method, path) { Content = body switch { null => null, HttpContent content => content, byte[] bytes => new ByteArrayContent(bytes), _ => JsonContent.Create(body) } };
        if (CsrfToken is not null)
            request.Headers.Add("X-CSRF-Token", CsrfToken);
        foreach (var (name, value) in headers)
            request.Headers.TryAddWithoutValidation(name, value);
        return request;
    }

    /// <summary>Sends and waits for the head of the answer only: a stream has no end.</summary>
    public async Task<HttpStatusCode> StatusAsync(HttpMethod method, string path, object? body)
    {
        using var request = Request(method, path, body);
        using var answer = await _http.SendAsync(request, HttpCompletionOption.ResponseHeadersRead);
        return answer.StatusCode;
    }

    public async Task<JsonElement> ReadAsync(string path)
    {
        var answer = await SendAsync(HttpMethod.Get, path);
        answer.StatusCode.Should().Be(HttpStatusCode.OK, "of {0}", path);
        return await answer.Content.ReadFromJsonAsync<JsonElement>();
    }

    /// <summary>Opens a stream of server-sent events and waits for its first line.</summary>
    public async Task<StreamReader> ListenAsync(string path)
    {
        var reader = new StreamReader(await _http.GetStreamAsync(path));
        await reader.ReadLineAsync();
        return reader;
    }

    public void Dispose() => _http.Dispose();
}
