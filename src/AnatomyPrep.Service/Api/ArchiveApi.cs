using System.Security.Claims;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Dicomweb;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>What to look for; in the body, so that no identifier stands in an address.</summary>
public sealed record ArchiveQuery(string? PatientId = null, string? AccessionNumber = null, string? StudyUid = null);

public sealed record ArchivePull(string StudyUid, string SeriesUid);

/// <param name="Arrival">Name of what came in; it becomes a source as any other does.</param>
public sealed record PulledAnswer(string Arrival);

public sealed record ArchiveName(string Name);

/// <summary>Series of the archives that the settings name.</summary>
internal static class ArchiveApi
{
    public static void MapArchives(this RouteGroupBuilder api)
    {
        var archives = api.MapGroup("/archives");
        archives.RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator));
        archives.MapGet("/", (Archives all) => new ListPart<ArchiveName>([.. all.Names.Select(n => new ArchiveName(n))], null));
        archives.MapPost("/{name}/query", FindAsync).Produces<ListPart<ArchiveSeries>>();
        archives.MapPost("/{name}/pull", PullAsync).Produces<PulledAnswer>(StatusCodes.Status202Accepted);
    }

    private static async Task<IResult> FindAsync(string name, ArchiveQuery asked, Archives all, CancellationToken cancellation) => all.Has(name)
        ? Results.Ok(new ListPart<ArchiveSeries>(await all.FindAsync(name, asked.PatientId, asked.AccessionNumber, asked.StudyUid, cancellation).ConfigureAwait(false), null))
        : NotFound();

    private static async Task<IResult> PullAsync(string name, ArchivePull asked, Archives all, DiskGuard disk, ClaimsPrincipal user, CancellationToken cancellation)
    {
        if (!all.Has(name))
            return NotFound();
        if (disk.IsFull)
            return Results.Problem(statusCode: StatusCodes.Status507InsufficientStorage, title: "The disk is full");
        return Results.Accepted((string?)null, new PulledAnswer(await all.PullAsync(name, asked.StudyUid, asked.SeriesUid, user.Identity!.Name!, cancellation).ConfigureAwait(false)));
    }

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such archive in the settings");
}
