using System.Security.Claims;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.Authentication;
using Microsoft.AspNetCore.Authentication.OpenIdConnect;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.DataProtection;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;
using Microsoft.IdentityModel.Protocols.OpenIdConnect;

namespace AnatomyPrep.Service.Accounts;

/// <summary>Sign-in by OpenID Connect: authorization code with PKCE; what comes back opens a session of ours, and nothing of the issuer's is kept.</summary>
/// <remarks>
/// The keys that protect the state between the two halves of a sign-in are in memory only: a restart in between, or another node, means to begin again.
/// </remarks>
internal static class ExternalSignIn
{
    public const string Address = "/sign-in/external";

    private const string Scheme = "external";
    private const string Callback = "/signin-oidc";

    private static readonly TimeSpan s_longest = TimeSpan.FromSeconds(30);

    public static void Add(IServiceCollection services, SignInSettings settings)
    {
        services.AddDataProtection().UseEphemeralDataProtectionProvider();
        services.AddAuthentication().AddOpenIdConnect(Scheme, options =>
        {
            options.Authority = settings.Authority;
            options.ClientId = settings.ClientId;
            options.ClientSecret = File.ReadAllText(settings.ClientSecretFile).Trim();
            options.RequireHttpsMetadata = !new Uri(settings.Authority).IsLoopback;
            options.ResponseType = OpenIdConnectResponseType.Code;
            // By address, not by a form from another site: the cookies of the sign-in stay SameSite=Lax.
            options.ResponseMode = OpenIdConnectResponseMode.Query;
            options.UsePkce = true;
            options.MapInboundClaims = false;
            options.SaveTokens = false;
            options.CallbackPath = Callback;
            options.Backchannel = OutboundHttp.Create(settings.Networks, s_longest);
            foreach (var cookie in new[] { options.CorrelationCookie, options.NonceCookie })
                (cookie.SameSite, cookie.SecurePolicy) = (SameSiteMode.Lax, CookieSecurePolicy.SameAsRequest);
            options.Events.OnTicketReceived = context => ReceivedAsync(context, settings);
            options.Events.OnRemoteFailure = FailedAsync;
        });
    }

    /// <summary>Where a person is sent to the issuer from.</summary>
    public static void Map(IEndpointRouteBuilder app) =>
        app.MapGet(Address, () => Results.Challenge(new AuthenticationProperties { RedirectUri = "/" }, [Scheme])).AllowAnonymous().RequireRateLimiting(Api.AccountApi.TriesLimit).ExcludeFromDescription();

    private static async Task ReceivedAsync(TicketReceivedContext context, SignInSettings settings)
    {
        context.HandleResponse();
        var who = context.Principal!;
        var role = settings.RoleOf(who.FindAll(settings.RoleClaim).Select(c => c.Value));
        var session = context.HttpContext.RequestServices.GetRequiredService<AccountStore>().SignInExternal(SubjectOf(who), NameOf(who, settings), role);
        if (session is null)
        {
            await SayAsync(context.HttpContext, StatusCodes.Status403Forbidden, "Your organisation signed you in, but there is no role here for you, the account is disabled, or its name is another one's. Ask an administrator.").ConfigureAwait(false);
            return;
        }

        context.Response.Cookies.Append(SessionHandler.Cookie, session.Secret, SessionHandler.CookieOptions(context.HttpContext));
        context.Response.Redirect("/");
    }

    private static Task FailedAsync(RemoteFailureContext context)
    {
        context.HandleResponse();
        // Kind only: the message may hold what the issuer, or a stranger, put into an address.
        context.HttpContext.RequestServices.GetRequiredService<ILoggerFactory>().CreateLogger("SignIn").LogWarning("Sign-in failed: {Kind}", context.Failure?.GetType().Name);
        return SayAsync(context.HttpContext, StatusCodes.Status401Unauthorized, "The sign-in did not come to an end. Begin again.");
    }

    private static Task SayAsync(HttpContext context, int status, string text)
    {
        (context.Response.StatusCode, context.Response.ContentType) = (status, "text/plain; charset=utf-8");
        return context.Response.WriteAsync(text);
    }

    /// <summary>Issuer and subject name a person for ever (OpenID Connect Core, 5.7); kept as a hash.</summary>
    private static string SubjectOf(ClaimsPrincipal who) =>
        Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes($"{who.FindFirstValue("iss")}\n{who.FindFirstValue("sub")}")));

    /// <summary>The name without its domain, of the characters that a name may have.</summary>
    private static string NameOf(ClaimsPrincipal who, SignInSettings settings) =>
        new([.. (who.FindFirstValue(settings.NameClaim) ?? "").Split('@')[0].Where(AccountStore.IsNameCharacter).Take(AccountStore.LongestName)]);
}
