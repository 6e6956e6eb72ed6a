using System.IO.Compression;
using System.Security.Claims;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Viewing;

/// <summary>What the page needs to show images: the map of a volume, slices of it, and the plans there are.</summary>
internal static class ViewingApi
{
    private const int SecondsToAskAgain = 1;

    private static readonly Dictionary<string, SliceAxis> s_axes = new(StringComparer.Ordinal) { ["column"] = SliceAxis.Column, ["row"] = SliceAxis.Row, ["slice"] = SliceAxis.Slice };

    public static void MapViewing(this RouteGroupBuilder api)
    {
        api.MapGet("/sources/{id}/volume", GetVolume).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/sources/{id}/volume/samples", GetSamples).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/sources/{id}/volume/{axis}/{index:int}", GetSliceAsync).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapPost("/jobs/{id}/again", Again).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator));
        api.MapGet("/jobs/{id}/values/{what}", GetValues).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/viewing/plans/schema", async (PlanTexts plans) => Json(await plans.SchemaAsync().ConfigureAwait(false))).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/viewing/plans/{name}", GetPlanAsync).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/jobs/{id}/plan", GetJobPlanAsync).RequireAuthorization(p => p.RequireRole(Roles.All));
    }

    /// <summary>The header of an unpacked volume; 202 while a child unpacks it.</summary>
    private static IResult GetVolume(string id, SourceStore sources, VolumeCache volumes, HttpContext context)
    {
        if (sources.Find(id) is null)
            return NotFound();
        var (volume, reason) = volumes.Open(id);
        if (volume is not null)
            return Results.Bytes(volume.Header, "application/json");
        if (reason is not null)
            return Results.Problem(statusCode: StatusCodes.Status422UnprocessableEntity, title: "The images cannot be shown", detail: reason);
        context.Response.Headers.RetryAfter = $"{SecondsToAskAgain}";
        return Results.Accepted();
    }

    /// <summary>All samples, int16 little-endian, columns first; takes ranges.</summary>
    private static IResult GetSamples(string id, SourceStore sources, VolumeCache volumes) =>
        sources.Find(id) is not null && volumes.Open(id).Volume is { } volume ? Results.File(volume.SamplesPath, "application/octet-stream", enableRangeProcessing: true) : NotFound();

    /// <summary>One slice as int16, little-endian; gzip where the browser takes it, at the level that costs least.</summary>
    private static async Task GetSliceAsync(string id, string axis, int index, SourceStore sources, VolumeCache volumes, HttpContext context)
    {
        if (!s_axes.TryGetValue(axis, out var direction) || sources.Find(id) is null || volumes.Open(id).Volume is not { } volume || index < 0 || index >= volume.Count(direction))
        {
            await NotFound().ExecuteAsync(context).ConfigureAwait(false);
            return;
        }

        var bytes = volume.Slice(direction, index);
        var answer = context.Response;
        answer.ContentType = "application/octet-stream";
        if (!context.Request.Headers.AcceptEncoding.ToString().Contains("gzip", StringComparison.Ordinal))
        {
            answer.ContentLength = bytes.Length;
            await answer.Body.WriteAsync(bytes, context.RequestAborted).ConfigureAwait(false);
            return;
        }

        answer.Headers.ContentEncoding = "gzip";
        var packed = new GZipStream(answer.Body, CompressionLevel.Fastest, leaveOpen: true);
        await using (packed.ConfigureAwait(false))
            await packed.WriteAsync(bytes, context.RequestAborted).ConfigureAwait(false);
    }

    /// <summary>One float32 for every vertex of model.glb, or the open rims as JSON; 202 while a child measures.</summary>
    private static IResult GetValues(string id, string what, JobStore jobs, VertexValues values, HttpContext context, string? other = null)
    {
        if (!VertexValues.Kinds.TryGetValue(what, out var needs) || jobs.Find(id) is not { Published: not null } job)
            return NotFound();
        var beside = needs.Other && other is not null ? jobs.Find(other) : null;
        if ((needs.Other && beside is not { Published: not null }) || (needs.Images && job.Request.SourceId is null))
            return NotFound();
        var (file, reason) = values.Open(job, what, beside);
        if (file is not null)
            return Results.File(file, what == "holes" ? "application/json" : "application/octet-stream");
        if (reason is not null)
            return Results.Problem(statusCode: StatusCodes.Status422UnprocessableEntity, title: "This cannot be measured", detail: reason);
        context.Response.Headers.RetryAfter = $"{SecondsToAskAgain}";
        return Results.Accepted();
    }

    /// <summary>A new job like another, by a plan that was changed; the other stays as it is.</summary>
    private static IResult Again(string id, ChangedPlan asked, JobStore jobs, EditedPlans plans, ClaimsPrincipal user)
    {
        if (jobs.Find(id) is not { } job)
            return NotFound();
        var made = jobs.Create(job.Request with { Plan = plans.Keep(asked.Plan) }, user.Identity!.Name!, null);
        return Results.Created($"/api/v1/jobs/{made.Id}", new MadeAgain(made.Id));
    }

    private static async Task<IResult> GetPlanAsync(string name, PlanTexts plans, ServiceStart start) => start.Plans.Any(p => p.Name == name) ? Json(await plans.PlanAsync(name).ConfigureAwait(false)) : NotFound();

    /// <summary>The plan a job is made by, whole; what the request adds (scale, process profile) is the job's and not in it.</summary>
    private static async Task<IResult> GetJobPlanAsync(string id, JobStore jobs, PlanTexts plans) =>
        jobs.Find(id) is { } job ? Json(await plans.PlanAsync(job.Request.Plan).ConfigureAwait(false)) : NotFound();

    private static IResult Json(byte[] document) => Results.Bytes(document, "application/json");

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such thing here");
}

/// <param name="Plan">Text of the plan, YAML or JSON.</param>
public sealed record ChangedPlan(string Plan);

/// <param name="Id">The new job.</param>
public sealed record MadeAgain(string Id);
