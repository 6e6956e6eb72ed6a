using System.Net;
using System.Text.Json;
using System.Web;
using AnatomyPrep.Service.Accounts;

namespace AnatomyPrep.Tests.Service.Accounts;

/// <summary>People of an organisation sign in at its issuer; nobody else does, and nobody becomes somebody who is there.</summary>
public sealed class ExternalSignInTests : IDisposable
{
    private readonly TestFolder _folder = new();
    private readonly Issuer _issuer = new();

    public void Dispose()
    {
        _issuer.Dispose();
        _folder.Dispose();
    }

    [Fact]
    public async Task Who_the_issuer_vouches_for_has_a_session_with_the_role_it_says()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], Settings());
        using (var tom = new Browser(service.Address))
        {
            _issuer.Claims = new() { ["sub"] = "s-1", ["preferred_username"] = "tom@example.org", ["roles"] = new[] { "lab", "other" } };
            (await tom.SignInAsync(_issuer)).StatusCode.Should().Be(HttpStatusCode.Redirect);
            var session = await tom.SessionAsync();
            (session.GetProperty("name").GetString(), session.GetProperty("role").GetString()).Should().Be(("tom", Roles.Technician));
        }

        // The same person with another role: the account is the same.
        using var again = new Browser(service.Address);
        _issuer.Claims = new() { ["sub"] = "s-1", ["preferred_username"] = "renamed", ["roles"] = new[] { "quality" } };
        await again.SignInAsync(_issuer);
        (await again.SessionAsync()).GetProperty("role").GetString().Should().Be(Roles.QualityOfficer);
        service.Accounts.List().Should().ContainSingle();
        service.Events.After(0, 100).Select(e => e.Event.Kind).Should().Contain(["account.created", "session.opened", "account.role-changed"]);
        using var password = new ServiceClient(service.Address);
        (await password.SignInAsync("tom", ServiceClient.Password)).StatusCode.Should().Be(HttpStatusCode.Unauthorized, "no password opens it");

        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
        await ada.SendAsync(HttpMethod.Post, "/api/v1/accounts/tom/disable");
        using var disabled = new Browser(service.Address);
        (await disabled.SignInAsync(_issuer)).StatusCode.Should().Be(HttpStatusCode.Forbidden);
        service.Log.Text.Should().NotContain(Issuer.Secret).And.NotContain("example.org");
    }

    [Fact]
    public async Task A_forged_or_foreign_token_and_a_person_without_a_role_open_nothing()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], Settings());
        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
        foreach (var (what, status, change) in new (string, HttpStatusCode, Action)[]
        {
            ("another key", HttpStatusCode.Unauthorized, () => _issuer.Forges = true),
            ("another audience", HttpStatusCode.Unauthorized, () => _issuer.Audience = "other"),
            ("no role", HttpStatusCode.Forbidden, () => _issuer.Claims["roles"] = new[] { "cook" }),
            ("the name of an account that is here", HttpStatusCode.Forbidden, () => _issuer.Claims["preferred_username"] = "ADA"),
            ("no name", HttpStatusCode.Forbidden, () => _issuer.Claims["preferred_username"] = "@@"),
        })
        {
            (_issuer.Forges, _issuer.Audience) = (false, Issuer.Client);
            _issuer.Claims = new() { ["sub"] = "s-9", ["preferred_username"] = "eve", ["roles"] = new[] { "boss" } };
            change();
            using var eve = new Browser(service.Address);
            (await eve.SignInAsync(_issuer)).StatusCode.Should().Be(status, what);
            (await eve.StatusAsync()).Should().Be(HttpStatusCode.Unauthorized, what);
        }

        _issuer.Claims["preferred_username"] = "eve";
        using var replayed = new Browser(service.Address);
        (await replayed.SignInAsync(_issuer, nonce: "another")).StatusCode.Should().Be(HttpStatusCode.Unauthorized, "the token is of another sign-in");
        using var bare = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false }) { BaseAddress = service.Address };
        (await bare.GetAsync("/signin-oidc?code=the-code&state=forged")).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
        service.Accounts.List().Should().ContainSingle("only ada is here");
    }

    private object Settings()
    {
        File.WriteAllText(_folder["secret"], Issuer.Secret + "\n");
        return new
        {
            storage = new { leastFreeMegabytes = 0 },
            signIn = new
            {
                authority = _issuer.Url,
                clientId = Issuer.Client,
                clientSecretFile = _folder["secret"],
                roles = new Dictionary<string, string> { ["lab"] = Roles.Technician, ["quality"] = Roles.QualityOfficer, ["boss"] = Roles.Administrator },
            },
        };
    }

    /// <summary>What a browser does: keeps cookies, and goes where it is sent.</summary>
    private sealed class Browser(Uri address) : IDisposable
    {
        private readonly HttpClient _http = new(new SocketsHttpHandler { AllowAutoRedirect = false, CookieContainer = new CookieContainer() }) { BaseAddress = address };

        public async Task<HttpResponseMessage> SignInAsync(Issuer issuer, string? nonce = null)
        {
            using var sent = await _http.GetAsync("/sign-in/external");
            sent.StatusCode.Should().Be(HttpStatusCode.Redirect, await sent.Content.ReadAsStringAsync());
            sent.Headers.Location!.ToString().Should().StartWith($"{issuer.Url}/authorize?");
            var asked = HttpUtility.ParseQueryString(sent.Headers.Location.Query);
            (issuer.Nonce, issuer.Challenge) = (nonce ?? asked["nonce"], asked["code_challenge"]);
            asked["code_challenge_method"].Should().Be("S256");
            return await _http.GetAsync($"/signin-oidc?code=the-code&state={Uri.EscapeDataString(asked["state"]!)}");
        }

        public async Task<JsonElement> SessionAsync() => JsonDocument.Parse(await _http.GetStringAsync("/api/v1/session")).RootElement;

        public async Task<HttpStatusCode> StatusAsync()
        {
            using var answer = await _http.GetAsync("/api/v1/session");
            return answer.StatusCode;
        }

        public void Dispose() => _http.Dispose();
    }
}
