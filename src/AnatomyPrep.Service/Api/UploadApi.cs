using System.Security.Claims;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.AspNetCore.Mvc;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>Uploads: begin, send pieces, ask what is there, complete.</summary>
internal static class UploadApi
{
    private const long LargestPieceBytes = 64L << 20;

    public static void MapUploads(this RouteGroupBuilder api)
    {
        var uploads = api.MapGroup("/uploads");
        uploads.RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator));
        uploads.MapPost("/", Begin);
        uploads.MapGet("/{id}", Get);
        uploads.MapPut("/{id}/files/{number:int}", PutAsync);
        uploads.MapPost("/{id}/complete", (string id, UploadStore uploads, ClaimsPrincipal user) => Decided(uploads.Complete(id, user.Identity!.Name!)));
        uploads.MapGet("/{id}/outcome", (string id, UploadStore uploads, ClaimsPrincipal user) => uploads.Outcome(id, user.Identity!.Name!) is { } outcome
            ? Results.Ok(new UploadOutcome(outcome.Sorted, outcome.Series, outcome.Sources, outcome.Refused))
            : NotFound()).Produces<UploadOutcome>();
        uploads.MapDelete("/{id}", (string id, UploadStore uploads, ClaimsPrincipal user) => Decided(uploads.Abandon(id, user.Identity!.Name!)));
    }

    private static IResult Begin(UploadStore uploads, DiskGuard disk, ClaimsPrincipal user)
    {
        if (disk.IsFull)
            return Results.Problem(statusCode: StatusCodes.Status507InsufficientStorage, title: "The disk is full", detail: "Less than storage.leastFreeMegabytes is free. Try again when there is room.");
        var id = uploads.Begin(user.Identity!.Name!);
        return Results.Created($"/api/v1/uploads/{id}", new UploadAnswer(id, []));
    }

    private static IResult Get(string id, UploadStore uploads, ClaimsPrincipal user) =>
        uploads.Files(id, user.Identity!.Name!) is { } files ? Results.Ok(new UploadAnswer(id, files)) : NotFound();

    private static async Task<IResult> PutAsync(string id, int number, UploadStore uploads, ClaimsPrincipal user, HttpContext context, [FromHeader(Name = "Upload-Offset")] long offset = 0)
    {
        context.Features.Get<IHttpMaxRequestBodySizeFeature>()!.MaxRequestBodySize = LargestPieceBytes;
        var length = await uploads.AddAsync(id, user.Identity!.Name!, number, offset, context.Request.Body, context.RequestAborted).ConfigureAwait(false);
        return length is { } bytes ? Results.Ok(new UploadedFile(number, bytes)) : NotFound();
    }

    private static IResult Decided(bool done) => done ? Results.NoContent() : NotFound();

    private static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such upload of yours");
}
