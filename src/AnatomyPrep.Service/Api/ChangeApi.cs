using System.Globalization;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Events;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Mvc;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.Hosting;

namespace AnatomyPrep.Service.Api;

/// <summary>One change, as it is streamed: what to read again.</summary>
public sealed record ChangeView(string Kind, string? Id);

/// <summary>Tells who listens what changed, as server-sent events (HTML standard, section 9.2).</summary>
/// <remarks>Only that something changed, never what: it is read again with its own right. Taken from the events, so it works on every node.</remarks>
internal static class ChangeApi
{
    private const int MostStreams = 100;
    private static readonly TimeSpan s_pause = TimeSpan.FromMilliseconds(500);
    private static readonly TimeSpan s_silence = TimeSpan.FromSeconds(15);
    private static readonly string[] s_told = ["job.", "request.", "source.", "model."];
    private static int s_open;

    public static void MapChanges(this RouteGroupBuilder api) =>
        api.MapGet("/changes", StreamAsync).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<ChangeView>(StatusCodes.Status200OK, "text/event-stream");

    private static async Task StreamAsync(EventLog events, HttpContext context, IHostApplicationLifetime lifetime, TimeProvider clock, [FromHeader(Name = "Last-Event-ID")] long? last = null)
    {
        if (Interlocked.Increment(ref s_open) > MostStreams)
        {
            Interlocked.Decrement(ref s_open);
            await Results.Problem(statusCode: StatusCodes.Status503ServiceUnavailable, title: "Too many listen already", detail: "Ask for the lists with If-None-Match instead.").ExecuteAsync(context).ConfigureAwait(false);
            return;
        }

        using var end = CancellationTokenSource.CreateLinkedTokenSource(context.RequestAborted, lifetime.ApplicationStopping);
        try
        {
            context.Response.ContentType = "text/event-stream";
            await SendAsync(events, context.Response, last ?? events.Newest(), clock, end.Token).ConfigureAwait(false);
        }
        catch (OperationCanceledException)
        {
            // The listener went, or the service stops.
        }
        finally
        {
            Interlocked.Decrement(ref s_open);
        }
    }

    private static async Task SendAsync(EventLog events, HttpResponse to, long number, TimeProvider clock, CancellationToken end)
    {
        await to.WriteAsync(": begin\n\n", end).ConfigureAwait(false);
        await to.Body.FlushAsync(end).ConfigureAwait(false);
        var spoke = clock.GetTimestamp();
        while (true)
        {
            var found = events.After(number, Listing.Usual);
            foreach (var e in found)
            {
                number = e.Number;
                if (s_told.Any(t => e.Event.Kind.StartsWith(t, StringComparison.Ordinal)))
                    await to.WriteAsync(string.Create(CultureInfo.InvariantCulture, $"id: {number}\nevent: change\ndata: {JsonSerializer.Serialize(new ChangeView(e.Event.Kind, e.Event.Subject), JsonSerializerOptions.Web)}\n\n"), end).ConfigureAwait(false);
            }

            if (found.Count > 0 || clock.GetElapsedTime(spoke) > s_silence)
            {
                // A line now and then, so that whatever stands in between does not close the connection.
                if (found.Count == 0)
                    await to.WriteAsync(": still here\n\n", end).ConfigureAwait(false);
                await to.Body.FlushAsync(end).ConfigureAwait(false);
                spoke = clock.GetTimestamp();
            }

            await Task.Delay(s_pause, end).ConfigureAwait(false);
        }
    }
}
