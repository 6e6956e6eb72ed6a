using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records;

/// <summary>A small run with every field of a record filled in. Persons, sites and numbers are invented.</summary>
internal static class SampleRun
{
    public const string PlanText = "plan: bone\nversion: 1\nsteps:\n  - threshold: { lowHu: 226, highHu: 3071 }\n  - surface: { levelHu: 226 }\n";

    public static readonly DateTimeOffset Start = new(2026, 3, 2, 8, 15, 0, 250, TimeSpan.Zero);

    public static readonly string[] SourceTexts = ["slice 1", "slice 2", "slice 3"];

    public static RunFacts Facts() => new()
    {
        Request = new RunRequest(Purpose.Education, "skull", 1, Side.Both, "dept-anatomy-07", new DateOnly(2026, 3, 20)),
        Source = new SourceFacts
        {
            Kind = SourceKind.CtSeries,
            Files = [.. SourceTexts.Select(t => new FileFacts(Sha256(t), t.Length))],
            Series = new SeriesFacts
            {
                Modality = "CT",
                Rows = 512,
                Columns = 512,
                Slices = 3,
                SpacingMm = [0.48828125, 0.48828125],
                SliceSpacingMm = 0.625,
                TiltDeg = -14,
                Orientation = "LPS",
                TransferSyntax = "1.2.840.10008.1.2.1",
                MinHu = -1024,
                MaxHu = 3071,
            },
            Pseudonyms = new SourcePseudonyms(Sha256("study"), Sha256("series"), Sha256("frame"), Sha256("patient")),
        },
        Plan = new PlanFacts("bone", "1", PlanText),
        Software = new SoftwareFacts(
            "AnatomyPrep", "0.1.0", ".NET 10.0.1", "Debian GNU/Linux 12", [new PackageFacts("SkiaSharp", "4.155.0")], "631981a"),
        Steps =
        [
            StepFacts.Of(
                new PlanStep("threshold", new Dictionary<string, object?>
                {
                    ["lowHu"] = 226.0,
                    ["highHu"] = 3071,
                    ["fillHoles"] = false,
                    ["mode"] = "window",
                    ["seedMm"] = new Vec3(1.5, -2, 1e-7),
                    ["keep"] = new List<object> { 1, 2 },
                    ["unused"] = null,
                }),
                Stage.Segment,
                StepEffect.None),
            StepFacts.Of(
                new PlanStep("fragments", new Dictionary<string, object?> { ["smallestMm3"] = 250.0 }),
                Stage.Repair,
                new StepEffect(12.5, 0, 0, 510000.25, 509987.75, new Dictionary<string, double> { ["removedPieces"] = 7 })),
        ],
        Findings =
        [
            new Finding(FindingCodes.GantryTilt, Severity.Note, "The gantry was tilted by -14.000 degrees.", "Nothing to do: positions are used as they are."),
            new Finding(
                FindingCodes.BodyCutAtBorder,
                Severity.Caution,
                "The body leaves the images; the cut is closed with 1520 mm².",
                "Check that the part asked for is whole.",
                new Place(Slice: 3, PositionMm: new Vec3(-12.25, 40, 7.5), FirstTriangle: 100, TriangleCount: 25)),
        ],
        Measurements = new Measurements
        {
            Mesh = new MeshFacts
            {
                Vertices = 250_002,
                Triangles = 500_000,
                Components = 1,
                BoundaryLoops = 0,
                NonManifoldEdges = 0,
                NonManifoldVertices = 0,
                SelfIntersections = 0,
                ConsistentOrientation = true,
                OutwardOrientation = true,
                Watertight = true,
                Solid = true,
                Genus = 12,
                VolumeMm3 = 509987.75,
                AreaMm2 = 201234.5,
                BoundsMm = new Box3(new Vec3(-80.5, -95, 0), new Vec3(80.5, 95, 140.25)),
            },
            Origins = [new OriginShare(Origin.Measured, 199714.5, 0.99244662), new OriginShare(Origin.Cut, 1520, 0.00755338)],
            Further = new Dictionary<string, double> { ["deviationMeanMm"] = 0.0125, ["deviationP95Mm"] = 0.041 },
        },
        StartedAt = Start,
        FinishedAt = Start.AddSeconds(42.5),
    };

    /// <summary>One of each kind, and a point that lies on no surface.</summary>
    public static LandmarkMeasurements Landmarks() => new()
    {
        ToleranceMm = 0.5,
        SliceThicknessMm = 1.25,
        Points =
        [
            new("left", new(51, 0, 0), 1, 1.1, new(50, 0, 0), new(49.9, 0, 0)), new("right", new(-51, 0, 0), 1, 1, new(-50, 0, 0), new(-50, 0, 0)),
            new("top", new(0, 0, 50), 0, 0, new(0, 0, 50), new(0, 0, 50)), new("front", new(0, -50, 0), 0, 0, new(0, -50, 0), new(0, -50, 0)), new("lost", new(0, 0, 0), 50, 50),
        ],
        Distances = [new("left", "right", 100, 99.9, -0.1, 0.204, 0, 0.001, 0.204, 0.408)],
        Angles = [new("left", "top", "right", 90, 89.94, -0.06, 0.117, 0, 0.507, 0.52, 1.04)],
        Handedness = new(["left", "right", "top", "front"], 41666.7, -41630.5, 520.3, true),
    };

    /// <summary>As little as a record may hold.</summary>
    public static RunFacts SmallFacts() => Facts() with
    {
        Request = new RunRequest(Purpose.Planning, "mandible", 0.5),
        Source = new SourceFacts
        {
            Kind = SourceKind.Mesh,
            Files = [new FileFacts(Sha256("scan"), 4)],
            Scan = new ScanFacts("stl", "mm", 10, 16),
        },
        Plan = new PlanFacts("p", "1", "plan: p"),
        Software = new SoftwareFacts("AnatomyPrep", "0.1.0", "-", "-", []),
        Steps = [],
        Findings = [],
        Measurements = Facts().Measurements with { Origins = [], Further = null },
    };

    /// <summary>A finished folder with small stand-ins for the artifacts.</summary>
    public static RunStatement Write(string folder, SigningKey key, RunFacts? facts = null)
    {
        Directory.CreateDirectory(Path.Combine(folder, "sections"));
        File.WriteAllBytes(Path.Combine(folder, "model.stl"), [.. Encoding.ASCII.GetBytes("stands for a model").Concat(new byte[20])]);
        File.WriteAllText(Path.Combine(folder, "report.pdf"), "%PDF stands for a report");
        File.WriteAllText(Path.Combine(folder, "preview.png"), "stands for a picture");
        File.WriteAllText(Path.Combine(folder, "sections/axial.png"), "stands for a section");
        File.WriteAllText(Path.Combine(folder, "empty.txt"), "");
        return RecordWriter.Write(folder, facts ?? Facts(), key, RunContext.Default);
    }

    public static string Sha256(string text) => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)));
}
