using AnatomyPrep.Service.Events;
using Microsoft.AspNetCore.Authorization;
using Microsoft.AspNetCore.Authorization.Policy;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Makes an event of every access that was refused.</summary>
internal sealed class RefusalRecorder(IEventSink events) : IAuthorizationMiddlewareResultHandler
{
    private readonly AuthorizationMiddlewareResultHandler _usual = new();

    public Task HandleAsync(RequestDelegate next, HttpContext context, AuthorizationPolicy policy, PolicyAuthorizationResult authorizeResult)
    {
        // An address that is not there is nothing that could be accessed. The pattern is kept: an address is a stranger's words.
        if (!authorizeResult.Succeeded && context.GetEndpoint() is RouteEndpoint { RoutePattern.RawText: { } pattern })
            events.Append(new("access.refused", pattern, context.User.Identity?.Name, Detail: context.Request.Method is "GET" or "POST" or "PUT" or "DELETE" ? context.Request.Method : "another method"));
        return _usual.HandleAsync(next, context, policy, authorizeResult);
    }
}
