using System.Text;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Statements;

public sealed class RunStatementTests
{
    private static readonly RunStatement s_sample = new(
        [new Subject("model.stl", SampleRun.Sha256("model"), 5), new Subject("a/b.png", SampleRun.Sha256("picture"), 0)], SampleRun.Facts());

    [Fact]
    public void Reading_gives_what_was_written()
    {
        var bytes = s_sample.ToBytes();
        CanonicalJson.IsCanonical(bytes).Should().BeTrue();
        var read = RunStatement.Parse(bytes);
        read.ToBytes().Should().Equal(bytes);
        read.Subjects.Should().BeEquivalentTo(s_sample.Subjects);
        read.Run.Source.Should().BeEquivalentTo(s_sample.Run.Source);
        read.Run.Measurements.Should().BeEquivalentTo(s_sample.Run.Measurements);
        read.Run.Findings.Should().Equal(s_sample.Run.Findings);
        read.Run.StartedAt.Should().Be(s_sample.Run.StartedAt);
    }

    [Fact]
    public void Landmarks_are_read_as_they_were_written_and_a_record_without_them_says_nothing()
    {
        var with = new RunStatement(s_sample.Subjects, s_sample.Run with { Measurements = s_sample.Run.Measurements with { Landmarks = SampleRun.Landmarks() } });
        RunStatement.Parse(with.ToBytes()).Run.Measurements.Landmarks.Should().BeEquivalentTo(SampleRun.Landmarks());
        Encoding.UTF8.GetString(with.ToBytes()).Should().NotContain("null");
        Encoding.UTF8.GetString(s_sample.ToBytes()).Should().NotContain("landmarks");
    }

    /// <summary>in-toto/attestation, spec/v1/statement.md.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Statement_has_the_form_of_in_toto_v1()
    {
        var json = JsonNode.Parse(s_sample.ToBytes())!.AsObject();
        json.Select(f => f.Key).Should().BeEquivalentTo("_type", "subject", "predicateType", "predicate");
        json["_type"]!.GetValue<string>().Should().Be("https://in-toto.io/Statement/v1");
        json["subject"]!.AsArray().Select(s => s!["digest"]!["sha256"]!.GetValue<string>())
            .Should().Equal(SampleRun.Sha256("picture"), SampleRun.Sha256("model"));
        Uri.IsWellFormedUriString(json["predicateType"]!.GetValue<string>(), UriKind.Absolute).Should().BeTrue();
    }

    [Fact]
    public void A_missing_thing_is_left_out_and_never_null()
    {
        var facts = SampleRun.SmallFacts();
        var bytes = new RunStatement(s_sample.Subjects, facts).ToBytes();
        Encoding.UTF8.GetString(bytes).Should().NotContain("null");
        RunStatement.Parse(bytes).Run.Should().BeEquivalentTo(facts);
    }

    [Fact]
    public void Times_are_UTC_with_milliseconds_whatever_the_zone()
    {
        var facts = SampleRun.Facts() with { StartedAt = new DateTimeOffset(2026, 3, 1, 23, 59, 59, 999, TimeSpan.FromHours(-5)) };
        RecordJson.ToNode(facts)["startedAt"]!.GetValue<string>().Should().Be("2026-03-02T04:59:59.999Z");
    }

    /// <summary>sha256sum over the four lines, computed with coreutils for the sample.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Run_id_is_the_hash_of_four_plain_lines()
    {
        using var folder = new TestFolder();
        var facts = SampleRun.Facts();
        File.WriteAllText(folder["id"], facts.RunIdText());
        Tool.Run(folder.Path, "sha256sum", "id").Output.Should().StartWith(facts.RunId);
        facts.RunIdText().Split('\n').Should().Equal(
            $"source {facts.Source.TreeSha256}", $"plan {facts.Plan.Sha256}", "software AnatomyPrep 0.1.0 631981a", "started 2026-03-02T08:15:00.250Z", "");
    }

    [Fact]
    public void Run_id_names_source_plan_software_and_start()
    {
        var facts = SampleRun.Facts();
        RunFacts[] others =
        [
            facts with { Source = facts.Source with { Files = [.. facts.Source.Files.Reverse()] } },
            facts with { Plan = facts.Plan with { Text = facts.Plan.Text + " " } },
            facts with { Software = facts.Software with { Commit = null } },
            facts with { StartedAt = facts.StartedAt.AddMilliseconds(1) },
        ];
        others.Select(o => o.RunId).Append(facts.RunId).Should().OnlyHaveUniqueItems();
        (facts with { FinishedAt = facts.FinishedAt.AddDays(1), Findings = [] }).RunId.Should().Be(facts.RunId);
    }

    [Theory]
    [InlineData("predicate/request/purpose", "\"surgery\"")]
    [InlineData("predicate/request/purpose", "1")]
    [InlineData("predicate/request/scale", "\"1\"")]
    [InlineData("predicate/request", "null")]
    [InlineData("predicate/request", "[]")]
    [InlineData("predicate/source/files", "{}")]
    [InlineData("predicate/source/files", "[null]")]
    [InlineData("predicate/source/files/0/sha256", "\"ABCD\"")]
    [InlineData("predicate/source/files/0/bytes", "1.5")]
    [InlineData("predicate/source/files/0/bytes", "1e300")]
    [InlineData("predicate/source/series/rows", "512.5")]
    [InlineData("predicate/steps/0/parameters", "5")]
    [InlineData("predicate/steps/0/stage", "\"polish\"")]
    [InlineData("predicate/findings/1/place/positionMm", "[1,2]")]
    [InlineData("predicate/findings/1/place/positionMm", "[1,2,\"3\"]")]
    [InlineData("predicate/measurements/mesh/boundsMm", "{}")]
    [InlineData("predicate/measurements/mesh/solid", "\"yes\"")]
    [InlineData("predicate/startedAt", "\"2026-03-02T08:15:00Z\"")]
    [InlineData("predicate/startedAt", "\"2026-13-02T08:15:00.000Z\"")]
    [InlineData("predicate/startedAt", "\"2026-03-02T08:15:00.000+01:00\"")]
    [InlineData("predicate", "{}")]
    [InlineData("predicate", "\"\"")]
    [InlineData("predicateType", "\"https://slsa.dev/provenance/v1\"")]
    [InlineData("_type", "\"https://in-toto.io/Statement/v0.1\"")]
    [InlineData("subject", "[]")]
    [InlineData("subject", "{}")]
    [InlineData("subject/0", "\"a\"")]
    [InlineData("subject/0/name", "\"../model.stl\"")]
    [InlineData("subject/0/name", "\"/etc/passwd\"")]
    [InlineData("subject/0/name", "\"a//b\"")]
    [InlineData("subject/0/name", "\"a\\\\b\"")]
    [InlineData("subject/0/name", "\"a\\u0000b\"")]
    [InlineData("subject/0/name", "\"\"")]
    [InlineData("subject/0/name", "\"model.stl\"")] // twice
    [InlineData("subject/0/digest", "{\"sha256\":5}")]
    [InlineData("subject/0/digest", "{\"md5\":\"00\"}")]
    [InlineData("subject/0/digest/sha256", "\"00\"")]
    [InlineData("subject/0/annotations/bytes", "-1")]
    [InlineData("subject/0/annotations/bytes", "0.5")]
    [Trait("Kind", "Hostile")]
    public void A_statement_of_another_form_is_refused(string field, string json)
    {
        var statement = JsonNode.Parse(s_sample.ToBytes())!;
        var steps = field.Split('/');
        var parent = steps[..^1].Aggregate(statement, (node, step) => node is JsonArray items ? items[int.Parse(step, null)]! : node[step]!);
        if (parent is JsonArray list)
            list[int.Parse(steps[^1], null)] = JsonNode.Parse(json);
        else
            parent[steps[^1]] = JsonNode.Parse(json);
        var parse = () => RunStatement.Parse(CanonicalJson.Write(statement));
        parse.Should().Throw<CheckFailedException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Leaving_out_any_field_the_form_requires_is_refused_by_name()
    {
        var predicate = RecordJson.ToNode(s_sample.Run);
        foreach (var name in new[] { "request", "source", "plan", "software", "steps", "findings", "measurements", "startedAt", "finishedAt" })
        {
            var statement = JsonNode.Parse(s_sample.ToBytes())!;
            statement["predicate"]!.AsObject().Remove(name).Should().BeTrue();
            var parse = () => RunStatement.Parse(CanonicalJson.Write(statement));
            parse.Should().Throw<CheckFailedException>("without {0}", name);
        }

        predicate.Should().HaveCount(11);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_number_that_is_not_finite_does_not_reach_a_record()
    {
        using var folder = new TestFolder();
        using var key = SigningKey.Create();
        var facts = SampleRun.Facts();
        facts = facts with { Measurements = facts.Measurements with { Further = new Dictionary<string, double> { ["aMm"] = double.NaN } } };
        var write = () => RecordWriter.Write(folder.Path, facts, key, RunContext.Default);
        write.Should().Throw<ArgumentException>();
        File.Exists(folder[RecordFiles.Record]).Should().BeFalse();
    }

    [Fact]
    public void Step_parameters_keep_their_values_and_lose_those_without()
    {
        var step = SampleRun.Facts().Steps[0];
        Encoding.UTF8.GetString(CanonicalJson.Write(step.Parameters)).Should().Be(
            """{"fillHoles":false,"highHu":3071,"keep":[1,2],"lowHu":226,"mode":"window","seedMm":[1.5,-2,1e-7]}""");
        var strange = () => StepFacts.Of(
            new PlanStep("s", new Dictionary<string, object?> { ["p"] = DateTime.UnixEpoch }), Stage.Shape, StepEffect.None);
        strange.Should().Throw<ArgumentException>();
    }

    [Fact]
    public void Run_file_says_the_same_as_the_predicate()
    {
        var file = RecordWriter.RunFile(s_sample.Run);
        CanonicalJson.Canonicalize(file).Should().Equal(CanonicalJson.Write(RecordJson.ToNode(s_sample.Run)));
        Encoding.UTF8.GetString(file).Should().Contain("\n  \"request\": {\n    \"purpose\": \"education\"").And.Contain("mm²");
    }

    [Fact]
    public void Nothing_in_the_record_names_the_machine_or_the_user()
    {
        var text = Encoding.UTF8.GetString(s_sample.ToBytes());
        text.Should().NotContain(Environment.MachineName).And.NotContain(AppContext.BaseDirectory);
    }
}
