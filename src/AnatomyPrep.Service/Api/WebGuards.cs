using System.Diagnostics;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Api;

/// <summary>Headers that every answer carries, and one line of log for each request.</summary>
internal static class WebGuards
{
    // Scripts, styles and pictures of our own only, nothing inline, nothing from elsewhere; blob: for pictures that were fetched with a session.
    private const string Policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; require-trusted-types-for 'script'; trusted-types 'none'";

    public static void UseSafeHeaders(this WebApplication app) => app.Use((context, next) =>
    {
        var headers = context.Response.Headers;
        headers.ContentSecurityPolicy = Policy;
        headers.XContentTypeOptions = "nosniff";
        headers.XFrameOptions = "DENY";
        headers["Referrer-Policy"] = "no-referrer";
        headers["Cross-Origin-Opener-Policy"] = "same-origin";
        headers["Cross-Origin-Resource-Policy"] = "same-origin";
        headers.CacheControl = "no-store";
        if (context.Request.IsHttps)
            headers.StrictTransportSecurity = "max-age=31536000";
        return next(context);
    });

    /// <summary>Method, pattern, status and time: no address, no query, no body.</summary>
    public static void UseRequestLog(this WebApplication app)
    {
        var log = app.Services.GetRequiredService<ILoggerFactory>().CreateLogger("Requests");
        app.Use(async (context, next) =>
        {
            var begin = Stopwatch.GetTimestamp();
            await next(context).ConfigureAwait(false);
            log.LogInformation(
                "Request {Trace} {Pattern} {Status} in {Milliseconds:F0} ms",
                context.TraceIdentifier,
                (context.GetEndpoint() as RouteEndpoint)?.RoutePattern.RawText ?? "none",
                context.Response.StatusCode,
                Stopwatch.GetElapsedTime(begin).TotalMilliseconds);
        });
    }
}
