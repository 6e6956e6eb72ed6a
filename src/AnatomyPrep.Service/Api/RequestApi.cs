using System.Security.Claims;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Requests;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Mvc;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Requests: ask for a model, alone or many in a table, give it its source, follow it, withdraw it.</summary>
internal static class RequestApi
{
    public static void MapRequests(this RouteGroupBuilder api)
    {
        var requests = api.MapGroup("/requests");
        requests.MapGet("/", List).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<ListPart<RequestView>>();
        requests.MapGet("/{id}", Get).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<RequestView>();
        requests.MapPost("/", Create).RequireAuthorization(p => p.RequireRole(Roles.Coordinator)).Produces<RequestView>(StatusCodes.Status201Created);
        requests.MapPost("/check", Check).RequireAuthorization(p => p.RequireRole(Roles.Coordinator)).Produces<RequestCheck>();
        requests.MapPost("/csv", CreateManyAsync).RequireAuthorization(p => p.RequireRole(Roles.Coordinator)).Produces<ListPart<RequestView>>(StatusCodes.Status201Created);
        requests.MapPut("/{id}", Replace).RequireAuthorization(p => p.RequireRole(Roles.Coordinator)).Produces<RequestView>();
        requests.MapPost("/{id}/source", Choose).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).Produces<RequestView>();
        requests.MapPost("/{id}/cancel", Cancel).RequireAuthorization(p => p.RequireRole(Roles.Coordinator)).Produces<RequestView>();
        requests.MapPost("/{id}/retry", Retry).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).Produces<RequestView>();
    }

    private static IResult List(RequestStore requests, HttpContext context, string? before = null, string? state = null, int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = requests.List(most, before, Listing.State<RequestState>(state));
        return Tags.List(context, items.Select(r => $"{r.Id} {r.Version}"), () => new ListPart<RequestView>([.. items.Select(RequestView.Of)], items.Count == most ? items[^1].Id : null));
    }

    private static IResult Get(string id, RequestStore requests, HttpContext context) =>
        requests.Find(id) is { } request ? Tags.One(context, request.Version, () => RequestView.Of(request)) : NotFound();

    private static IResult Create(NewRequest asked, RequestStore requests, ServiceStart start, SiteKey siteKey, HttpContext context, ClaimsPrincipal user, [FromHeader(Name = IdempotencyKey.Header)] string? key = null)
    {
        var made = requests.Create([Checked(asked, start, siteKey)], user.Identity!.Name!, IdempotencyKey.Checked(key))[0];
        Tags.Set(context, made.Version);
        return Results.Created($"/api/v1/requests/{made.Id}", RequestView.Of(made));
    }

    /// <summary>What would come of a request, without making it: the first value that is not allowed, and what the source says against it.</summary>
    private static RequestCheck Check(NewRequest asked, RequestStore requests, ServiceStart start, SiteKey siteKey)
    {
        try
        {
            return new(null, null, requests.Judge(Checked(asked, start, siteKey)));
        }
        catch (PlanException e)
        {
            return new(e.Parameter, $"{e.Value}; allowed: {e.Allowed}", []);
        }
    }

    private static async Task<IResult> CreateManyAsync(RequestStore requests, ServiceStart start, SiteKey siteKey, HttpContext context, ClaimsPrincipal user, [FromHeader(Name = IdempotencyKey.Header)] string? key = null)
    {
        if (context.Request.ContentType?.StartsWith("text/csv", StringComparison.OrdinalIgnoreCase) != true)
            return Results.Problem(statusCode: StatusCodes.Status415UnsupportedMediaType, title: "Only text/csv is taken here");
        using var body = new MemoryStream();
        await context.Request.Body.CopyToAsync(body, context.RequestAborted).ConfigureAwait(false);
        var (rows, errors) = RequestTable.Read(body.ToArray());
        var wrong = errors.ToList();
        var asked = new List<ModelRequest>();
        foreach (var (line, row) in rows)
        {
            try
            {
                asked.Add(Checked(row, start, siteKey));
            }
            catch (PlanException e)
            {
                wrong.Add(new(line, e.Parameter, $"{e.Value}; allowed: {e.Allowed}"));
            }
        }

        if (wrong.Count > 0)
            return Results.Problem(statusCode: StatusCodes.Status422UnprocessableEntity, title: "The table has wrong rows", detail: "None of its rows was taken. Correct those that are named, then send all of it again.", extensions: [new("rows", wrong)]);
        var made = requests.Create(asked, user.Identity!.Name!, IdempotencyKey.Checked(key));
        return Results.Created((string?)null, new ListPart<RequestView>([.. made.Select(RequestView.Of)], null));
    }

    private static IResult Replace(string id, NewRequest asked, RequestStore requests, ServiceStart start, SiteKey siteKey, HttpContext context, ClaimsPrincipal user)
    {
        var content = Checked(asked, start, siteKey);
        if (content.Job.SourceId is { } source && !requests.HasSource(source))
            throw new BadInputException("request", "sourceId", "no such source", "Choose one of the list of sources.");
        return Change(id, requests, context, () => requests.Replace(id, content, user.Identity!.Name!), "A request whose job has begun is not changed: cancel it and ask again.");
    }

    private static IResult Choose(string id, ChosenSource chosen, RequestStore requests, HttpContext context, ClaimsPrincipal user) =>
        Change(id, requests, context, () => requests.Choose(id, chosen.SourceId, user.Identity!.Name!), "It has a job already, or is cancelled.");

    private static IResult Cancel(string id, RequestStore requests, HttpContext context, ClaimsPrincipal user) =>
        Change(id, requests, context, () => requests.Cancel(id, user.Identity!.Name!), "It has ended already.");

    private static IResult Retry(string id, RequestStore requests, HttpContext context, ClaimsPrincipal user) =>
        Change(id, requests, context, () => requests.Retry(id, user.Identity!.Name!), "Only a failed or cancelled request is taken up again.");

    private static IResult Change(string id, RequestStore requests, HttpContext context, Func<RequestEntry?> change, string refusal) =>
        requests.Find(id) is { } request ? Tags.Change(context, "request", request, r => r.Version, change, RequestView.Of, refusal) : NotFound();

    private static ModelRequest Checked(NewRequest asked, ServiceStart start, SiteKey siteKey)
    {
        if (asked.PatientId is not null && asked.PatientKey is not null)
            throw new PlanException("request", null, "patientKey", "not allowed", "patientId or patientKey, not both");
        var patient = siteKey.Pseudonym(IdentifierKind.Patient, asked.PatientId?.Trim()) ?? asked.PatientKey;
        var request = new ModelRequest(
            new JobRequest(asked.Purpose, asked.Anatomy, asked.Side, asked.Plan, asked.RequesterCode, asked.NeededBy, patient, asked.SourceId, asked.Profile, asked.Scale), asked.Note);
        request.Check(start);
        return request;
    }

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such request");
}
