using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.App.Pipeline;
using Json.Schema;
using YamlDotNet.Serialization;

namespace AnatomyPrep.Tests.App.Pipeline;

/// <summary>The published schema, judged by an independent validator, agrees with the plan reader.</summary>
public sealed class PlanSchemaTests
{
    private static readonly JsonSchema s_schema = JsonSchema.FromText(PlanSchema.Create(StepCatalog.Create()).ToJsonString());

    [Fact]
    [Trait("Kind", "Outside")]
    public void Presets_are_valid()
    {
        foreach (var preset in PlanLibrary.Presets)
            IsValid(PlanLibrary.PresetText(preset)).Should().BeTrue("of preset {0}", preset);
    }

    [Theory]
    [InlineData("plan: p\nversion: '1'\nsteps:\n  - polish: {}\n")]
    [InlineData("plan: p\nversion: '1'\nsteps:\n  - threshold: { lowerHu: 99999 }\n")]
    [InlineData("plan: p\nversion: '1'\nsteps:\n  - threshold: {}\n")]
    [InlineData("plan: p\nversion: '1'\nsteps:\n  - threshold: { lowerHu: 300, more: 1 }\n")]
    [InlineData("plan: p\nversion: '1'\nsteps: []\n")]
    [InlineData("plan: p\nsteps:\n  - surface\n")]
    [InlineData("plan: p\nversion: '1'\n")]
    [InlineData("plan: p\nversion: '1'\nstructures: []\n")]
    [InlineData("plan: p\nversion: '1'\nstructures:\n  - name: a\n")]
    [InlineData("plan: p\nversion: '1'\nstructures:\n  - name: a\n    colour: red\n    steps:\n      - surface\n")]
    [InlineData("plan: p\nversion: '1'\nstructures:\n  - name: a\n    steps:\n      - place-on-bed\n")]
    [InlineData("plan: p\nversion: '1'\nlandmarks: [1]\nsteps:\n  - surface\n")]
    [InlineData("plan: p\nversion: '1'\nlandmarks: { points: {} }\nsteps:\n  - surface\n")]
    [InlineData("plan: p\nversion: '1'\nlandmarks: { points: { a: [1, 2] } }\nsteps:\n  - surface\n")]
    [InlineData("plan: p\nversion: '1'\nlandmarks: { points: { a: [1, 2, 20000] } }\nsteps:\n  - surface\n")]
    [InlineData("plan: p\nversion: '1'\nlandmarks: { points: { a: [1, 2, 3], b: [4, 5, 6] }, distances: [[a, a]] }\nsteps:\n  - surface\n")]
    [InlineData("plan: p\nversion: '1'\nlandmarks: { points: { a: [1, 2, 3], b: [4, 5, 6] }, angles: [[a, b]] }\nsteps:\n  - surface\n")]
    [InlineData("plan: p\nversion: '1'\nlandmarks: { points: { a: [1, 2, 3] }, lengths: [] }\nsteps:\n  - surface\n")]
    [Trait("Kind", "Outside")]
    public void What_the_reader_refuses_the_schema_refuses(string yaml) => IsValid(yaml).Should().BeFalse();

    [Fact]
    [Trait("Kind", "Outside")]
    public void Landmarks_are_valid() => IsValid(
        "plan: p\nversion: '1'\nlandmarks:\n  points: { a: [1, 2, 3], b: [4, 4, 6], 3: [-0.5, 0, 9] }\n  distances: [[a, b]]\n  angles: [[a, b, 3]]\nsteps:\n  - surface\n").Should().BeTrue();

    [Fact]
    public void Steps_that_move_the_model_are_marked_as_the_catalogue_says()
    {
        var catalog = StepCatalog.Create();
        var forms = PlanSchema.Create(catalog)["properties"]!["steps"]!["items"]!["oneOf"]!.AsArray().OfType<JsonObject>().Where(f => f["properties"] is not null);
        forms.Where(f => f["x-movesModel"] is not null).Select(f => f["properties"]!.AsObject().Single().Key)
            .Should().Equal(catalog.Specs.Where(s => s.MovesModel).Select(s => s.Name)).And.Contain(["lay", "rotate", "mirror"]);
    }

    private static bool IsValid(string yaml)
    {
        var json = new SerializerBuilder().JsonCompatible().Build()
            .Serialize(new DeserializerBuilder().WithAttemptingUnquotedStringTypeDeserialization().Build().Deserialize(new StringReader(yaml)));
        return s_schema.Evaluate(JsonDocument.Parse(json).RootElement).IsValid;
    }
}
