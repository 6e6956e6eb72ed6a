using System.Security.Claims;
using System.Security.Cryptography;
using System.Text;
using System.Text.Encodings.Web;
using Microsoft.AspNetCore.Authentication;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Options;

namespace AnatomyPrep.Service.Accounts;

/// <summary>Knows a request by a token of an account (RFC 6750), or by its session cookie; one that changes something must also carry the session's token in a header.</summary>
/// <remarks>
/// The cookie is SameSite=Strict and cannot be read by scripts; the token can only be known to a page of ours. Either alone stops a
/// request forged by another site.
/// </remarks>
internal sealed class SessionHandler(IOptionsMonitor<AuthenticationSchemeOptions> options, ILoggerFactory logger, UrlEncoder encoder, AccountStore accounts)
    : AuthenticationHandler<AuthenticationSchemeOptions>(options, logger, encoder)
{
    public const string SchemeName = "session";
    public const string Cookie = "anatomyprep-session";
    public const string CsrfHeader = "X-CSRF-Token";
    private const string Bearer = "Bearer ";

    public static CookieOptions CookieOptions(HttpContext context) => new() { HttpOnly = true, SameSite = SameSiteMode.Strict, Secure = context.Request.IsHttps, Path = "/" };

    protected override Task<AuthenticateResult> HandleAuthenticateAsync()
    {
        // A token is sent by a program that was given it, never by a browser on its own: another site cannot make one come along.
        if (Request.Headers.Authorization.ToString() is { Length: < 200 } sent && sent.StartsWith(Bearer, StringComparison.Ordinal))
            return Task.FromResult(accounts.TokenOwner(sent[Bearer.Length..]) is { } known ? Known(known) : AuthenticateResult.NoResult());
        if (Request.Cookies[Cookie] is not { Length: > 0 and < 100 } secret || accounts.Owner(secret) is not { } owner)
            return Task.FromResult(AuthenticateResult.NoResult());
        if (!IsSafe(Request.Method) && !IsToken(owner.CsrfToken))
            return Task.FromResult(AuthenticateResult.Fail("the header X-CSRF-Token is missing or wrong"));
        return Task.FromResult(Known(owner));
    }

    private AuthenticateResult Known(SessionOwner owner)
    {
        var identity = new ClaimsIdentity([new(ClaimTypes.Name, owner.Name), new(ClaimTypes.Role, owner.Role)], Scheme.Name);
        return AuthenticateResult.Success(new(new ClaimsPrincipal(identity), Scheme.Name));
    }

    private static bool IsSafe(string method) => HttpMethods.IsGet(method) || HttpMethods.IsHead(method) || HttpMethods.IsOptions(method);

    private bool IsToken(string expected) =>
        CryptographicOperations.FixedTimeEquals(Encoding.UTF8.GetBytes(Request.Headers[CsrfHeader].ToString()), Encoding.UTF8.GetBytes(expected));
}
