using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;

namespace AnatomyPrep.Records.Canonical;

/// <summary>Where two JSON values differ first, in canonical order.</summary>
/// <param name="Where">JSON Pointer (RFC 6901).</param>
internal sealed record JsonDifference(string Where, string Expected, string Found)
{
    private const int LongestExcerpt = 80;

    /// <summary>Null when the values are the same.</summary>
    internal static JsonDifference? First(JsonNode? expected, JsonNode? found, string where = "")
    {
        if (expected is JsonObject a && found is JsonObject b)
            return FirstInObject(a, b, where);
        if (expected is JsonArray c && found is JsonArray d && c.Count == d.Count)
            return Enumerable.Range(0, c.Count)
                .Select(i => First(c[i], d[i], $"{where}/{i.ToString(CultureInfo.InvariantCulture)}"))
                .FirstOrDefault(difference => difference is not null);
        var (before, after) = (CanonicalJson.Write(expected), CanonicalJson.Write(found));
        return before.AsSpan().SequenceEqual(after) ? null : new JsonDifference(where, Excerpt(before), Excerpt(after));
    }

    private static JsonDifference? FirstInObject(JsonObject expected, JsonObject found, string where)
    {
        foreach (var name in expected.Concat(found).Select(f => f.Key).Distinct().Order(StringComparer.Ordinal))
        {
            var at = $"{where}/{name.Replace("~", "~0", StringComparison.Ordinal).Replace("/", "~1", StringComparison.Ordinal)}";
            if (!found.ContainsKey(name))
                return new JsonDifference(at, Excerpt(CanonicalJson.Write(expected[name])), "nothing");
            if (!expected.ContainsKey(name))
                return new JsonDifference(at, "nothing", Excerpt(CanonicalJson.Write(found[name])));
            if (First(expected[name], found[name], at) is { } difference)
                return difference;
        }

        return null;
    }

    private static string Excerpt(byte[] json)
    {
        var text = Encoding.UTF8.GetString(json);
        return text.Length <= LongestExcerpt ? text : text[..LongestExcerpt] + "…";
    }
}
