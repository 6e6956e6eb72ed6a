using System.Security.Claims;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Dicomweb;

/// <summary>STOW-RS (DICOM PS3.18, section 10.5): images come in as from the receiver.</summary>
/// <remarks>
/// Headers are read in the reader child before the answer, so that the sender is told of every image; then the whole is an arrival like any
/// other and is looked at again. An image that is known already counts as stored.
/// </remarks>
internal static class StowApi
{
    private const string AnswerType = "application/dicom+json";
    private const int BatchFiles = 200;

    // Failure reasons of PS3.18, table I.2-2 (from memory): 0110 hex processing failure, 0122 hex SOP class not supported.
    private const int ProcessingFailure = 0x0110;
    private const int ClassNotSupported = 0x0122;

    public static void MapStow(this IEndpointRouteBuilder app)
    {
        var web = app.MapGroup("/dicom-web");
        web.MapPost("/studies", (HttpContext context, DicomParts parts, ArrivalReader reader, DataFolder folder, ServiceSettings settings, DiskGuard disk, IEventSink events, ClaimsPrincipal user) =>
            StoreAsync(context, null, parts, reader, folder, settings, disk, events, user)).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).ExcludeFromDescription();
        web.MapPost("/studies/{study}", (string study, HttpContext context, DicomParts parts, ArrivalReader reader, DataFolder folder, ServiceSettings settings, DiskGuard disk, IEventSink events, ClaimsPrincipal user) =>
            StoreAsync(context, study, parts, reader, folder, settings, disk, events, user)).RequireAuthorization(p => p.RequireRole(Roles.Technician, Roles.Coordinator)).ExcludeFromDescription();
    }

    private static async Task<IResult> StoreAsync(
        HttpContext context, string? study, DicomParts parts, ArrivalReader reader, DataFolder folder, ServiceSettings settings, DiskGuard disk, IEventSink events, ClaimsPrincipal user)
    {
        if (DicomParts.Boundary(context.Request.ContentType) is not { } boundary)
            return Results.Problem(statusCode: StatusCodes.Status415UnsupportedMediaType, title: "Only multipart/related of type application/dicom is taken here");
        if (disk.IsFull)
            return Results.Problem(statusCode: StatusCodes.Status507InsufficientStorage, title: "The disk is full");
        context.Features.Get<IHttpMaxRequestBodySizeFeature>()!.MaxRequestBodySize = ((long)settings.Storage.LargestUploadMegabytes << 20) + (64L << 20);
        var there = await parts.TakeAsync(context.Request.Body, boundary, "s", context.RequestAborted).ConfigureAwait(false);
        var name = Path.GetFileName(there);
        List<ArrivedFile> files;
        try
        {
            files = await Task.Run(() => Headers(reader, there, context.RequestAborted), context.RequestAborted).ConfigureAwait(false);
            // Of another study than the address says: not taken (PS3.18, 10.5.1).
            foreach (var other in files.Where(f => IsOther(f, study)))
                File.Delete(other.Path);
            events.Append(new("arrival.stored", name, user.Identity!.Name, Detail: $"{files.Count} files by STOW-RS"));
            Directory.Move(there, Path.Combine(folder.Arrived, name));
        }
        catch
        {
            Directory.Delete(there, recursive: true);
            throw;
        }

        return Answer(files, study);
    }

    private static List<ArrivedFile> Headers(ArrivalReader reader, string there, CancellationToken cancellation) =>
        [.. Directory.GetFiles(there).Order(StringComparer.Ordinal).Chunk(BatchFiles).SelectMany(batch => reader.Read(batch, new RunContext(cancellation: cancellation)))];

    private static bool IsOther(ArrivedFile file, string? study) => study is not null && file.Refusal is null && file.StudyUid != study;

    /// <summary>200 all stored, 202 some, 409 none (PS3.18, table 10.5.3-1).</summary>
    private static IResult Answer(List<ArrivedFile> files, string? study)
    {
        var stored = files.Where(f => f.Refusal is null && !IsOther(f, study)).ToArray();
        var failed = files.Except(stored).ToArray();
        var answer = new Dictionary<string, object>();
        if (failed.Length > 0)
            answer["00081198"] = Sequence(failed.Select(f => Item(f, ("00081197", "US", f.Refusal?.Code == FindingCodes.FileNotCt ? ClassNotSupported : ProcessingFailure))));
        if (stored.Length > 0)
            answer["00081199"] = Sequence(stored.Select(f => Item(f)));
        return Results.Json(answer, contentType: AnswerType, statusCode: failed.Length == 0 ? StatusCodes.Status200OK : stored.Length > 0 ? StatusCodes.Status202Accepted : StatusCodes.Status409Conflict);
    }

    private static Dictionary<string, object> Sequence(IEnumerable<Dictionary<string, object>> items) => new() { ["vr"] = "SQ", ["Value"] = items.ToArray() };

    private static Dictionary<string, object> Item(ArrivedFile file, params ReadOnlySpan<(string Tag, string Vr, object Value)> more)
    {
        var item = new Dictionary<string, object>();
        // Of a file that cannot be read nobody knows them.
        if (file.SopClass is { } sopClass)
            item["00081150"] = Element("UI", sopClass);
        if (file.InstanceUid is { } instance)
            item["00081155"] = Element("UI", instance);
        foreach (var (tag, vr, value) in more)
            item[tag] = Element(vr, value);
        return item;
    }

    private static Dictionary<string, object> Element(string vr, object value) => new() { ["vr"] = vr, ["Value"] = new[] { value } };
}
