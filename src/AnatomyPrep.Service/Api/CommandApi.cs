using System.Security.Claims;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Jobs;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Mvc;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Commands of the program that are run here for somebody elsewhere: on an upload, or on a job's result.</summary>
internal static class CommandApi
{
    private static readonly string[] s_meshes = ["stl", "ply", "obj", "off", "3mf"];

    public static void MapCommands(this RouteGroupBuilder api)
    {
        api.MapPost("/uploads/{id}/inspect", InspectAsync).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).Produces<CommandAnswer>();
        api.MapPost("/uploads/{id}/check", CheckAsync).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).Produces<CommandAnswer>();
        api.MapPost("/jobs/{id}/verify", (string id, JobStore jobs, DataFolder folder, CommandDesk desk, CancellationToken cancellation, bool json = true) => OnJobAsync("verify", id, json, jobs, folder, desk, cancellation))
            .RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<CommandAnswer>();
        api.MapPost("/jobs/{id}/replay", (string id, JobStore jobs, DataFolder folder, CommandDesk desk, CancellationToken cancellation, bool json = true) => OnJobAsync("replay", id, json, jobs, folder, desk, cancellation))
            .RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.QualityOfficer)).Produces<CommandAnswer>();
    }

    /// <summary>What is in an upload: images, or a mesh of the kind that is said.</summary>
    private static async Task<IResult> InspectAsync(string id, UploadStore uploads, CommandDesk desk, ClaimsPrincipal user, [FromQuery] string? kind, CancellationToken cancellation, [FromQuery] bool json = true) =>
        uploads.Folder(id, user.Identity!.Name!) is not { } there ? NotFound()
        : kind is null ? await RunAsync("inspect", there, json, desk, cancellation).ConfigureAwait(false)
        : await OnMeshAsync("inspect", there, kind, json, desk, cancellation).ConfigureAwait(false);

    private static async Task<IResult> CheckAsync(string id, UploadStore uploads, CommandDesk desk, ClaimsPrincipal user, [FromQuery] string kind, CancellationToken cancellation, [FromQuery] bool json = true) =>
        uploads.Folder(id, user.Identity!.Name!) is { } there ? await OnMeshAsync("check", there, kind, json, desk, cancellation).ConfigureAwait(false) : NotFound();

    /// <summary>Runs a command on the one file of an upload, under a name that says its kind.</summary>
    private static async Task<IResult> OnMeshAsync(string command, string upload, string kind, bool json, CommandDesk desk, CancellationToken cancellation)
    {
        if (!s_meshes.Contains(kind))
            throw new PlanException("command", null, "kind", "not allowed", string.Join(", ", s_meshes));
        if (Directory.GetFiles(upload) is not [var file])
            throw new BadInputException("upload", "files", "not one file", "Send one mesh.");
        var named = Path.Combine(DataFolder.CreateOwned($"{upload}.{command}"), $"mesh.{kind}");
        try
        {
            File.Copy(file, named, overwrite: true);
            return await RunAsync(command, named, json, desk, cancellation).ConfigureAwait(false);
        }
        finally
        {
            Directory.Delete(Path.GetDirectoryName(named)!, recursive: true);
        }
    }

    private static async Task<IResult> OnJobAsync(string command, string id, bool json, JobStore jobs, DataFolder folder, CommandDesk desk, CancellationToken cancellation)
    {
        if (jobs.Find(id) is not { Published: not null } job)
            return Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such finished job");
        return await RunAsync(command, Artifacts.FolderOf(job, folder), json, desk, cancellation).ConfigureAwait(false);
    }

    /// <param name="json">One JSON document instead of lines for people.</param>
    private static async Task<IResult> RunAsync(string command, string target, bool json, CommandDesk desk, CancellationToken cancellation)
    {
        var (code, output, messages) = await desk.RunAsync(cancellation, json ? [command, target, "--json"] : [command, target]).ConfigureAwait(false);
        return Results.Ok(new CommandAnswer(code, output, messages));
    }

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such upload of yours");
}
