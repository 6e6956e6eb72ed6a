using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Meshing.Prepare;

namespace AnatomyPrep.Tests.App.Pipeline;

public sealed class ProfileReaderTests
{
    [Fact]
    public void Every_profile_that_comes_along_is_read_and_every_process_is_there()
    {
        var profiles = ProfileLibrary.Names.Select(n => ProfileLibrary.Load(n).Profile).ToArray();
        profiles.Select(p => p.Name).Should().Equal(ProfileLibrary.Names);
        profiles.Select(p => p.Process).Distinct().Should().HaveCount(4);
        profiles.Select(p => p.Support).Distinct().Should().HaveCount(4);
        profiles.Should().Contain(p => p.Process == PrintProcess.MaterialExtrusion && p.Support == SupportKind.Soluble);
    }

    [Fact]
    public void Least_walls_lie_in_the_range_of_the_guides()
    {
        // Arithmetic ranges of seven public design-rule pages, reference-values.md section 4.
        ProfileLibrary.Load("extrusion").Profile.LeastWallMm.Should().BeInRange(0.8, 1.2);
        ProfileLibrary.Load("vat").Profile.LeastWallMm.Should().BeInRange(0.5, 0.8);
        ProfileLibrary.Load("powder").Profile.LeastWallMm.Should().BeInRange(0.7, 1.0);
        ProfileLibrary.Load("jetting-gel").Profile.LeastWallMm.Should().BeInRange(0.6, 1.0);
        ProfileLibrary.Load("extrusion").Profile.OverhangLimitDeg.Should().Be(45);
        ProfileLibrary.Load("powder").Profile.DrainMm.Should().BeGreaterThanOrEqualTo(3.5);
        ProfileLibrary.Load("vat").Profile.DrainsEach.Should().Be(2);
    }

    [Theory]
    [InlineData("leastWallMm: { value: 0.8", "leastWallMm: { value: -0.8", "leastWallMm")]
    [InlineData("leastWallMm: { value: 0.8", "leastWallMm: { value: NaN", "leastWallMm")]
    [InlineData("leastWallMm: { value: 0.8", "leastWallMm: { value: 1e999", "leastWallMm")]
    [InlineData("layerHeightMm: { value: 0.2", "layerHeightMm: { value: 1.5", "layerHeightMm")]
    [InlineData("buildVolumeMm: { value: [250, 210, 210]", "buildVolumeMm: { value: [250, 210]", "buildVolumeMm")]
    [InlineData("buildVolumeMm: { value: [250, 210, 210]", "buildVolumeMm: { value: [250, 0, 210]", "buildVolumeMm")]
    [InlineData("overhangLimitDeg: { value: 45", "overhangLimitDeg: { value: 91", "overhangLimitDeg")]
    [InlineData("overhangLimitDeg: { value: 45", "overhangLimitDeg: { value: 0", "overhangLimitDeg")]
    [InlineData("supportFill: { value: 0.15", "supportFill: { value: 0", "supportFill")]
    [InlineData("leastNeckMm: { value: 3", "leastNeckMm: { value: 0.5", "leastNeckMm")]
    [InlineData("support: same material", "support: powder", "overhangLimitDeg")]
    [InlineData("support: same material", "support: magic", "support")]
    [InlineData("process: MEX", "process: BJT", "process")]
    [InlineData("material: PLA", "colour: red", "key")]
    [InlineData("leastGapMm:", "leastGap:", "values.leastGap")]
    [InlineData("densityGPerCm3: { value: 1.24, source: \"data sheets of PLA; from memory\" }", "densityGPerCm3: 1.24", "densityGPerCm3")]
    public void An_impossible_value_is_named_with_its_line(string good, string bad, string parameter)
    {
        var yaml = ProfileLibrary.Load("extrusion").Yaml;
        yaml.Should().Contain(good);
        var wrong = yaml.Replace(good, bad, StringComparison.Ordinal);
        var act = () => ProfileLibrary.Parse(wrong, "mine.yaml");
        var thrown = act.Should().Throw<PlanException>().Which;
        thrown.Parameter.Should().Be(parameter);
        thrown.Where.Should().Be("mine.yaml");
        thrown.Line.Should().BePositive();
        thrown.Allowed.Should().NotBeEmpty();
    }

    [Fact]
    public void A_missing_value_or_source_is_named()
    {
        var yaml = ProfileLibrary.Load("vat").Yaml;
        var without = string.Join('\n', yaml.Split('\n').Where(l => !l.Contains("drainMm", StringComparison.Ordinal)));
        ((Action)(() => ProfileLibrary.Parse(without, "mine"))).Should().Throw<PlanException>().Which.Parameter.Should().Be("drainMm");
        ((Action)(() => ProfileLibrary.Load("no-such-file.yaml"))).Should().Throw<PlanException>().Which.Parameter.Should().Be("--profile");
        ((Action)(() => ProfileLibrary.Parse("- a list", "mine"))).Should().Throw<PlanException>();
        ((Action)(() => ProfileLibrary.Parse(new string('x', 1 << 17), "mine"))).Should().Throw<PlanException>();
    }

    [Fact]
    public void Shrink_is_made_up_for_exactly()
    {
        var profile = ProfileLibrary.Load("powder").Profile;
        (profile.ScaleFor().X * (1 - (profile.ShrinkPercent.X / 100))).Should().BeApproximately(1, 1e-15);
        (profile.ScaleFor().Z * (1 - (profile.ShrinkPercent.Z / 100))).Should().BeApproximately(1, 1e-15);
    }
}
