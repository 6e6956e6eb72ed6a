using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Inspections;

/// <summary>What an addition signs: these files came out of this inspection.</summary>
/// <remarks>In-toto Statement v1, as <see cref="RunStatement"/>. docs/formats/record.md describes every field.</remarks>
public sealed record AdditionStatement(IReadOnlyList<Subject> Subjects, InspectionFacts Inspection)
{
    public const string PredicateType = "https://anatomyprep.invalid/inspection/v1";

    /// <summary>Canonical JSON of the statement.</summary>
    public byte[] ToBytes() => StatementJson.Write(PredicateType, Subjects, RecordJson.ToNode(Inspection));

    /// <summary>Reads a statement. Pass bytes whose signature holds; fields it does not know are passed over.</summary>
    /// <exception cref="CheckFailedException">It is not a statement about an inspection.</exception>
    public static AdditionStatement Parse(ReadOnlySpan<byte> utf8)
    {
        try
        {
            var root = StatementJson.Read(utf8, PredicateType);
            var inspection = root["predicate"].Deserialize<InspectionFacts>(RecordJson.Options)
                ?? throw new CheckFailedException("statement field predicate", "an object", "nothing");
            if (inspection.Caliper is null == inspection.Scan is null)
                throw new CheckFailedException("statement field predicate", "one of caliper and scan", inspection.Caliper is null ? "neither" : "both");
            if (inspection.Caliper is { } caliper && (caliper.Distances.Count < 2 || caliper.Distances.Any(d => d.ReadingsMm.Count == 0)))
                throw new CheckFailedException("statement field predicate.caliper.distances", "at least two, each with a reading", "fewer");
            StatementJson.RequireHash("predicate.record.recordSha256", inspection.Record.RecordSha256);
            StatementJson.RequireHash("predicate.record.runId", inspection.Record.RunId);
            if (inspection.PreviousSha256 is { } previous)
                StatementJson.RequireHash("predicate.previousSha256", previous);
            return new(StatementJson.Subjects(root), inspection);
        }
        catch (StrictJsonException e)
        {
            throw new CheckFailedException("statement", "strict JSON", e.Message);
        }
        catch (JsonException e)
        {
            throw new CheckFailedException($"statement field predicate{e.Path?.TrimStart('$')}", "the form of inspection/v1", "something else");
        }
    }
}
