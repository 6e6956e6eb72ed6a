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
        foreach (var picture in (string[])["preview.png", "wall.png", "gap.png", "overhang.png", "layers.png", "layer-preview.png", "orientation.png"])
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

    /// <summary>Two parts on a plate: two objects in the 3MF, the same triangles as the STL, and a thumbnail.</summary>
    [Fact]
    public void Parts_on_a_plate_are_objects_and_the_same_mesh_in_every_file()
    {
        var plan = _folder["plan.yaml"];
        File.WriteAllText(plan, "plan: p\nversion: \"1\"\nsteps:\n  - fit-plate: { gapMm: 4 }\n");
        var result = _folder["result"];
        var two = MeshJoin.Join([SupportNeedTests.TShape(), OrientModelTests.Cup(upsideDown: true)]);
        var made = TestProgram.Run(Home, "prepare", Write("two.stl", two), "--plan", plan, "--unit", "mm", "--out", result);
        made.ExitCode.Should().Be(0, made.Errors);
        using (var zip = System.IO.Compression.ZipFile.OpenRead(Path.Combine(result, "model.3mf")))
        {
            zip.GetEntry("Metadata/preview.png")!.Length.Should().BeGreaterThan(1000);
            using var model = new StreamReader(zip.GetEntry("3D/3dmodel.model")!.Open());
            model.ReadToEnd().Should().Contain("part 1 of 2").And.Contain("part 2 of 2");
        }

        var stl = Corners(Path.Combine(result, "model.stl"));
        stl.Should().HaveCount(two.TriangleCount);
        Corners(Path.Combine(result, "model.3mf")).Should().Equal(stl);
        TestProgram.Run(Home, "replay", result).ExitCode.Should().Be(0);

        // Corners of every triangle as they stand, in one order whatever the file's.
        static List<string> Corners(string path)
        {
            var mesh = MeshFile.Read(path, new(LengthUnit.Millimetre), RunContext.Default).Mesh;
            return [.. Enumerable.Range(0, mesh.TriangleCount).Select(t =>
            {
                var (a, b, c) = mesh.Triangle(t);
                return FormattableString.Invariant($"{(float)mesh.Vertex(a).X} {(float)mesh.Vertex(a).Y} {(float)mesh.Vertex(a).Z} {(float)mesh.Vertex(b).X} {(float)mesh.Vertex(b).Y} {(float)mesh.Vertex(b).Z} {(float)mesh.Vertex(c).X} {(float)mesh.Vertex(c).Y} {(float)mesh.Vertex(c).Z}");
            }).Order(StringComparer.Ordinal)];
        }
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
        File.WriteAllBytes(_folder["empty.stl"], new byte[84]);
        foreach (var command in (string[][])[["printable", _folder["empty.stl"]], ["prepare", _folder["empty.stl"], "--plan", "clean-scan", "--unit", "mm", "--out", _folder["none"]]])
        {
            var empty = TestProgram.Run(Home, command);
            empty.ExitCode.Should().Be(3);
            empty.Errors.Should().Contain("triangle count: 0");
        }

        var plan = _folder["plate.yaml"];
        File.WriteAllText(plan, "plan: p\nversion: \"1\"\nsteps:\n  - fit-plate\n");
        var plate = TestProgram.Run(Home, "prepare", huge, "--plan", plan, "--unit", "mm", "--out", _folder["none"]);
        plate.ExitCode.Should().Be(1);
        plate.Errors.Should().Contain("cut-into-parts");
        Directory.Exists(_folder["none"]).Should().BeFalse();
        var open = Write("open.stl", Meshing.Shape.Solids.Sheet(4, 4, 5));
        TestProgram.Run(Home, "printable", open, "--as-is").ExitCode.Should().Be(1);
    }

    private string Write(string name, Mesh mesh)
    {
        StlFormat.Write(mesh, _folder[name], "test", RunContext.Default);
        return _folder[name];
    }
}
