using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using System.Web;
using AnatomyPrep.Tests.Service.Messages;

namespace AnatomyPrep.Tests.Service.Accounts;

/// <summary>A small OpenID Connect issuer on loopback: discovery, keys, and a token endpoint that checks secret and PKCE (RFC 7636). Its tokens are made here by hand.</summary>
internal sealed class Issuer : IDisposable
{
    public const string Client = "anatomyprep";
    public const string Secret = "a secret of the issuer";

    private readonly RSA _key = RSA.Create(2048);
    private readonly Listener _listener;

    public Issuer()
    {
        _listener = new Listener { Answer = h => h.Path == "/token" && !IsRight(h) ? 400 : 200 };
        _listener.Content = heard => heard.Path.StartsWith("/authorize?", StringComparison.Ordinal)
            ? ("text/html", Encoding.UTF8.GetBytes(Door(HttpUtility.ParseQueryString(heard.Path["/authorize".Length..]))))
            : ("application/json", JsonSerializer.SerializeToUtf8Bytes(Answer(heard)));
    }

    public string Url => $"http://127.0.0.1:{_listener.Port}";

    /// <summary>Claims of the next token, beside issuer, audience, times and nonce.</summary>
    public Dictionary<string, object> Claims { get; set; } = [];

    public string? Nonce { get; set; }

    public string? Challenge { get; set; }

    /// <summary>Signs with another key than the published one.</summary>
    public bool Forges { get; set; }

    public string Audience { get; set; } = Client;

    public void Dispose()
    {
        _listener.Dispose();
        _key.Dispose();
    }

    /// <summary>The page on which people say who they are: here it takes a press.</summary>
    private string Door(System.Collections.Specialized.NameValueCollection asked)
    {
        (Nonce, Challenge) = (asked["nonce"], asked["code_challenge"]);
        return $"<!doctype html><title>issuer</title><a href=\"{HttpUtility.HtmlAttributeEncode($"{asked["redirect_uri"]}?code=the-code&state={Uri.EscapeDataString(asked["state"]!)}")}\">go on</a>";
    }

    private object Answer(Heard heard)
    {
        var parameters = _key.ExportParameters(false);
        return heard.Path switch
        {
            "/.well-known/openid-configuration" => new
            {
                issuer = Url,
                authorization_endpoint = $"{Url}/authorize",
                token_endpoint = $"{Url}/token",
                jwks_uri = $"{Url}/keys",
                response_types_supported = new[] { "code" },
                id_token_signing_alg_values_supported = new[] { "RS256" },
                subject_types_supported = new[] { "public" },
            },
            "/keys" => new { keys = new[] { new { kty = "RSA", use = "sig", alg = "RS256", kid = "k1", n = Base64Url.EncodeToString(parameters.Modulus), e = Base64Url.EncodeToString(parameters.Exponent) } } },
            _ => new { access_token = "not used", token_type = "Bearer", expires_in = 60, id_token = Token() },
        };
    }

    private bool IsRight(Heard heard)
    {
        var form = HttpUtility.ParseQueryString(Encoding.UTF8.GetString(heard.Body));
        return form["client_secret"] == Secret && form["code"] == "the-code" && Base64Url.EncodeToString(SHA256.HashData(Encoding.ASCII.GetBytes(form["code_verifier"] ?? ""))) == Challenge;
    }

    private string Token()
    {
        var now = TimeProvider.System.GetUtcNow().ToUnixTimeSeconds();
        var claims = new Dictionary<string, object>(Claims) { ["iss"] = Url, ["aud"] = Audience, ["iat"] = now, ["exp"] = now + 300, ["nonce"] = Nonce! };
        var text = $"{Part(new { alg = "RS256", typ = "JWT", kid = "k1" })}.{Part(claims)}";
        using var other = RSA.Create(2048);
        return $"{text}.{Base64Url.EncodeToString((Forges ? other : _key).SignData(Encoding.ASCII.GetBytes(text), HashAlgorithmName.SHA256, RSASignaturePadding.Pkcs1))}";
    }

    private static string Part(object value) => Base64Url.EncodeToString(JsonSerializer.SerializeToUtf8Bytes(value));
}
