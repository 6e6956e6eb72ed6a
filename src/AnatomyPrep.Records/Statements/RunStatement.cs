using System.Text.Json;
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
    public const string StatementType = StatementJson.StatementType;

    /// <summary>Names the meaning of the predicate; no host answers there and none is needed (RFC 2606, .invalid).</summary>
    public const string PredicateType = "https://anatomyprep.invalid/run/v1";

    /// <summary>Canonical JSON of the statement.</summary>
    public byte[] ToBytes() => StatementJson.Write(PredicateType, Subjects, RecordJson.ToNode(Run));

    /// <summary>Reads a statement. Pass bytes whose signature holds; fields it does not know are passed over.</summary>
    /// <exception cref="CheckFailedException">It is not a statement about a run.</exception>
    public static RunStatement Parse(ReadOnlySpan<byte> utf8)
    {
        try
        {
            var root = StatementJson.Read(utf8, PredicateType);
            var run = root["predicate"].Deserialize<RunFacts>(RecordJson.Options)
                ?? throw new CheckFailedException("statement field predicate", "an object", "nothing");
            var subjects = StatementJson.Subjects(root);
            foreach (var file in run.Source.Files)
                StatementJson.RequireHash("predicate.source.files.sha256", file.Sha256);
            return new(subjects, run);
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
}
