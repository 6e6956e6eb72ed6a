using System.Collections.Frozen;
using System.IO.Compression;
using System.Reflection;
using System.Security.Cryptography;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>The page: one document for every address of it, and the files that npm built, all embedded in this assembly.</summary>
/// <remarks>Compressed once, at the start of the first request that wants it so. Names of built files hold their hash, so they may be kept for ever; the document may not.</remarks>
internal sealed class Pages
{
    private const string Prefix = "web/";
    private const string Document = "index.html";

    private static readonly FrozenDictionary<string, string> s_types = new Dictionary<string, string>
    {
        [".html"] = "text/html; charset=utf-8",
        [".js"] = "text/javascript; charset=utf-8",
        [".css"] = "text/css; charset=utf-8",
        [".svg"] = "image/svg+xml",
    }.ToFrozenDictionary();

    private readonly FrozenDictionary<string, Lazy<PageFile>> _files = Assembly.GetExecutingAssembly().GetManifestResourceNames()
        .Where(n => n.StartsWith(Prefix, StringComparison.Ordinal))
        .ToFrozenDictionary(n => n[Prefix.Length..].Replace('\\', '/'), n => new Lazy<PageFile>(() => Read(n)), StringComparer.Ordinal);

    public static void Map(IEndpointRouteBuilder app)
    {
        // The addresses of the page's places, so that each can be kept, sent and opened.
        foreach (var place in new[] { "/", "/invitation", "/bench/{**rest}", "/board/{**rest}", "/proof/{**rest}", "/people/{**rest}" })
            app.MapGet(place, (Pages pages, HttpContext context) => pages.Get(Document, context)).AllowAnonymous().ExcludeFromDescription();
        app.MapGet("/web/{**name}", (string name, Pages pages, HttpContext context) => pages.Get($"web/{name}", context)).AllowAnonymous().ExcludeFromDescription();
    }

    private IResult Get(string name, HttpContext context)
    {
        if (!_files.TryGetValue(name, out var found))
            return Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such thing here");
        var file = found.Value;
        var headers = context.Response.Headers;
        headers.CacheControl = name == Document ? "no-cache" : "public, max-age=31536000, immutable";
        headers.ETag = file.Tag;
        headers.Vary = "Accept-Encoding";
        if (context.Request.Headers.IfNoneMatch.Contains(file.Tag))
            return Results.StatusCode(StatusCodes.Status304NotModified);
        if (!context.Request.Headers.AcceptEncoding.ToString().Contains("br", StringComparison.Ordinal))
            return Results.Bytes(file.Plain, file.Type);
        headers.ContentEncoding = "br";
        return Results.Bytes(file.Packed.Value, file.Type);
    }

    private static PageFile Read(string resource)
    {
        using var stream = Assembly.GetExecutingAssembly().GetManifestResourceStream(resource)!;
        var plain = new byte[stream.Length];
        stream.ReadExactly(plain);
        return new(plain, s_types.GetValueOrDefault(Path.GetExtension(resource), "application/octet-stream"), $"\"{Convert.ToHexStringLower(SHA256.HashData(plain))[..16]}\"", new(() => Pack(plain)));
    }

    private static byte[] Pack(byte[] plain)
    {
        using var memory = new MemoryStream();
        using (var packed = new BrotliStream(memory, CompressionLevel.Optimal))
            packed.Write(plain);
        return memory.ToArray();
    }

    private sealed record PageFile(byte[] Plain, string Type, string Tag, Lazy<byte[]> Packed);
}
