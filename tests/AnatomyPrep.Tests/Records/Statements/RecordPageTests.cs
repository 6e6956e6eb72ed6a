using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Statements;

/// <summary>docs/formats/record.md describes what the program writes.</summary>
public sealed class RecordPageTests
{
    private static readonly string s_page = File.ReadAllText(Path.Combine(Repository.Root, "docs", "formats", "record.md"));

    private static readonly RunStatement s_statement = new(
        [new Subject("model.stl", SampleRun.Sha256("model"), 25_000_084), new Subject("run.json", SampleRun.Sha256("run"), 3_210)],
        SampleRun.Facts());

    [Fact]
    public void Example_is_a_statement_of_this_program()
    {
        var from = s_page.IndexOf("```json\n", StringComparison.Ordinal) + "```json\n".Length;
        var example = s_page[from..s_page.IndexOf("```", from, StringComparison.Ordinal)];
        Encoding.UTF8.GetString(CanonicalJson.Canonicalize(Encoding.UTF8.GetBytes(example)))
            .Should().Be(Encoding.UTF8.GetString(s_statement.ToBytes()));
    }

    [Fact]
    public void Every_field_is_described()
    {
        var fields = s_page[s_page.IndexOf("### Fields", StringComparison.Ordinal)..s_page.IndexOf("## Example", StringComparison.Ordinal)];
        var run = s_statement.Run with { Measurements = s_statement.Run.Measurements with { Landmarks = SampleRun.Landmarks() } };
        foreach (var name in Names(JsonNode.Parse((s_statement with { Run = run }).ToBytes())!["predicate"]!).Distinct())
            fields.Should().MatchRegex($@"`[\w.\[\]]*\b{name}(\[\])?[\w.\[\]]*`", "of the field {0}", name);
    }

    [Fact]
    public void Every_word_a_field_may_hold_is_named()
    {
        foreach (var word in Words<Purpose>().Concat(Words<Side>()).Concat(Words<SourceKind>())
            .Concat(Words<AnatomyPrep.Core.Plans.Stage>()).Concat(Words<AnatomyPrep.Core.Findings.Severity>()).Concat(Words<AnatomyPrep.Core.Meshes.Origin>()))
            s_page.Should().Contain($"`{word}`");
        s_page.Should().Contain(RunStatement.PredicateType).And.Contain(EducationAndPlanning.Warning);
    }

    private static IEnumerable<string> Words<T>()
        where T : struct, Enum =>
        Enum.GetValues<T>().Select(v => JsonSerializer.Serialize(v, RecordJson.Options).Trim('"'));

    /// <summary>Names that the program gives; parameters and further figures are named by plans and steps.</summary>
    private static IEnumerable<string> Names(JsonNode node) => node switch
    {
        JsonObject fields => fields.SelectMany(f =>
            f.Key is "parameters" or "measures" or "further" ? [f.Key] : Names(f.Value!).Prepend(f.Key)),
        JsonArray items => items.SelectMany(i => Names(i!)),
        _ => [],
    };
}
