using System.Security.Claims;
using System.Security.Cryptography;
using System.Text;
using System.Text.Encodings.Web;
using Microsoft.AspNetCore.Authentication;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Options;

namespace AnatomyPrep.Service.Accounts;

/// <summary>Knows a request by its session cookie; one that changes something must also carry the session's token in a header.</summary>
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

    public static CookieOptions CookieOptions(HttpContext context) => new() { HttpOnly = true, SameSite = SameSiteMode.Strict, Secure = context.Request.IsHttps, Path = "/" };

    protected override Task<AuthenticateResult> HandleAuthenticateAsync()
    {
        if (Request.Cookies[Cookie] is not { Length: > 0 and < 100 } secret || accounts.Owner(secret) is not { } owner)
            return Task.FromResult(AuthenticateResult.NoResult());
        if (!IsSafe(Request.Method) && !IsToken(owner.CsrfToken))
            return Task.FromResult(AuthenticateResult.Fail("the header X-CSRF-Token is missing or wrong"));
        var identity = new ClaimsIdentity([new(ClaimTypes.Name, owner.Name), new(ClaimTypes.Role, owner.Role)], Scheme.Name);
        return Task.FromResult(AuthenticateResult.Success(new(new ClaimsPrincipal(identity), Scheme.Name)));
    }

    private static bool IsSafe(string method) => HttpMethods.IsGet(method) || HttpMethods.IsHead(method) || HttpMethods.IsOptions(method);

    private bool IsToken(string expected) =>
        CryptographicOperations.FixedTimeEquals(Encoding.UTF8.GetBytes(Request.Headers[CsrfHeader].ToString()), Encoding.UTF8.GetBytes(expected));
}
