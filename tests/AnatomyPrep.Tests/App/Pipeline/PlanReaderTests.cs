using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Tests.App.Pipeline;

public sealed class PlanReaderTests
{
    private static readonly PlanReader s_reader = new(StepCatalog.Create());

    [Fact]
    public void Defaults_are_filled_in_and_lines_are_kept()
    {
        var plan = s_reader.Read("plan: mine\nversion: 2\nsteps:\n  - threshold: { lowerHu: 300 }\n  - surface\n", "mine.yaml").Plan;

        plan.Name.Should().Be("mine");
        plan.Version.Should().Be("2");
        plan.Steps.Select(s => (s.Name, s.Line)).Should().Equal(("threshold", 4), ("surface", 5));
        plan.Steps[0].Integer("lowerHu").Should().Be(300);
        plan.Steps[0].Integer("upperHu").Should().Be(short.MaxValue);
    }

    [Theory]
    [InlineData("plan: p\nversion: 1\nsteps:\n  - surface\n  - polish: {}\n", 5, "polish", "threshold")]
    [InlineData("plan: p\nversion: 1\nsteps:\n  - threshold: { lowerHu: 99999 }\n", 4, "99999", "from -32768 to 32767")]
    [InlineData("plan: p\nversion: 1\nsteps:\n  - threshold: { lowerHu: 300.5 }\n", 4, "300.5", "a whole number")]
    [InlineData("plan: p\nversion: 1\nsteps:\n  - threshold:\n      upperHu: 5\n", 4, "missing", "a whole number")]
    [InlineData("plan: p\nversion: 1\nsteps:\n  - threshold: { lowerHU: 300 }\n", 4, "lowerHU", "lowerHu, upperHu")]
    [InlineData("plan: p\nversion: 1\nsteps:\n  - keep-pieces: { largest: -1 }\n", 4, "-1", "from 0 to 1000000")]
    [InlineData("plan: p\nversion: 1\nsteps:\n  - keep-pieces: { minVolumeMm3: .nan }\n", 4, ".nan", "a number")]
    [InlineData("plan: p\nversion: 1\nsteps: []\n", 1, "missing or empty", "a list of steps")]
    [InlineData("plan: p\nsteps:\n  - surface\n", 1, "missing", "text")]
    [InlineData("plan: p\nversion: 1\nextra: 1\nsteps:\n  - surface\n", 3, "extra", "plan, version, description, landmarks, printProfile, steps, structures")]
    [InlineData("plan: p\nversion: 1\nstructures: []\n", 1, "empty", "a list of structures")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - name: a\n", 4, "missing or empty", "a list of steps")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - steps: [surface]\n", 4, "missing", "text")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - name: '/..'\n    steps: [surface]\n", 4, "/..", "letters and digits")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - name: a\n    colour: red\n    steps: [surface]\n", 5, "red", "#RRGGBB")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - name: a\n    side: front\n    steps: [surface]\n", 5, "front", "left, right, both, midline")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - name: a\n    steps: [surface, place-on-bed]\n", 5, "place-on-bed", "where it is")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - name: A b\n    steps: [surface]\n  - name: a-b\n    steps: [surface]\n", 6, "a-b", "no other structure")]
    [InlineData("plan: p\nversion: 1\nstructures:\n  - name: a\n    size: 3\n    steps: [surface]\n", 5, "size", "name, colour, side, steps")]
    [InlineData("plan: p\nversion: 1\nstructures: [bone]\n", 3, "bone", "a mapping")]
    [InlineData("plan: [p\n", 2, "YAML", "well-formed")]
    [InlineData("plan: &a p\nversion: *a\nsteps:\n  - surface\n", 2, "aliases", "without aliases")]
    [InlineData("just words", 1, "not a mapping", "a mapping")]
    public void Wrong_plans_name_line_value_and_what_is_allowed(string yaml, int line, string value, string allowed)
    {
        var act = () => s_reader.Read(yaml, "mine.yaml");
        var error = act.Should().Throw<PlanException>().Which;
        error.Line.Should().Be(line);
        error.Message.Should().Contain("mine.yaml").And.Contain(value).And.Contain(allowed);
    }

    [Fact]
    public void Structures_have_names_colours_and_steps_and_shared_steps_may_be_left_out()
    {
        var plan = s_reader.Read("plan: p\nversion: 1\nstructures:\n  - name: C1 body\n    steps: [surface]\n  - { name: skin, colour: '#d55e00', side: left, steps: [surface] }\n", "mine.yaml").Plan;
        plan.Steps.Should().BeEmpty();
        plan.Structures.Select(s => (s.Name, s.FileName, Colour: s.Colour.ToHex(), s.Side)).Should().Equal(("C1 body", "c1-body", "#ECE0C8", null), ("skin", "skin", "#D55E00", "left"));
        plan.Structures.Should().OnlyContain(s => s.Steps.Single().Name == "surface");
        s_reader.Read("plan: p\nversion: 1\nsteps: [surface]\n", "mine.yaml").Plan.Structures.Should().BeEmpty();
    }

    [Fact]
    public void Every_preset_is_a_valid_plan()
    {
        PlanLibrary.Presets.Should().Contain(["bone", "clean-scan", "skin"]);
        foreach (var preset in PlanLibrary.Presets)
            s_reader.Read(PlanLibrary.PresetText(preset), preset).Plan.Name.Should().Be(preset);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_prefix_and_every_changed_byte_of_a_plan_is_a_plan_or_a_named_error()
    {
        var yaml = PlanLibrary.PresetText("bone");
        for (var length = 0; length < yaml.Length; length++)
            ReadOrRefuse(yaml[..length]);
        foreach (var replacement in "\0{[&*:-#'\"\t\n|>%@`!?,]}9z")
            for (var at = 0; at < yaml.Length; at += 3)
                ReadOrRefuse($"{yaml[..at]}{replacement}{yaml[(at + 1)..]}");
    }

    private static void ReadOrRefuse(string yaml)
    {
        try
        {
            s_reader.Read(yaml, "mine.yaml").Plan.Steps.Should().NotBeEmpty();
        }
        catch (PlanException e)
        {
            e.Allowed.Should().NotBeEmpty();
        }
    }
}
