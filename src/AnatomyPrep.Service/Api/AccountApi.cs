using System.Security.Claims;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Mvc;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Sessions, invitations, accounts.</summary>
internal static class AccountApi
{
    /// <summary>Name of the limit on tries at passwords and invitations.</summary>
    public const string TriesLimit = "tries";

    public static void MapAccounts(this RouteGroupBuilder api)
    {
        api.MapGet("/sign-in", (ServiceSettings settings) => new SignInWays(settings.SignIn is null ? null : ExternalSignIn.Address)).AllowAnonymous();
        api.MapPost("/session", SignInAsync).AllowAnonymous().RequireRateLimiting(TriesLimit);
        api.MapGet("/session", GetSession).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapDelete("/session", SignOut).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/accounts", (AccountStore accounts) => new ListPart<AccountEntry>(accounts.List(), null)).RequireAuthorization(p => p.RequireRole(Roles.Administrator));
        api.MapPost("/accounts/{name}/disable", Disable).RequireAuthorization(p => p.RequireRole(Roles.Administrator));
        api.MapGet("/tokens", (AccountStore accounts, ClaimsPrincipal user) => new ListPart<TokenEntry>(accounts.Tokens(user.Identity!.Name!), null)).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapPost("/tokens", (AskedToken asked, AccountStore accounts, ClaimsPrincipal user) => accounts.MakeToken(user.Identity!.Name!, asked.Name, asked.Days)).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapDelete("/tokens/{id}", (string id, AccountStore accounts, ClaimsPrincipal user) => accounts.EndToken(user.Identity!.Name!, id)
            ? Results.NoContent()
            : Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such token of yours")).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapPost("/invitations", Invite).RequireAuthorization(p => p.RequireRole(Roles.Administrator));
    }

    /// <summary>What is behind an invitation. It needs no session token: who has the invitation's secret may.</summary>
    public static void MapInvitation(this IEndpointRouteBuilder app) =>
        app.MapPost("/invitation", AcceptAsync).AllowAnonymous().RequireRateLimiting(TriesLimit).DisableAntiforgery().ExcludeFromDescription();

    private static async Task<IResult> SignInAsync(SignIn asked, AccountStore accounts, HttpContext context)
    {
        if (await accounts.SignInAsync(asked.Name, asked.Password).ConfigureAwait(false) is not { } session)
            return Results.Problem(statusCode: StatusCodes.Status401Unauthorized, title: "Name and password do not open an account", detail: "After five wrong tries an account rests for 15 minutes.");
        context.Response.Cookies.Append(SessionHandler.Cookie, session.Secret, SessionHandler.CookieOptions(context));
        return Results.Ok(new SessionAnswer(session.Account.Name, session.Account.Role, session.CsrfToken));
    }

    /// <summary>A token has no session: its owner is told, and no CSRF token.</summary>
    private static SessionAnswer GetSession(AccountStore accounts, HttpContext context, ClaimsPrincipal user) =>
        context.Request.Cookies[SessionHandler.Cookie] is { } secret && accounts.Owner(secret) is { } owner
            ? new(owner.Name, owner.Role, owner.CsrfToken)
            : new(user.Identity!.Name!, user.FindFirstValue(ClaimTypes.Role)!, "");

    private static IResult SignOut(AccountStore accounts, HttpContext context)
    {
        if (context.Request.Cookies[SessionHandler.Cookie] is { } secret)
            accounts.SignOut(secret);
        context.Response.Cookies.Delete(SessionHandler.Cookie, SessionHandler.CookieOptions(context));
        return Results.NoContent();
    }

    private static IResult Disable(string name, AccountStore accounts, ClaimsPrincipal user) => accounts.Disable(name, user.Identity!.Name!)
        ? Results.NoContent()
        : Results.Problem(statusCode: StatusCodes.Status409Conflict, title: "There is no such account, or it is the last administrator's");

    private static InvitationAnswer Invite(NewInvitation asked, AccountStore accounts, HttpContext context, ClaimsPrincipal user) =>
        new($"{context.Request.Scheme}://{context.Request.Host}/invitation?token={accounts.Invite(asked.Role, user.Identity!.Name)}");

    private static async Task<IResult> AcceptAsync([FromForm] string token, [FromForm] string name, [FromForm] string password, AccountStore accounts)
    {
        if (token.Length > 100)
            throw new PlanException("invitation", null, "token", "too long", "the one of the link");
        return Results.Ok(new AccountMade((await accounts.AcceptAsync(token, name, password).ConfigureAwait(false)).Name));
    }
}
