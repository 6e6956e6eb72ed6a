using System.Globalization;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Series;
using AnatomyPrep.Phantoms.Solids;
using AnatomyPrep.Records.Inspections;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Tests.Meshing;
using AnatomyPrep.Tests.Meshing.Verify;
using AnatomyPrep.Tests.Records.Ledgers;

namespace AnatomyPrep.Tests.App;

/// <summary>An invented print is measured with an invented caliper, scanner and CT, through the real program.</summary>
public sealed class InspectPrintTests(InspectPrintTests.MadeRun made) : IClassFixture<InspectPrintTests.MadeRun>, IDisposable
{
    private static readonly Affine3 s_motion = Affine3.Translate(new Vec3(40, -25, 60)).After(Affine3.Rotate(new Vec3(0.3, 1, 0.6), 2.2));

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Truth")]
    public void Readings_give_back_the_bias_and_the_scale_they_were_made_with()
    {
        var run = made.Copy(_folder["run"]);
        Call("sheet", run, "--out", _folder["sheet.pdf"]).ExitCode.Should().Be(0);
        // Every length 0.1 mm too large, read 0.02 mm below and above.
        var passed = Call("caliper", run, "--readings", FillIn(run, mm => mm + 0.1), "--instrument", "caliper-3", "--calibrated-until", "2999-12-31", "--inspector", "T-4", "--json");
        passed.ExitCode.Should().Be(0, passed.Errors);
        var inspection = Json(passed.Output).GetProperty("inspection");
        inspection.GetProperty("passed").GetBoolean().Should().BeTrue();
        var agreement = inspection.GetProperty("caliper").GetProperty("agreement");
        agreement.GetProperty("biasMm").GetDouble().Should().BeApproximately(0.1, 0.01);
        agreement.GetProperty("sdMm").GetDouble().Should().BeLessThan(0.01, "readings are rounded to 0.01 mm");
        inspection.GetProperty("caliper").GetProperty("distances").GetArrayLength().Should().Be(9);

        // 2 % too large along x only: of lengths of 80 mm 1.6 mm, more than the 1 mm of education.
        var scaled = Call("caliper", run, "--readings", FillIn(run, (mm, axis) => axis == 'X' ? mm * 1.02 : mm), "--json");
        scaled.ExitCode.Should().Be(1);
        inspection = Json(scaled.Output).GetProperty("inspection");
        inspection.GetProperty("passed").GetBoolean().Should().BeFalse();
        Codes(inspection).Should().Contain(["print-deviates", "print-scaled"]);
        var scales = inspection.GetProperty("caliper").GetProperty("scales").EnumerateArray().Select(s => s.GetProperty("scale").GetDouble()).ToArray();
        scales[0].Should().BeApproximately(1.02, 0.0005);
        scales[1].Should().BeApproximately(1, 0.0005);
        scales[2].Should().BeApproximately(1, 0.0005);

        RecordVerifier.Verify(run, null, null, RunContext.Default).Additions.Should().HaveCount(2);
        made.Call("verify", run).ExitCode.Should().Be(0);
        made.Call("replay", run).ExitCode.Should().Be(0, "what was added later is no part of the run");
        File.WriteAllText(Path.Combine(run, "additions/0001/readings.csv"), "changed");
        var tampered = made.Call("verify", run);
        tampered.ExitCode.Should().Be(1);
        tampered.Output.Should().Contain("additions/0001/readings.csv");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_sheet_of_another_model_is_refused_and_leaves_nothing()
    {
        var run = made.Copy(_folder["run"]);
        Call("sheet", run, "--out", _folder["sheet.pdf"], "--per-axis", "1").ExitCode.Should().Be(0);
        var csv = FillIn(run, mm => mm, perAxis: 1);
        File.WriteAllText(csv, File.ReadAllText(csv).Replace("1-", "1-0", StringComparison.Ordinal));
        var refused = Call("caliper", run, "--readings", csv);
        refused.ExitCode.Should().Be(3);
        refused.Errors.Should().Contain("another model");
        Directory.Exists(Path.Combine(run, "additions")).Should().BeFalse();
        Call("sheet", run, "--out", _folder["sheet.pdf"]).ExitCode.Should().Be(3, "a sheet is not overwritten");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_scan_of_a_part_one_percent_too_large_says_so()
    {
        var run = made.Copy(_folder["run"]);
        var scan = Write(PartAgainstModelTests.Corner(0).Moved(s_motion.After(Affine3.Scale(1.01))));
        var call = Call("scan", run, "--scan", scan, "--unit", "mm", "--json");
        call.ExitCode.Should().Be(0, "at most 0.8 mm of 1 mm: passed, and told");
        var inspection = Json(call.Output).GetProperty("inspection");
        inspection.GetProperty("scan").GetProperty("scale").GetDouble().Should().BeApproximately(1.01, 0.0005);
        inspection.GetProperty("scan").GetProperty("residualMm").GetDouble().Should().BeGreaterThan(0.05, "the scale is not taken out");
        Codes(inspection).Should().Equal("print-scaled");
        File.Exists(Path.Combine(run, "additions/0001/deviation.png")).Should().BeTrue();
        Call("scan", run, "--scan", scan, "--unit", "mm", "--tolerance-mm", "0.2").ExitCode.Should().Be(1);
        made.Call("verify", run).ExitCode.Should().Be(0);
    }

    [Theory]
    [InlineData("mirrored", "print-mirrored")]
    [InlineData("other", "print-other-part")]
    [InlineData("little", "scan-covers-little")]
    [Trait("Kind", "Slow")]
    public void A_wrong_part_never_passes_and_is_named(string part, string code)
    {
        var run = made.Copy(_folder["run"]);
        var corner = PartAgainstModelTests.Corner(0);
        var scan = part switch
        {
            "mirrored" => corner.Moved(Affine3.Mirror(Vec3.Zero, new(1, 0, 0))).Turned(),
            "other" => TestMeshes.Icosphere(4, 35),
            _ => Below(corner, 12),
        };
        var call = Call("scan", run, "--scan", Write(scan.Moved(s_motion)), "--unit", "mm", "--json");
        call.ExitCode.Should().Be(1, call.Errors);
        var inspection = Json(call.Output).GetProperty("inspection");
        inspection.GetProperty("passed").GetBoolean().Should().BeFalse();
        Codes(inspection).Should().Contain(code);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_scan_without_unit_is_wrong_usage_and_one_in_centimetres_is_read_so()
    {
        var run = made.Copy(_folder["run"]);
        var scan = Write(PartAgainstModelTests.Corner(0).Moved(Affine3.Scale(0.1)));
        Call("scan", run, "--scan", scan).Should().Match<(int ExitCode, string Output, string Errors)>(c => c.ExitCode == 2 && c.Errors.Contains("--unit"));
        Call("scan", run, "--scan", scan, "--unit", "cm").ExitCode.Should().Be(0);
        // Taken for millimetres it is a tenth of the size: no scale that a printer makes, but told.
        Call("scan", run, "--scan", scan, "--unit", "mm").ExitCode.Should().Be(1);
    }

    /// <summary>
    /// The printed corner of plastic (120 HU, invented) in air, turned against the scanner, voxels of 0.8 mm, edges 2 mm wide, noise 10 HU: the middle of
    /// the edge is the surface, so plane faces come out to about noise over slope, 10/560 · 1 mm, and only edges, which the blur rounds, deviate more.
    /// </summary>
    [Fact]
    [Trait("Kind", "Slow")]
    public void A_ct_of_the_print_lies_on_the_model()
    {
        var run = made.Copy(_folder["run"]);
        // Arms along each axis; boxes that overlap in the corner.
        Solid Arm(double x, double y, double z) => new Placed(new Box(new Vec3(x, y, z) / 2, new Vec3(x, y, z)), s_motion);
        var print = new Union(Arm(80, 25, 25), Arm(25, 50, 25), Arm(25, 25, 60));
        var scene = new Scene
        {
            Name = "print",
            Purpose = "A printed corner in air.",
            BackgroundHu = -1000,
            RampHalfWidthMm = 1,
            Layers = [new Layer("print", print, 120, -1000)],
            FieldOfViewMm = print.BoundsMm.Grown(6),
            TruthLevelsHu = [-440],
        };
        var acquisition = Acquisition.Covering(scene.FieldOfViewMm, 0.8, 0.8, 0.8) with { NoiseSigmaHu = 10 };
        new PhantomSeries(scene, acquisition).Write(_folder["ct"], RunContext.Default);
        var call = Call("scan", run, "--scan", _folder["ct"], "--json");
        call.ExitCode.Should().Be(0, call.Errors);
        var scan = Json(call.Output).GetProperty("inspection").GetProperty("scan");
        scan.GetProperty("scale").GetDouble().Should().BeApproximately(1, 0.002);
        scan.GetProperty("withinP95Mm").GetDouble().Should().BeLessThan(0.3);
        Math.Abs(scan.GetProperty("p50Mm").GetDouble()).Should().BeLessThan(0.05);
        scan.GetProperty("coveredShare").GetDouble().Should().BeGreaterThan(0.99);
        scan.GetProperty("plan").GetProperty("name").GetString().Should().Be("part-scan");
        made.Call("verify", run).ExitCode.Should().Be(0);
    }

    [Fact]
    public void With_a_ledger_the_outcome_is_an_event_that_names_the_addition()
    {
        var run = made.Copy(_folder["run"]);
        using (var story = LedgerStory.Begin(new LedgerPlace(_folder["ledger"])))
        {
            var entry = RunEntry.Of(run, "tom");
            story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
            story.Do("tom", LedgerEventKind.SourceReceived, entry.Source, "M-1/1");
            story.Do("tom", LedgerEventKind.Run, entry.Run, "M-1/1");
            foreach (var caution in entry.Run.Findings.Where(f => f.Severity == Severity.Caution))
                story.Do("quinn", LedgerEventKind.FindingAcknowledged, new FindingAcknowledgedBody(entry.Run.Run, caution.Code), "M-1/1", "looked at it");
            story.Do("quinn", LedgerEventKind.Review, new RunReferenceBody(entry.Run.Run), "M-1/1");
            story.Do("quinn", LedgerEventKind.Release, new RunReferenceBody(entry.Run.Run, new DateOnly(2036, 3, 2)), "M-1/1");
        }

        File.WriteAllText(_folder["pass"], LedgerStory.Passphrase);
        var scan = Write(PartAgainstModelTests.Corner(0).Moved(s_motion));
        (int ExitCode, string Output, string Errors) Inspect() => Call("scan", run, "--scan", scan, "--unit", "mm", "--ledger", _folder["ledger"], "--model", "M-1/1", "--as", "tina", "--passphrase-file", _folder["pass"]);
        var early = Inspect();
        early.ExitCode.Should().Be(1);
        early.Errors.Should().Contain("printed");
        Directory.Exists(Path.Combine(run, "additions")).Should().BeFalse("nothing is added that the ledger would refuse");
        made.Call("ledger", "print", "M-1/1", "--printer", "p-2", "--material", "resin", "--lot", "L1", "--ledger", _folder["ledger"], "--as", "tina", "--passphrase-file", _folder["pass"]).ExitCode.Should().Be(0);
        var inspected = Inspect();
        inspected.ExitCode.Should().Be(0, inspected.Errors);
        using var ledger = Ledger.Open(new LedgerPlace(_folder["ledger"]), TimeProvider.System, readOnly: true);
        ledger.Model("M-1/1")!.Stage.Should().Be(ModelStage.Inspected);
        var last = ledger.Event(ledger.Head().Size - 1)!.Content;
        last.Read<InspectionBody>().AdditionSha256.Should().Be(RecordVerifier.Verify(run, null, null, RunContext.Default).Additions.Single().Sha256);
    }

    private (int ExitCode, string Output, string Errors) Call(params string[] arguments) => made.Call(["inspect-print", .. arguments]);

    private static JsonElement Json(string output) => JsonDocument.Parse(output).RootElement;

    private static string[] Codes(JsonElement inspection) => [.. inspection.GetProperty("findings").EnumerateArray().Select(f => f.GetProperty("code").GetString()!)];

    private string FillIn(string run, Func<double, double> read, int perAxis = 3) => FillIn(run, (mm, _) => read(mm), perAxis);

    /// <summary>The sheet's CSV with a reading and a second 0.02 mm above for each distance.</summary>
    private string FillIn(string run, Func<double, char, double> read, int perAxis = 3)
    {
        var inspected = AnatomyPrep.App.Pipeline.Inspections.InspectedRun.Open(run, null, RunContext.Default);
        var lengths = inspected.Distances(perAxis, RunContext.Default).ToDictionary(d => d.Name, d => d.LengthMm);
        var rows = File.ReadAllLines(_folder["sheet.csv"]).Select((line, i) =>
        {
            var cells = line.Split(',');
            if (i > 0)
            {
                var mm = read(lengths[cells[1]], cells[1][0]);
                (cells[3], cells[4]) = ((mm - 0.01).ToString("F2", CultureInfo.InvariantCulture), (mm + 0.01).ToString("F2", CultureInfo.InvariantCulture));
            }

            return string.Join(',', cells);
        });
        var filled = _folder["filled.csv"];
        File.WriteAllLines(filled, rows);
        return filled;
    }

    private string Write(Mesh mesh)
    {
        var path = _folder["scan.stl"];
        StlFormat.Write(mesh, path, "", RunContext.Default);
        return path;
    }

    private static Mesh Below(Mesh mesh, double zMm)
    {
        var triangles = new List<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (Math.Max(mesh.Vertex(a).Z, Math.Max(mesh.Vertex(b).Z, mesh.Vertex(c).Z)) < zMm)
                triangles.AddRange([a, b, c]);
        }

        return new(mesh.OriginMm, mesh.PositionArray, [.. triangles]);
    }

    /// <summary>A finished run of a corner with three arms, made once.</summary>
    public sealed class MadeRun : IDisposable
    {
        private readonly TestFolder _folder = new();

        public MadeRun()
        {
            StlFormat.Write(PartAgainstModelTests.Corner(0), _folder["corner.stl"], "", RunContext.Default);
            File.WriteAllText(_folder["plan.yaml"], "plan: scan\nversion: 1\nsteps:\n  - orient\n");
            var run = Call("prepare", _folder["corner.stl"], "--plan", _folder["plan.yaml"], "--unit", "mm", "--out", _folder["run"], "--anatomy", "corner");
            run.ExitCode.Should().Be(0, run.Errors);
        }

        public (int ExitCode, string Output, string Errors) Call(params string[] arguments) => TestProgram.Run(_folder["home"], arguments);

        public string Copy(string to)
        {
            foreach (var file in Directory.GetFiles(_folder["run"], "*", SearchOption.AllDirectories))
            {
                var target = Path.Combine(to, Path.GetRelativePath(_folder["run"], file));
                Directory.CreateDirectory(Path.GetDirectoryName(target)!);
                File.Copy(file, target);
            }

            return to;
        }

        public void Dispose() => _folder.Dispose();
    }
}
