using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Messages;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Messages to others: what was delivered, what waits and why.</summary>
internal static class MessageApi
{
    public static void MapMessages(this RouteGroupBuilder api)
    {
        api.MapGet("/messages", List).RequireAuthorization(p => p.RequireRole(Roles.Administrator));
        api.MapPost("/messages/{id}/retry", Retry).RequireAuthorization(p => p.RequireRole(Roles.Administrator)).Produces<Message>();
    }

    private static ListPart<Message> List(MessageOutbox outbox, string? before = null, string? state = null, int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = outbox.List(most, before, Listing.State<MessageState>(state));
        return new(items, items.Count == most ? items[^1].Id : null);
    }

    private static IResult Retry(string id, MessageOutbox outbox) => outbox.Retry(id) is { } message
        ? Results.Ok(message)
        : Results.Problem(statusCode: StatusCodes.Status409Conflict, title: "There is no such failed message");
}
