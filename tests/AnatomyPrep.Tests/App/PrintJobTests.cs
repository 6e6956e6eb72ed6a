using System.Text.Json;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Tests.Meshing.Prepare;

namespace AnatomyPrep.Tests.App;

/// <summary>Making ready for the printer through the real program.</summary>
public sealed class PrintJobTests : IDisposable
{
    private readonly TestFolder _folder = new();

    private string Home => _folder["home"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void A_plan_with_a_profile_of_ones_own_is_recorded_whole_and_replays()
    {
        var plan = _folder["plan.yaml"];
        File.WriteAllText(plan, "plan: p\nversion: \"1\"\nsteps:\n  - lay\n  - check-print\n  - compensate-shrink\n  - fit-plate: { gapMm: 4 }\n");
        var profile = _folder["mine.yaml"];
        File.WriteAllText(profile, ProfileLibrary.Load("extrusion").Yaml.Replace("profile: extrusion", "profile: mine", StringComparison.Ordinal));
        var result = _folder["result"];
        var made = TestProgram.Run(Home, "prepare", Write("t.stl", SupportNeedTests.TShape()), "--plan", plan, "--profile", profile, "--unit", "mm", "--out", result);
        made.ExitCode.Should().Be(0, made.Errors);
        foreach (var picture in (string[])["preview.png", "wall.png", "gap.png", "overhang.png", "layers.png"])
            new FileInfo(Path.Combine(result, picture)).Length.Should().BeGreaterThan(1000);
        using (var run = JsonDocument.Parse(File.ReadAllText(Path.Combine(result, "run.json"))))
        {
            run.RootElement.GetProperty("plan").GetProperty("text").GetString().Should().Contain("printProfile:").And.Contain("profile: mine");
            var measures = run.RootElement.GetProperty("steps").EnumerateArray().Single(s => s.GetProperty("name").GetString() == "check-print").GetProperty("effect").GetProperty("measures");
            measures.GetProperty("supportContactMm2").GetDouble().Should().Be(0);
            measures.GetProperty("timeMin").GetDouble().Should().BePositive();
            measures.GetProperty("wallLeastMm").GetDouble().Should().BeInRange(2, 10, "the slab is 5 mm, and a corner is measured along its diagonal");
            run.RootElement.GetProperty("findings").EnumerateArray().Select(f => f.GetProperty("code").GetString()).Should().Contain("orientation-chosen");
        }

        TestProgram.Run(Home, "replay", result).ExitCode.Should().Be(0);
        Directory.CreateDirectory(_folder["source"]);
        File.Copy(_folder["t.stl"], Path.Combine(_folder["source"], "t.stl"));
        var beside = TestProgram.Run(Home, "verify", result, "--source", _folder["source"], "--model", Path.Combine(result, "model.stl"));
        beside.ExitCode.Should().Be(0, "the way back from the machine to the source is known: {0}", beside.Errors);
        beside.Output.Should().Contain("agrees with the source");
    }

    [Fact]
    public void Printable_prints_all_of_it_for_a_file()
    {
        var cup = Write("cup.stl", OrientModelTests.Cup(upsideDown: true));
        var run = TestProgram.Run(Home, "printable", cup, "--profile", "vat", "--as-is", "--json");
        run.ExitCode.Should().Be(0, run.Errors);
        using var answer = JsonDocument.Parse(run.Output);
        var report = answer.RootElement.GetProperty("report");
        report.GetProperty("trapped").GetProperty("traps")[0].GetProperty("kind").GetString().Should().Be("cup");
        report.GetProperty("estimate").GetProperty("layers").GetInt32().Should().Be(600);
        answer.RootElement.GetProperty("findings").EnumerateArray().Should().Contain(f => f.GetProperty("code").GetString() == "cup-holds-liquid");
        answer.RootElement.GetProperty("facts").GetProperty("solid").GetBoolean().Should().BeTrue();
        var people = TestProgram.Run(Home, "printable", cup, "--out", _folder["pictures"]);
        people.Output.Should().Contain("orientation").And.Contain("cost");
        File.Exists(Path.Combine(_folder["pictures"], "overhang.png")).Should().BeTrue();
        MeshFile.Read(Path.Combine(_folder["pictures"], "laid.stl"), new(LengthUnit.Millimetre), RunContext.Default).Mesh.BoundsMm().Min.Z.Should().BeApproximately(0, 1e-4);
    }

    [Fact]
    public void Wrong_profiles_and_models_end_with_their_exit_code()
    {
        var t = Write("t.stl", SupportNeedTests.TShape());
        var bad = _folder["bad.yaml"];
        File.WriteAllText(bad, ProfileLibrary.Load("vat").Yaml.Replace("layerHeightMm: { value: 0.05", "layerHeightMm: { value: -1", StringComparison.Ordinal));
        var impossible = TestProgram.Run(Home, "printable", t, "--profile", bad);
        impossible.ExitCode.Should().Be(2);
        impossible.Errors.Should().Contain("layerHeightMm").And.Contain("line");
        TestProgram.Run(Home, "profiles", bad).ExitCode.Should().Be(2);
        TestProgram.Run(Home, "profiles", "none-such").ExitCode.Should().Be(2);
        TestProgram.Run(Home, "profiles", "vat").Output.Should().Contain("hangsFromPlate: true");
        TestProgram.Run(Home, "profiles").Output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Should().HaveCount(ProfileLibrary.Names.Count);

        var huge = Write("huge.stl", Meshing.Shape.Solids.Box(new(0, 0, 0), new(900, 50, 50)));
        var large = TestProgram.Run(Home, "printable", huge, "--as-is");
        large.ExitCode.Should().Be(1);
        large.Errors.Should().Contain("part-too-large").And.Contain("cut-into-parts");
        var open = Write("open.stl", Meshing.Shape.Solids.Sheet(4, 4, 5));
        TestProgram.Run(Home, "printable", open, "--as-is").ExitCode.Should().Be(1);
    }

    private string Write(string name, Mesh mesh)
    {
        StlFormat.Write(mesh, _folder[name], "test", RunContext.Default);
        return _folder[name];
    }
}
