using System.Text.Json.Nodes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Tests.Meshing;
using AnatomyPrep.Tests.Records;

namespace AnatomyPrep.Tests.App;

/// <summary>Landmarks in a plan, from the images to record, report and replay.</summary>
public sealed class LandmarkJobTests : IDisposable
{
    private const string Points = """
        landmarks:
          points: { left: [20.5, -0.2, 0.4], right: [-20, -0.2, 0.4], top: [0, 0, 21], front: [0, -20, 0] }
          distances: [[left, right]]
          angles: [[left, top, right]]

        """;

    private readonly TestFolder _folder = new();

    private string Home => _folder["home"];

    public void Dispose() => _folder.Dispose();

    /// <summary>
    /// A ball of 20 mm whose middle lies 0.4 mm off, sampled every millimetre with an edge that rises evenly: the surface lies within (step²)/(8·radius) = 0.007 mm of it,
    /// and a point put up to half a millimetre beside an axis shortens the diameter by 0.5²/20 = 0.013 mm at most. Thales' angle: 90° within 2·0.5/28 mm of a leg = 2°.
    /// Along x, U = 2·√2·1 mm/√12. The plan mirrors, scales and moves the model, and all of that is undone but the sign of four points.
    /// </summary>
    [Fact]
    [Trait("Kind", "Slow")]
    public void A_plan_measures_its_landmarks_however_it_places_the_model()
    {
        PhantomCatalogue.Create("sphere-in-water").WriteWithTruth(_folder["images"], RunContext.Default);
        File.WriteAllText(_folder["plan.yaml"], "plan: p\nversion: \"1\"\n" + Points
            + "steps:\n  - threshold: { lowerHu: 500 }\n  - surface\n  - mirror: { normal: [1, 0, 0], pointMm: [5, 0, 0] }\n  - scale: { factor: 1.5 }\n  - move: { byMm: [30, -20, 10] }\n");
        var images = Path.Combine(_folder["images"], "ct");
        var result = _folder["result"];
        var made = TestProgram.Run(Home, "prepare", images, "--plan", _folder["plan.yaml"], "--out", result);
        made.ExitCode.Should().Be(0, made.Errors);
        made.Errors.Should().Contain("left to right");

        var found = Landmarks(result)!;
        found["sliceThicknessMm"]!.GetValue<double>().Should().Be(1);
        var distance = found["distances"]![0]!;
        distance["sourceMm"]!.GetValue<double>().Should().BeApproximately(40, 0.05);
        distance["differenceMm"]!.GetValue<double>().Should().BeApproximately(0, 1e-3);
        distance["expandedMm"]!.GetValue<double>().Should().BeApproximately(2 * Math.Sqrt(2.0 / 12), 0.002);
        found["angles"]![0]!["sourceDeg"]!.GetValue<double>().Should().BeApproximately(90, 2);
        found["angles"]![0]!["differenceDeg"]!.GetValue<double>().Should().BeApproximately(0, 0.01);
        found["handedness"]!["mirrored"]!.GetValue<bool>().Should().BeTrue();

        // What the paper says, and what whoever checks the record finds.
        Tool.Run(result, "pdftotext", "-layout", "report.pdf", "report.txt").ExitCode.Should().Be(0);
        File.ReadAllText(Path.Combine(result, "report.txt")).Should().Contain("left to right").And.Contain("MIRROR IMAGE");
        File.Delete(Path.Combine(result, "report.txt"));
        var verified = TestProgram.Run(Home, "verify", result, "--source", images, "--model", Path.Combine(result, "model.ply"));
        verified.ExitCode.Should().Be(0, verified.Output + verified.Errors);
        verified.Output.Should().Contain("left to right: images 40.").And.Contain("OTHER way round");
        var replayed = TestProgram.Run(Home, "replay", result);
        replayed.ExitCode.Should().Be(0, replayed.Output + replayed.Errors);
    }

    /// <summary>Two halves of one ball: the distance runs from one structure to the other.</summary>
    [Fact]
    [Trait("Kind", "Slow")]
    public void Distances_run_from_structure_to_structure()
    {
        PhantomCatalogue.Create("sphere-in-water").WriteWithTruth(_folder["images"], RunContext.Default);
        File.WriteAllText(_folder["plan.yaml"], "plan: p\nversion: \"1\"\n" + Points + "structures:\n"
            + "  - { name: one, steps: [{ crop: { minMm: [0, -30, -30], maxMm: [30, 30, 30] } }, { threshold: { lowerHu: 500 } }, surface] }\n"
            + "  - { name: other, steps: [{ crop: { minMm: [-30, -30, -30], maxMm: [-2, 30, 30] } }, { threshold: { lowerHu: 500 } }, surface] }\n");
        var made = TestProgram.Run(Home, "prepare", Path.Combine(_folder["images"], "ct"), "--plan", _folder["plan.yaml"], "--out", _folder["result"]);
        made.ExitCode.Should().Be(0, made.Errors);
        Landmarks(_folder["result"])!["distances"]![0]!["modelMm"]!.GetValue<double>().Should().BeApproximately(40, 0.05);
        Landmarks(_folder["result"])!["handedness"]!["mirrored"]!.GetValue<bool>().Should().BeFalse();
    }

    [Fact]
    public void Of_a_scan_they_are_not_measured_and_that_is_said()
    {
        PlyFormat.Write(TestMeshes.Icosphere(3, 20), _folder["ball.ply"], "", RunContext.Default);
        File.WriteAllText(_folder["plan.yaml"], "plan: p\nversion: \"1\"\n" + Points + "steps:\n  - place-on-bed\n");
        var made = TestProgram.Run(Home, "prepare", _folder["ball.ply"], "--plan", _folder["plan.yaml"], "--out", _folder["result"]);
        made.ExitCode.Should().Be(0, made.Errors);
        Landmarks(_folder["result"]).Should().BeNull();
        File.ReadAllText(Path.Combine(_folder["result"], "run.json")).Should().Contain("landmarks-not-measured");
    }

    private static JsonNode? Landmarks(string result) => JsonNode.Parse(File.ReadAllText(Path.Combine(result, "run.json")))!["measurements"]!["landmarks"];
}
