using System.Buffers;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;

namespace AnatomyPrep.Records.Statements;

/// <summary>What every in-toto Statement v1 of this program has around its predicate.</summary>
internal static class StatementJson
{
    public const string StatementType = "https://in-toto.io/Statement/v1";

    private const int Sha256HexDigits = 64;

    private static readonly SearchValues<char> s_lowerHex = SearchValues.Create("0123456789abcdef");

    /// <summary>Canonical JSON; subjects in ordinal order of their names.</summary>
    public static byte[] Write(string predicateType, IReadOnlyList<Subject> subjects, JsonObject predicate) => CanonicalJson.Write(new JsonObject
    {
        ["_type"] = StatementType,
        ["subject"] = new JsonArray([.. subjects.OrderBy(s => s.Name, StringComparer.Ordinal).Select(ToJson)]),
        ["predicateType"] = predicateType,
        ["predicate"] = predicate,
    });

    /// <summary>The whole statement, of the kinds asked for and without null.</summary>
    /// <exception cref="CheckFailedException">It is of another kind, or holds null.</exception>
    /// <exception cref="StrictJsonException">It is not strict JSON.</exception>
    public static JsonObject Read(ReadOnlySpan<byte> utf8, string predicateType)
    {
        var root = CanonicalJson.Parse(utf8) as JsonObject;
        Require("_type", StatementType, Text(root, "_type"));
        Require("predicateType", predicateType, Text(root, "predicateType"));
        // Null stands nowhere in a statement: a missing thing is left out.
        RequireNoNull(root, "statement");
        return root!;
    }

    /// <summary>The predicate as the signed bytes hold it, with what this version does not know.</summary>
    /// <param name="utf8">Of a statement that was read.</param>
    public static JsonObject Predicate(ReadOnlySpan<byte> utf8) => CanonicalJson.Parse(utf8)!["predicate"]!.AsObject();

    /// <exception cref="CheckFailedException">None, one twice, a name that leaves the folder, or no hash.</exception>
    public static IReadOnlyList<Subject> Subjects(JsonObject root)
    {
        Subject[] subjects = [.. (root["subject"] as JsonArray ?? []).Select(ReadSubject)];
        if (subjects.Length == 0)
            throw new CheckFailedException("statement field subject", "at least one file", "none");
        if (subjects.DistinctBy(s => s.Name).Count() != subjects.Length)
            throw new CheckFailedException("statement field subject", "every name once", "a name twice");
        foreach (var subject in subjects)
        {
            if (!IsSafeName(subject.Name))
                throw new CheckFailedException("statement field subject.name", "a path below the folder", subject.Name);
            RequireHash("subject.digest.sha256", subject.Sha256);
        }

        return subjects;
    }

    public static bool IsSha256(string text) => text.Length == Sha256HexDigits && text.AsSpan().IndexOfAnyExcept(s_lowerHex) < 0;

    /// <summary>Names that stay below the folder on every system.</summary>
    public static bool IsSafeName(string name) =>
        name.Length > 0
        && !name.Any(c => char.IsControl(c) || c is '\\' or ':')
        && name.Split('/').All(part => part is not ("" or "." or ".."));

    /// <exception cref="CheckFailedException">Not a hash.</exception>
    public static void RequireHash(string field, string found)
    {
        if (!IsSha256(found))
            throw new CheckFailedException($"statement field {field}", $"{Sha256HexDigits} lower-case hex digits", found);
    }

    private static JsonObject ToJson(Subject subject) => new()
    {
        ["name"] = subject.Name,
        ["digest"] = new JsonObject { ["sha256"] = subject.Sha256 },
        ["annotations"] = new JsonObject { ["bytes"] = subject.Bytes },
    };

    private static Subject ReadSubject(JsonNode? node)
    {
        var fields = node as JsonObject;
        var bytes = (fields?["annotations"] as JsonObject)?["bytes"] is JsonValue value && value.TryGetValue<double>(out var number)
            ? number
            : -1;
        if (bytes < 0 || bytes != Math.Floor(bytes) || bytes > 1L << 53)
            throw new CheckFailedException("statement field subject.annotations.bytes", "a whole number of bytes", "something else");
        return new Subject(Text(fields, "name"), Text(fields?["digest"] as JsonObject, "sha256"), (long)bytes);
    }

    private static string Text(JsonObject? fields, string name) =>
        fields?[name] is JsonValue value && value.TryGetValue<string>(out var text)
            ? text
            : throw new CheckFailedException($"statement field {name}", "a text", "something else");

    private static void Require(string field, string expected, string found)
    {
        if (expected != found)
            throw new CheckFailedException($"statement field {field}", expected, found);
    }

    private static void RequireNoNull(JsonNode? node, string where)
    {
        switch (node)
        {
            case null:
                throw new CheckFailedException(where, "no null", "null");
            case JsonObject fields:
                foreach (var (name, value) in fields)
                    RequireNoNull(value, $"{where}.{name}");
                break;
            case JsonArray items:
                for (var i = 0; i < items.Count; i++)
                    RequireNoNull(items[i], $"{where}[{i}]");
                break;
        }
    }
}
