using System.Security.Cryptography;
using System.Text;
using Microsoft.AspNetCore.Http;

namespace AnatomyPrep.Service.Api;

/// <summary>Entity tags (RFC 9110, section 8.8.3): who reads the same again is told so, who changes something says what of.</summary>
internal static class Tags
{
    private const int MarkLength = 32;

    public static void Set(HttpContext context, string version) => context.Response.Headers.ETag = Quoted(version);

    /// <summary>A thing with its tag, or 304 to who has it.</summary>
    public static IResult One<T>(HttpContext context, string version, Func<T> view)
    {
        Set(context, version);
        return context.Request.Headers.IfNoneMatch.Contains(Quoted(version)) ? Results.StatusCode(StatusCodes.Status304NotModified) : Results.Ok(view());
    }

    /// <summary>A list with a tag made of what stands in it.</summary>
    public static IResult List<T>(HttpContext context, IEnumerable<string> versions, Func<T> view) =>
        One(context, Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(string.Join('\n', versions))))[..MarkLength], view);

    /// <summary>Changes a thing that is there: 412 where the request names another version of it, 409 where it is not in a state for that.</summary>
    /// <param name="what">job, request.</param>
    /// <param name="change">Null where the state does not allow it.</param>
    public static IResult Change<T>(HttpContext context, string what, T there, Func<T, string> version, Func<T?> change, Func<T, object> view, string refusal)
        where T : class
    {
        if (!Matches(context, version(there)))
            return Results.Problem(statusCode: StatusCodes.Status412PreconditionFailed, title: $"The {what} has changed", detail: "Read it again, then decide.");
        if (change() is not { } changed)
            return Results.Problem(statusCode: StatusCodes.Status409Conflict, title: $"The {what} is not in that state", detail: refusal);
        Set(context, version(changed));
        return Results.Ok(view(changed));
    }

    private static bool Matches(HttpContext context, string version) =>
        context.Request.Headers.IfMatch is not { Count: > 0 } match || match.Contains(Quoted(version)) || match.Contains("*");

    private static string Quoted(string version) => $"\"{version}\"";
}
