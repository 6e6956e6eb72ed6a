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
    public static void MapJobs(this RouteGroupBuilder api)
    {
        var jobs = api.MapGroup("/jobs");
        jobs.MapGet("/", List).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<ListPart<JobView>>();
        jobs.MapGet("/{id}", Get).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<JobView>();
        jobs.MapGet("/{id}/files", Files).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<ListPart<Artifact>>();
        jobs.MapGet("/{id}/files/{**name}", GetFile).RequireAuthorization(p => p.RequireRole(Roles.All));
        jobs.MapPost("/", Create).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).Produces<JobView>(StatusCodes.Status201Created);
        jobs.MapPost("/{id}/cancel", Cancel).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).Produces<JobView>();
        jobs.MapPost("/{id}/retry", Retry).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).Produces<JobView>();
    }

    private static IResult List(JobStore jobs, DataFolder folder, HttpContext context, string? before = null, string? state = null, int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = jobs.List(most, before, Listing.State<JobState>(state));
        return Tags.List(context, items.Select(j => $"{j.Id} {VersionOf(j)}"), () => new ListPart<JobView>([.. items.Select(j => JobView.Of(j, folder))], items.Count == most ? items[^1].Id : null));
    }

    private static IResult Get(string id, JobStore jobs, DataFolder folder, HttpContext context) =>
        jobs.Find(id) is { } job ? Tags.One(context, VersionOf(job), () => JobView.Of(job, folder)) : NotFound();

    private static IResult Create(NewJob asked, JobStore jobs, ServiceStart start, DataFolder folder, SiteKey siteKey, HttpContext context, ClaimsPrincipal user, [FromHeader(Name = IdempotencyKey.Header)] string? key = null)
    {
        var once = IdempotencyKey.Checked(key);
        var request = new JobRequest(
            asked.Purpose, asked.Anatomy, asked.Side, asked.Plan, asked.RequesterCode, asked.NeededBy, siteKey.Pseudonym(IdentifierKind.Patient, asked.PatientId?.Trim()), asked.SourceId, asked.Profile, asked.Scale);
        request.Check(start);
        var job = jobs.Create(request, user.Identity!.Name!, once);
        Tags.Set(context, VersionOf(job));
        return Results.Created($"/api/v1/jobs/{job.Id}", JobView.Of(job, folder));
    }

    private static IResult Cancel(string id, JobStore jobs, DataFolder folder, HttpContext context, ClaimsPrincipal user) =>
        Change(id, jobs, folder, context, () => jobs.Cancel(id, user.Identity!.Name!), "It has ended already.");

    private static IResult Retry(string id, JobStore jobs, DataFolder folder, HttpContext context, ClaimsPrincipal user) =>
        Change(id, jobs, folder, context, () => jobs.Retry(id, user.Identity!.Name!), "Only a failed or cancelled job is tried again.");

    private static IResult Change(string id, JobStore jobs, DataFolder folder, HttpContext context, Func<JobEntry?> change, string refusal) =>
        jobs.Find(id) is { } job ? Tags.Change(context, "job", job, VersionOf, change, j => JobView.Of(j, folder), refusal) : NotFound();

    private static IResult Files(string id, JobStore jobs, DataFolder folder) =>
        jobs.Find(id) is { Published: not null } job ? Results.Ok(new ListPart<Artifact>(Artifacts.Of(job, folder), null)) : NotFound();

    private static IResult GetFile(string id, string name, JobStore jobs, DataFolder folder)
    {
        // Only a name that the listing holds is opened: whatever else a name may say, it leads nowhere.
        if (jobs.Find(id) is not { Published: not null } job || Artifacts.Of(job, folder).FirstOrDefault(a => a.Name == name) is not { } artifact)
            return NotFound();
        return Results.File(Path.Combine(Artifacts.FolderOf(job, folder), name), artifact.ContentType, Path.GetFileName(name), enableRangeProcessing: true);
    }

    private static string VersionOf(JobEntry job) => job.Version.ToString(CultureInfo.InvariantCulture);

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such thing here");
}
