using System.Security.Claims;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Storage;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Sources, what was set aside, and the events.</summary>
internal static class IntakeApi
{
    public static void MapIntake(this RouteGroupBuilder api)
    {
        api.MapGet("/sources", ListSources).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/sources/{id}", GetSource).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/quarantine", (QuarantineStore quarantine) => new ListPart<QuarantineEntry>(quarantine.Undecided(), null)).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Administrator));
        api.MapPost("/quarantine/{id}/admit", Admit).RequireAuthorization(p => p.RequireRole(Roles.Administrator));
        api.MapDelete("/quarantine/{id}", Discard).RequireAuthorization(p => p.RequireRole(Roles.Administrator));
        api.MapGet("/events", ListEvents).RequireAuthorization(p => p.RequireRole(Roles.QualityOfficer, Roles.Administrator));
    }

    private static ListPart<SourceEntry> ListSources(SourceStore sources, string? before = null, int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = sources.List(most, before);
        return new(items, items.Count == most ? SourceStore.PlaceOf(items[^1]) : null);
    }

    private static IResult GetSource(string id, SourceStore sources) =>
        sources.Find(id) is { } source ? Results.Ok(source) : Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such source");

    private static IResult Admit(string id, SeriesIntake intake, ClaimsPrincipal user) => Decided(intake.Admit(id, user.Identity!.Name!));

    private static IResult Discard(string id, SeriesIntake intake, ClaimsPrincipal user) => Decided(intake.Discard(id, user.Identity!.Name!));

    private static IResult Decided(bool done) => done ? Results.NoContent() : Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such thing in quarantine");

    private static ListPart<LoggedEvent> ListEvents(EventLog events, long after = 0, int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = events.After(after, most);
        return new(items, items.Count == most ? items[^1].Number.ToString(System.Globalization.CultureInfo.InvariantCulture) : null);
    }
}
