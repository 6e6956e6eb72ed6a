using System.Globalization;
using System.Security.Claims;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Mvc;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Jobs: ask for a model, follow it, stop it, try it again, fetch its files.</summary>
internal static class JobApi
{
    private const int LongestKey = 100;

    public static void MapJobs(this RouteGroupBuilder api)
    {
        var jobs = api.MapGroup("/jobs");
        jobs.MapGet("/", List).RequireAuthorization(p => p.RequireRole(Roles.All));
        jobs.MapGet("/{id}", Get).RequireAuthorization(p => p.RequireRole(Roles.All));
        jobs.MapGet("/{id}/files", Files).RequireAuthorization(p => p.RequireRole(Roles.All));
        jobs.MapGet("/{id}/files/{**name}", GetFile).RequireAuthorization(p => p.RequireRole(Roles.All));
        jobs.MapPost("/", Create).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator));
        jobs.MapPost("/{id}/cancel", Cancel).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator));
        jobs.MapPost("/{id}/retry", Retry).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator));
    }

    private static ListPart<JobView> List(JobStore jobs, string? before = null, JobState? state = null, int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = jobs.List(most, before, state);
        return new([.. items.Select(JobView.Of)], items.Count == most ? items[^1].Id : null);
    }

    private static IResult Get(string id, JobStore jobs, HttpContext context)
    {
        if (jobs.Find(id) is not { } job)
            return NotFound();
        return context.Request.Headers.IfNoneMatch.Contains(TagOf(job)) ? Tagged(context, job, Results.StatusCode(StatusCodes.Status304NotModified)) : Tagged(context, job, Results.Ok(JobView.Of(job)));
    }

    private static IResult Create(NewJob asked, JobStore jobs, ServiceStart start, SiteKey siteKey, HttpContext context, ClaimsPrincipal user, [FromHeader(Name = "Idempotency-Key")] string? key = null)
    {
        if (key is { Length: 0 or > LongestKey })
            throw new Core.Findings.PlanException("request", null, "Idempotency-Key", "too long", "1 to 100 characters");
        var request = new JobRequest(
            asked.Purpose, asked.Anatomy, asked.Side, asked.Plan, asked.RequesterCode, asked.NeededBy, siteKey.Pseudonym(IdentifierKind.Patient, asked.PatientId?.Trim()), asked.SourceId);
        request.Check(start.Plans);
        var job = jobs.Create(request, user.Identity!.Name!, key);
        return Tagged(context, job, Results.Created($"/api/v1/jobs/{job.Id}", JobView.Of(job)));
    }

    private static IResult Cancel(string id, JobStore jobs, HttpContext context, ClaimsPrincipal user) =>
        Change(id, jobs, context, () => jobs.Cancel(id, user.Identity!.Name!), "It has ended already.");

    private static IResult Retry(string id, JobStore jobs, HttpContext context, ClaimsPrincipal user) =>
        Change(id, jobs, context, () => jobs.Retry(id, user.Identity!.Name!), "Only a failed or cancelled job is tried again.");

    private static IResult Change(string id, JobStore jobs, HttpContext context, Func<JobEntry?> change, string refusal)
    {
        if (jobs.Find(id) is not { } job)
            return NotFound();
        if (context.Request.Headers.IfMatch is { Count: > 0 } match && !match.Contains(TagOf(job)))
            return Results.Problem(statusCode: StatusCodes.Status412PreconditionFailed, title: "The job has changed", detail: "Read it again, then decide.");
        return change() is { } changed
            ? Tagged(context, changed, Results.Ok(JobView.Of(changed)))
            : Results.Problem(statusCode: StatusCodes.Status409Conflict, title: "The job is not in that state", detail: refusal);
    }

    private static IResult Files(string id, JobStore jobs, DataFolder folder) =>
        jobs.Find(id) is { Published: not null } job ? Results.Ok(new ListPart<string>([.. FilesOf(job, folder).Order(StringComparer.Ordinal)], null)) : NotFound();

    private static IResult GetFile(string id, string name, JobStore jobs, DataFolder folder)
    {
        // Only a name that the listing holds is opened: whatever else a name may say, it leads nowhere.
        if (jobs.Find(id) is not { Published: not null } job || !FilesOf(job, folder).Contains(name, StringComparer.Ordinal))
            return NotFound();
        return Results.File(Path.Combine(FolderOf(job, folder), name), "application/octet-stream", Path.GetFileName(name), enableRangeProcessing: true);
    }

    private static IEnumerable<string> FilesOf(JobEntry job, DataFolder folder)
    {
        var root = FolderOf(job, folder);
        return Directory.EnumerateFiles(root, "*", SearchOption.AllDirectories).Select(f => Path.GetRelativePath(root, f).Replace(Path.DirectorySeparatorChar, '/'));
    }

    private static string FolderOf(JobEntry job, DataFolder folder) =>
        Path.Combine(folder.Job(job.Id), job.Published!.Value.ToString(CultureInfo.InvariantCulture), JobRunner.ModelFolder);

    private static string TagOf(JobEntry job) => string.Create(CultureInfo.InvariantCulture, $"\"{job.Version}\"");

    private static IResult Tagged(HttpContext context, JobEntry job, IResult result)
    {
        context.Response.Headers.ETag = TagOf(job);
        return result;
    }

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such thing here");
}
