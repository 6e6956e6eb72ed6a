using System.Buffers;
using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;

namespace AnatomyPrep.Records.Statements;

/// <summary>One file the statement is about.</summary>
/// <param name="Name">Path below the folder of the record, with '/'. Carries no trust: the hash does.</param>
/// <param name="Sha256">Lower-case hex.</param>
public sealed record Subject(string Name, string Sha256, long Bytes);

/// <summary>What is signed: these files came out of this run.</summary>
/// <remarks>
/// Method: in-toto Statement v1. The subjects are the files of the run in ordinal order of their names; the predicate is
///   <see cref="RunFacts"/>. docs/formats/record.md describes every field.
/// </remarks>
public sealed record RunStatement(IReadOnlyList<Subject> Subjects, RunFacts Run)
{
    public const string StatementType = "https://in-toto.io/Statement/v1";

    /// <summary>Names the meaning of the predicate; no host answers there and none is needed (RFC 2606, .invalid).</summary>
    public const string PredicateType = "https://anatomyprep.invalid/run/v1";

    private const int Sha256HexDigits = 64;

    private static readonly SearchValues<char> s_lowerHex = SearchValues.Create("0123456789abcdef");

    /// <summary>Canonical JSON of the statement.</summary>
    public byte[] ToBytes() => CanonicalJson.Write(new JsonObject
    {
        ["_type"] = StatementType,
        ["subject"] = new JsonArray([.. Subjects.OrderBy(s => s.Name, StringComparer.Ordinal).Select(ToJson)]),
        ["predicateType"] = PredicateType,
        ["predicate"] = RecordJson.ToNode(Run),
    });

    /// <summary>Reads a statement. Pass bytes whose signature holds; fields it does not know are passed over.</summary>
    /// <exception cref="CheckFailedException">It is not a statement about a run.</exception>
    public static RunStatement Parse(ReadOnlySpan<byte> utf8)
    {
        try
        {
            var root = CanonicalJson.Parse(utf8) as JsonObject;
            Require("_type", StatementType, Text(root, "_type"));
            Require("predicateType", PredicateType, Text(root, "predicateType"));
            // Null stands nowhere in a statement: a missing thing is left out.
            RequireNoNull(root, "statement");
            var run = root?["predicate"].Deserialize<RunFacts>(RecordJson.Options);
            var statement = new RunStatement(
                [.. (root?["subject"] as JsonArray ?? []).Select(ReadSubject)],
                run ?? throw new CheckFailedException("statement field predicate", "an object", "nothing"));
            statement.RequireHashes();
            return statement;
        }
        catch (StrictJsonException e)
        {
            throw new CheckFailedException("statement", "strict JSON", e.Message);
        }
        catch (JsonException e)
        {
            throw new CheckFailedException($"statement field predicate{e.Path?.TrimStart('$')}", "the form of run/v1", "something else");
        }
    }

    internal static bool IsSha256(string text) => text.Length == Sha256HexDigits && text.AsSpan().IndexOfAnyExcept(s_lowerHex) < 0;

    /// <summary>Names that stay below the folder on every system.</summary>
    internal static bool IsSafeName(string name) =>
        name.Length > 0
        && !name.Any(c => char.IsControl(c) || c is '\\' or ':')
        && name.Split('/').All(part => part is not ("" or "." or ".."));

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

    private void RequireHashes()
    {
        if (Subjects.Count == 0)
            throw new CheckFailedException("statement field subject", "at least one file", "none");
        if (Subjects.DistinctBy(s => s.Name).Count() != Subjects.Count)
            throw new CheckFailedException("statement field subject", "every name once", "a name twice");
        foreach (var subject in Subjects)
        {
            if (!IsSafeName(subject.Name))
                throw new CheckFailedException("statement field subject.name", "a path below the folder", subject.Name);
            RequireHash("subject.digest.sha256", subject.Sha256);
        }

        foreach (var file in Run.Source.Files)
            RequireHash("predicate.source.files.sha256", file.Sha256);
    }

    private static void RequireHash(string field, string found)
    {
        if (!IsSha256(found))
            throw new CheckFailedException($"statement field {field}", $"{Sha256HexDigits} lower-case hex digits", found);
    }
}
