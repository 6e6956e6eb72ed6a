using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.WebUtilities;
using Microsoft.Net.Http.Headers;

namespace AnatomyPrep.Service.Dicomweb;

/// <summary>Takes a body of multipart/related parts of application/dicom (DICOM PS3.18, section 8.6) apart: each becomes a file, unread.</summary>
internal sealed class DicomParts(DataFolder folder, ServiceSettings settings)
{
    private const int MostParts = 20_000;

    // RFC 2046 has 70; there are archives that send 73.
    private const int LongestBoundary = 200;
    private const string PartType = "application/dicom";

    /// <summary>The boundary of such a body; null where it is none.</summary>
    public static string? Boundary(string? contentType)
    {
        if (!MediaTypeHeaderValue.TryParse(contentType, out var media) || !media.MediaType.Equals("multipart/related", StringComparison.OrdinalIgnoreCase))
            return null;
        // The type is quoted; senders that leave it out mean this one (their parts say it).
        var type = media.Parameters.FirstOrDefault(p => p.Name.Equals("type", StringComparison.OrdinalIgnoreCase))?.Value;
        var boundary = HeaderUtilities.RemoveQuotes(media.Boundary).Value;
        return (type is null || HeaderUtilities.RemoveQuotes(type.Value).Equals(PartType, StringComparison.OrdinalIgnoreCase)) && boundary is { Length: > 0 and <= LongestBoundary } ? boundary : null;
    }

    /// <summary>Writes every part into a folder of its own below "receiving"; gives the folder. Nothing is left of a body that breaks off.</summary>
    /// <param name="prefix">Of the folder's name: s for what was sent here, p for what was pulled.</param>
    /// <exception cref="PlanException">Too much, or a part of another kind.</exception>
    /// <exception cref="BadInputException">Not such a body, or it breaks off.</exception>
    public async Task<string> TakeAsync(Stream body, string boundary, string prefix, CancellationToken cancellation)
    {
        var into = DataFolder.CreateOwned(Path.Combine(folder.Receiving, $"{prefix}-{Guid.NewGuid():N}"));
        try
        {
            var room = (long)settings.Storage.LargestUploadMegabytes << 20;
            var reader = new MultipartReader(boundary, body, 64 << 10) { HeadersCountLimit = 16, HeadersLengthLimit = 4 << 10 };
            var parts = 0;
            while (await OfBodyAsync(reader.ReadNextSectionAsync(cancellation), cancellation).ConfigureAwait(false) is { } part)
            {
                if (++parts > MostParts)
                    throw new PlanException("body", null, "parts", "too many", $"at most {MostParts}");
                if (part.ContentType is { } type && !type.StartsWith(PartType, StringComparison.OrdinalIgnoreCase))
                    throw new PlanException("body", null, "part", "of another type", PartType);
                room = await WriteAsync(part.Body, Path.Combine(into, string.Create(CultureInfo.InvariantCulture, $"{parts:D6}.dcm")), room, cancellation).ConfigureAwait(false);
            }

            return parts > 0 ? into : throw new BadInputException("body", "parts", "none", "Send at least one image.");
        }
        catch
        {
            Directory.Delete(into, recursive: true);
            throw;
        }
    }

    /// <summary>What the reader of the framework says of a body that is not one, or breaks off; a disk that is full says its own.</summary>
    private static async Task<T> OfBodyAsync<T>(Task<T> read, CancellationToken cancellation)
    {
        try
        {
            return await read.ConfigureAwait(false);
        }
        catch (Exception e) when (e is InvalidDataException or IOException && !cancellation.IsCancellationRequested)
        {
            throw new BadInputException("body", "multipart", "broken off, or not one", "Send it again.");
        }
    }

    private async Task<long> WriteAsync(Stream part, string path, long room, CancellationToken cancellation)
    {
        using var file = new FileStream(path, FileMode.CreateNew, FileAccess.Write);
        var block = new byte[64 << 10];
        while (await OfBodyAsync(part.ReadAsync(block, cancellation).AsTask(), cancellation).ConfigureAwait(false) is > 0 and var read)
        {
            room -= read;
            if (room < 0)
                throw new PlanException("body", null, "size", "too much", $"{settings.Storage.LargestUploadMegabytes} MB in all (storage.largestUploadMegabytes)");
            await file.WriteAsync(block.AsMemory(0, read), cancellation).ConfigureAwait(false);
        }

        return room;
    }
}
