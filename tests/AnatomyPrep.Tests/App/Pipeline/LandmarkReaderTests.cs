using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Tests.App.Pipeline;

public sealed class LandmarkReaderTests
{
    private const string List = "points:\n  nasion: [1.5, -82, -7]\n  left end: [60, 0, 2]\n  '3': [-60, 0, 2]\ndistances: [[left end, '3']]\nangles: [[left end, nasion, 3]]\n";

    private static readonly PlanLibrary s_plans = new(StepCatalog.Create());

    [Fact]
    public void A_file_and_a_plan_are_read_alike()
    {
        using var folder = new TestFolder();
        File.WriteAllText(folder["points.yaml"], List);
        var file = LandmarkReader.ReadFile(folder["points.yaml"]);
        file.Points.Select(p => (p.Name, p.AtMm)).Should().Equal(("nasion", new Vec3(1.5, -82, -7)), ("left end", new(60, 0, 2)), ("3", new(-60, 0, 2)));
        file.Distances.Should().Equal((1, 2));
        file.Angles.Should().Equal((1, 0, 2));

        var plan = s_plans.Parse(Plan(List), "mine.yaml");
        plan.Landmarks.Should().BeEquivalentTo(file);
        plan.Plan.Steps.Select(s => s.Name).Should().Equal("threshold", "surface");

        // As programs send it back, with a scale and a profile added.
        s_plans.Parse(PlanJson.Of(plan).ToJsonString(), "mine.json").Landmarks.Should().BeEquivalentTo(file);
        s_plans.Parse(PlanText.WithScale(plan, 0.5), "mine.yaml").Landmarks.Should().BeEquivalentTo(file);
        s_plans.Parse("plan: p\nversion: 1\nsteps: [surface]\n", "mine.yaml").Landmarks.Should().BeNull();
    }

    [Theory]
    [InlineData("points: {}\n", "missing or empty", "points: { NAME")]
    [InlineData("distances: []\n", "missing or empty", "points: { NAME")]
    [InlineData("points: { a: [1, 2, 3] }\nlengths: []\n", "lengths", "points, distances, angles")]
    [InlineData("points: { a: [1, 2] }\n", "sequence", "three numbers")]
    [InlineData("points: { a: 5 }\n", "5", "three numbers")]
    [InlineData("points: { a: [1, 2, .nan] }\n", ".nan", "from -10000 to 10000")]
    [InlineData("points: { a: [1, 2, 1e9] }\n", "1e9", "from -10000 to 10000")]
    [InlineData("points: { '': [1, 2, 3] }\n", "point name", "1 to 60 characters")]
    [InlineData("points: { \"a\\nb\": [1, 2, 3] }\n", "point name", "1 to 60 characters")]
    [InlineData("points: { a: [1, 2, 3], b: [4, 5, 6] }\ndistances: [[a, c]]\n", "c", "a, b")]
    [InlineData("points: { a: [1, 2, 3], b: [4, 5, 6] }\ndistances: [[a, a]]\n", "a point twice", "2 different points")]
    [InlineData("points: { a: [1, 2, 3], b: [4, 5, 6] }\ndistances: [a, b]\n", "a", "2 names of points")]
    [InlineData("points: { a: [1, 2, 3], b: [4, 5, 6] }\ndistances: a\n", "not a list", "distances")]
    [InlineData("points: { a: [1, 2, 3], b: [4, 5, 6] }\nangles: [[a, b]]\n", "sequence", "3 names of points")]
    [InlineData("points: { a: [1, 2, 3], b: [4, 5, 6] }\nangles: [[a, b, a]]\n", "a point twice", "3 different points")]
    [Trait("Kind", "Hostile")]
    public void Wrong_lists_name_the_value_and_what_is_allowed(string list, string value, string allowed)
    {
        using var folder = new TestFolder();
        File.WriteAllText(folder["points.yaml"], list);
        var file = () => LandmarkReader.ReadFile(folder["points.yaml"]);
        file.Should().Throw<PlanException>().Which.Message.Should().Contain("points.yaml").And.Contain(value).And.Contain(allowed);
        var plan = () => s_plans.Parse(Plan(list), "mine.yaml");
        plan.Should().Throw<PlanException>().Which.Message.Should().Contain("mine.yaml").And.Contain(value).And.Contain(allowed);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Landmarks_of_a_plan_are_a_mapping()
    {
        var plan = () => s_plans.Parse("plan: p\nversion: 1\nlandmarks: [1]\nsteps: [surface]\n", "mine.yaml");
        plan.Should().Throw<PlanException>().Which.Should().Match<PlanException>(e => e.Line == 3 && e.Message.Contains("a mapping of points"));
    }

    private static string Plan(string list) =>
        $"plan: p\nversion: \"1\"\nlandmarks:\n{string.Concat(list.TrimEnd().Split('\n').Select(line => $"  {line}\n"))}steps:\n  - threshold: {{ lowerHu: 300 }}\n  - surface\n";
}
