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
        api.MapPost("/jobs/{id}/verify", (string id, JobStore jobs, DataFolder folder, CommandDesk desk, CancellationToken cancellation) => OnJobAsync("verify", id, jobs, folder, desk, cancellation))
            .RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<CommandAnswer>();
        api.MapPost("/jobs/{id}/replay", (string id, JobStore jobs, DataFolder folder, CommandDesk desk, CancellationToken cancellation) => OnJobAsync("replay", id, jobs, folder, desk, cancellation))
            .RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.QualityOfficer)).Produces<CommandAnswer>();
    }

    /// <summary>What is in an upload: images, or a mesh of the kind that is said.</summary>
    private static async Task<IResult> InspectAsync(string id, UploadStore uploads, CommandDesk desk, ClaimsPrincipal user, [FromQuery] string? kind, CancellationToken cancellation) =>
        uploads.Folder(id, user.Identity!.Name!) is not { } there ? NotFound()
        : kind is null ? Answer(await desk.RunAsync(cancellation, "inspect", there, "--json").ConfigureAwait(false))
        : await OnMeshAsync("inspect", there, kind, desk, cancellation).ConfigureAwait(false);

    private static async Task<IResult> CheckAsync(string id, UploadStore uploads, CommandDesk desk, ClaimsPrincipal user, [FromQuery] string kind, CancellationToken cancellation) =>
        uploads.Folder(id, user.Identity!.Name!) is { } there ? await OnMeshAsync("check", there, kind, desk, cancellation).ConfigureAwait(false) : NotFound();

    /// <summary>Runs a command on the one file of an upload, under a name that says its kind.</summary>
    private static async Task<IResult> OnMeshAsync(string command, string upload, string kind, CommandDesk desk, CancellationToken cancellation)
    {
        if (!s_meshes.Contains(kind))
            throw new PlanException("command", null, "kind", "not allowed", string.Join(", ", s_meshes));
        if (Directory.GetFiles(upload) is not [var file])
            throw new BadInputException("upload", "files", "not one file", "Send one mesh.");
        var named = Path.Combine(DataFolder.CreateOwned($"{upload}.{command}"), $"mesh.{kind}");
        try
        {
            File.Copy(file, named, overwrite: true);
            return Answer(await desk.RunAsync(cancellation, command, named, "--json").ConfigureAwait(false));
        }
        finally
        {
            Directory.Delete(Path.GetDirectoryName(named)!, recursive: true);
        }
    }

    private static async Task<IResult> OnJobAsync(string command, string id, JobStore jobs, DataFolder folder, CommandDesk desk, CancellationToken cancellation)
    {
        if (jobs.Find(id) is not { Published: not null } job)
            return Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such finished job");
        return Answer(await desk.RunAsync(cancellation, [command, Artifacts.FolderOf(job, folder), "--json"]).ConfigureAwait(false));
    }

    private static IResult Answer((int ExitCode, string Output, string Messages) said) => Results.Ok(new CommandAnswer(said.ExitCode, said.Output, said.Messages));

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such upload of yours");
}
