using System.Globalization;
using System.Security.Claims;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Remarks;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>What people say about a model, with marks on it.</summary>
internal static class RemarkApi
{
    public static void MapRemarks(this RouteGroupBuilder api)
    {
        api.MapGet("/verdicts", (RemarkStore remarks) => remarks.Verdicts()).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/jobs/{id}/remarks", Get).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<ListPart<Remark>>();
        api.MapPost("/jobs/{id}/remarks", Add).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator, Roles.QualityOfficer)).Produces<Remark>(StatusCodes.Status201Created);
    }

    private static IResult Get(string id, JobStore jobs, RemarkStore remarks, HttpContext context)
    {
        if (jobs.Find(id) is null)
            return NotFound();
        var items = remarks.Of(id);
        return Tags.One(context, VersionOf(items.Count), () => new ListPart<Remark>(items, null));
    }

    private static IResult Add(string id, NewRemark said, JobStore jobs, RemarkStore remarks, HttpContext context, ClaimsPrincipal user)
    {
        said.Check();
        if (jobs.Find(id) is not { } job)
            return NotFound();
        if (said.Verdict != Verdict.Note && user.IsInRole(Roles.Technician))
            return Results.Problem(statusCode: StatusCodes.Status403Forbidden, title: "Whether a model fits is said by who asked for it", detail: "A technician may add a note.");
        if (said.Verdict == Verdict.Fits && job.State != JobState.Done)
            return Results.Problem(statusCode: StatusCodes.Status409Conflict, title: "The model is not made yet", detail: "Wait until it is, then look at it.");
        if (remarks.Add(id, said, user.Identity!.Name!, KnownOf(context)) is not { } made)
            return Results.Problem(statusCode: StatusCodes.Status412PreconditionFailed, title: "Somebody else has said something meanwhile", detail: "Read it, then decide again.");
        Tags.Set(context, VersionOf(made.Number));
        return Results.Created($"/api/v1/jobs/{id}/remarks", made);
    }

    private static int? KnownOf(HttpContext context) =>
        context.Request.Headers.IfMatch is [{ } tag] && int.TryParse(tag.Trim('"'), NumberStyles.None, CultureInfo.InvariantCulture, out var known) ? known : null;

    private static string VersionOf(int count) => count.ToString(CultureInfo.InvariantCulture);

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such model");
}
