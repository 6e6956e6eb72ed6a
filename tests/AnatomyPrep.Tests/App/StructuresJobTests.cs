using System.Text.Json;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests.App;

/// <summary>Several structures in one run, through the real program.</summary>
public sealed class StructuresJobTests : IDisposable
{
    // Two bones that touch: both structures start from the same two points, with the parts swapped, and an overlap is provoked by spreading the second.
    private const string TwoBones = """
        plan: two-bones
        version: "1"
        steps:
          - threshold: { lowerHu: 520 }
        structures:
          - name: First bone
            colour: "#ECE0C8"
            side: right
            steps:
              - split: { keepMm: [[-23, -5.5, -2]], dropMm: [[18, 15.5, 1.16]] }
              - surface
              - remove-degenerates
          - name: Second bone
            colour: "#56B4E9"
            steps:
              - split: { keepMm: [[18, 15.5, 1.16]], dropMm: [[-23, -5.5, -2]] }
              - dilate: { radiusMm: 2 }
              - surface
              - remove-degenerates
        """;

    private const string RealPhantom = """
        plan: skull-and-post
        version: "1"
        steps:
          - crop: { minMm: [-40, 60, 715], maxMm: [40, 140, 750] }
        structures:
          - name: skull
            steps:
              - threshold: { lowerHu: 300 }
              - keep-pieces: { largest: 1 }
              - surface
              - remove-degenerates
          - name: all else
            steps:
              - threshold: { lowerHu: -300 }
              - keep-pieces: { largest: 0, minVolumeMm3: 500 }
              - surface
              - remove-degenerates
        """;

    private readonly TestFolder _folder = new();

    private string Home => _folder["home"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Slow")]
    public void Two_bones_are_two_solids_with_a_table_and_nothing_in_common()
    {
        PhantomCatalogue.Create("touching-bones").WriteWithTruth(_folder["images"], RunContext.Default);
        File.WriteAllText(_folder["two.yaml"], TwoBones);
        var result = _folder["result"];
        var prepared = TestProgram.Run(Home, "prepare", _folder["images"], "--plan", _folder["two.yaml"], "--out", result);
        prepared.ExitCode.Should().Be(0, prepared.Errors);
        prepared.Errors.Should().Contain("First bone #ECE0C8").And.Contain("Second bone #56B4E9");

        var table = Structures(result, out var sharedMm3);
        table.Select(s => (s.Name, s.Colour)).Should().Equal(("First bone", "#ECE0C8"), ("Second bone", "#56B4E9"));
        sharedMm3.Should().BeLessThan(0.1);
        // Each ball of 18 mm has 24,429 mm³; its level of 520 HU is its true edge, and the neck takes less than 1 %.
        table[0].VolumeMm3.Should().BeApproximately(4 * Math.PI / 3 * Math.Pow(18, 3), 250);
        table[0].RemovedMm3.Should().Be(0);
        // Spread by 2 mm the second reaches 2 mm into the first around the neck.
        table[1].RemovedMm3.Should().BeGreaterThan(50);
        table.Should().OnlyContain(s => s.Solid && s.Pieces == 1);
        foreach (var s in table)
        {
            var facts = MeshFacts.Measure(MeshFile.Read(Path.Combine(result, s.Files.Single(f => f.EndsWith(".ply", StringComparison.Ordinal))), new MeshReadOptions(), RunContext.Default).Mesh, RunContext.Default);
            facts.Solid.Should().BeTrue();
            facts.VolumeMm3.Should().BeApproximately(s.VolumeMm3, 1e-6 * s.VolumeMm3);
        }

        // One object a structure, each in its colour.
        using (var zip = System.IO.Compression.ZipFile.OpenRead(Path.Combine(result, "model.3mf")))
        using (var text = new StreamReader(zip.GetEntry("3D/3dmodel.model")!.Open()))
            text.ReadToEnd().Should().Contain("<base name=\"First bone\" displaycolor=\"#ECE0C8\"").And.Contain("<base name=\"Second bone\" displaycolor=\"#56B4E9\"");
        Tool.Run("pdftotext", Path.Combine(result, "report.pdf"), "-").Output.Should().Contain("Structures (2)").And.Contain("First bone, RIGHT").And.Contain("Volume that two structures share");

        TestProgram.Run(Home, "verify", result).ExitCode.Should().Be(0);
        TestProgram.Run(Home, processors: 1, "replay", result).Should().Match<(int ExitCode, string Output, string Errors)>(r => r.ExitCode == 0 && r.Output.Contains("identical bytes"));
    }

    [Fact]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    public void A_real_phantom_series_gives_bone_and_what_lies_around_it()
    {
        File.WriteAllText(_folder["real.yaml"], RealPhantom);
        var result = _folder["result"];
        var prepared = TestProgram.Run(Home, "prepare", SharedData.File("data/ct/head-phantom-tilt-minus.zip"), "--plan", _folder["real.yaml"], "--out", result);
        prepared.ExitCode.Should().Be(0, prepared.Errors);
        var table = Structures(result, out var sharedMm3);
        table.Select(s => s.Name).Should().Equal("skull", "all else");
        table.Should().OnlyContain(s => s.Solid);
        sharedMm3.Should().BeLessThan(0.1);
        // What is above 300 HU lies wholly in what is above -300 HU, so the second gives away all of the first: to the rounding of 200 cm² of wall to float32 at 750 mm (6e-5 mm, 1.2 mm³).
        table[1].RemovedMm3.Should().BeApproximately(table[0].VolumeMm3, 1.2);
        table[0].VolumeMm3.Should().BeInRange(20_000, 60_000, "of the base of the skull in the box, seen on the sections");
        TestProgram.Run(Home, "verify", result).ExitCode.Should().Be(0);
    }

    private static List<(string Name, string Colour, bool Solid, int Pieces, double VolumeMm3, double RemovedMm3, string[] Files)> Structures(string result, out double sharedMm3)
    {
        using var run = JsonDocument.Parse(File.ReadAllText(Path.Combine(result, "run.json")));
        sharedMm3 = run.RootElement.GetProperty("sharedMm3").GetDouble();
        return [.. run.RootElement.GetProperty("structures").EnumerateArray().Select(s =>
        {
            var mesh = s.GetProperty("measurements").GetProperty("mesh");
            return (s.GetProperty("name").GetString()!, s.GetProperty("colour").GetString()!, mesh.GetProperty("solid").GetBoolean(), mesh.GetProperty("components").GetInt32(),
                mesh.GetProperty("volumeMm3").GetDouble(), s.GetProperty("removedMm3").GetDouble(), s.GetProperty("files").EnumerateArray().Select(f => f.GetString()!).ToArray());
        })];
    }
}
