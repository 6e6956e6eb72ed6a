using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that mend a surface.</summary>
internal static class RepairSteps
{
    private const double FarMm = 10_000;

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        SurfaceStep.Repair("clean-scan", "Make a scanned surface whole: tags, degenerates, topology, crossings, holes and sides, repeated until nothing changes.",
            [
                new("looseTriangles", ParameterKind.Integer, "Open pieces of at most so many triangles go; 0 keeps them", 12, 0, 1_000_000),
                new("peninsulaTriangles", ParameterKind.Integer, "Peninsulas up to twice so many triangles wide go; 0 keeps them", 1, 0, 100),
                new("spikeRatio", ParameterKind.Number, "Height over width of a spike; 0 keeps them", 1.5, 0, 100),
                new("fillHoles", ParameterKind.Flag, "Fill holes within the limits below", true),
                new("maxEdges", ParameterKind.Integer, "Leave holes with more border edges open; 0 means no limit", 0, 0, int.MaxValue),
                new("maxDiameterMm", ParameterKind.Number, "Leave wider holes open; 0 means no limit", 0.0, 0, FarMm),
                new("maxAreaMm2", ParameterKind.Number, "Leave larger holes open; 0 means no limit", 0.0, 0, 1e9),
                new("leaveOuterBorder", ParameterKind.Flag, "Leave the outer border of an open sheet alone", true),
                Method,
                new("openWhatCrosses", ParameterKind.Flag, "Where nothing parts a crossing, leave a hole instead", true),
                new("dropHidden", ParameterKind.Flag, "Drop closed pieces that lie in the material of another one", true),
            ],
            (mesh, step, run) => CleanScan.Apply(mesh, CleanOf(step), run)),
        SurfaceStep.Repair("drop-fragments", "Drop whole pieces of the surface that are too small, and fill voids that are.",
            [
                new("keepLargest", ParameterKind.Integer, "How many pieces to keep, by area; 0 means all", 0, 0, 1_000_000),
                new("minAreaMm2", ParameterKind.Number, "Drop pieces with less surface", 0.0, 0, 1e9),
                new("minVolumeMm3", ParameterKind.Number, "Drop closed pieces with less volume", 0.0, 0, 1e9),
                new("minTriangles", ParameterKind.Integer, "Drop pieces with fewer triangles", 0, 0, int.MaxValue),
                new("minVoidMm3", ParameterKind.Number, "Fill voids inside a piece that are smaller than this", 0.0, 0, 1e9),
                new("fillAllVoids", ParameterKind.Flag, "Fill every void inside a piece", false),
                new("minAreaShare", ParameterKind.Number, "Drop pieces with less than this share of the largest one's surface", 0.0, 0, 1),
            ],
            (mesh, step, run) => DropFragments.Apply(mesh, new(step.Integer("keepLargest"), step.Number("minAreaMm2"), step.Number("minVolumeMm3"), step.Integer("minTriangles"), step.Number("minVoidMm3"), step.Flag("fillAllVoids"), step.Number("minAreaShare")), run)),
        SurfaceStep.Repair("remove-degenerates", "Remove triangles without area, without opening the surface.",
            [new("minHeightMm", ParameterKind.Number, "A triangle no higher than this has no area; left out, four steps of a float32", null, 0, 1, Optional: true)],
            (mesh, step, run) => RemoveDegenerates.Apply(mesh, new(step.NumberOrNull("minHeightMm")), run)),
        SurfaceStep.Repair("remove-duplicates", "Remove triangles that lie twice on the same three vertices, without opening the surface.", [],
            (mesh, _, run) => RemoveDuplicates.Apply(mesh, new(), run)),
        SurfaceStep.Repair("remove-loose-vertices", "Remove vertices that no triangle uses.", [],
            (mesh, _, run) => RemoveIsolatedVertices.Apply(mesh, new(), run)),
        SurfaceStep.Repair("remove-tags", "Remove loose tags, thin peninsulas at the border, and spikes.",
            [
                new("looseTriangles", ParameterKind.Integer, "Open pieces of at most so many triangles go; 0 keeps them", 12, 0, 1_000_000),
                new("peninsulaTriangles", ParameterKind.Integer, "Peninsulas up to twice so many triangles wide go; 0 keeps them", 1, 0, 100),
                new("spikeRatio", ParameterKind.Number, "Height over width of a spike; 0 keeps them", 2.0, 0, 100),
            ],
            (mesh, step, run) => RemoveTags.Apply(mesh, new(step.Integer("looseTriangles"), step.Integer("peninsulaTriangles"), step.Number("spikeRatio")), run)),
        SurfaceStep.Repair("remove-patch", "Remove, or keep alone, the surface that hangs together with a place, as far as it bends little.",
            [
                Point("seedMm", "The patch begins at the triangle nearest to this point, LPS"),
                new("angleDeg", ParameterKind.Number, "Largest bend from one triangle to the next; 180 takes the whole piece", 30.0, 0, 180),
                new("againstSeed", ParameterKind.Flag, "Measure the bend from the first triangle: a face, not a slowly turning surface", false),
                new("reachMm", ParameterKind.Number, "No farther from the point than this", FarMm, 0.01, FarMm),
                new("keep", ParameterKind.Flag, "Keep the patch and remove the rest", false),
            ],
            (mesh, step, run) => RemoveSelection.Apply(mesh, new(new(step.Vector("seedMm"), step.Number("angleDeg"), step.Flag("againstSeed"), step.Number("reachMm")), step.Flag("keep")), run)),
        SurfaceStep.Repair("fix-topology", "Make a two-manifold, consistently oriented surface, by parting it where it is none.",
            [
                new("orient", ParameterKind.Flag, "Turn patches that face the other way", true),
                new("splitEdges", ParameterKind.Flag, "Part the surface at edges with more than two triangles", true),
                new("splitVertices", ParameterKind.Flag, "Part the surface at vertices where sheets only touch", true),
            ],
            (mesh, step, run) => FixTopology.Apply(mesh, new(step.Flag("orient"), step.Flag("splitEdges"), step.Flag("splitVertices")), run)),
        SurfaceStep.Repair("remove-crossings", "Part triangles of one piece that cross, overlap or touch each other, changing as little as does it.",
            [
                new("maxRounds", ParameterKind.Integer, "Passes over all places", 20, 0, 1000),
                new("openWhatStays", ParameterKind.Flag, "Where nothing parts a crossing, leave a hole instead", false),
            ],
            (mesh, step, run) => RemoveSelfIntersections.Apply(mesh, new(step.Integer("maxRounds"), step.Flag("openWhatStays")), run)),
        SurfaceStep.Repair("orient-outward", "Turn whole pieces so that they face away from the material.",
            [new("dropHidden", ParameterKind.Flag, "Drop closed pieces that lie in the material of another one", true)],
            (mesh, step, run) => OrientOutward.Apply(mesh, new(step.Flag("dropHidden")), run)),
        SurfaceStep.Repair("fill-holes", "Close holes with triangles of origin filled; nothing that was there moves.",
            [
                new("maxEdges", ParameterKind.Integer, "Leave holes with more border edges open; 0 means no limit", 0, 0, int.MaxValue),
                new("maxDiameterMm", ParameterKind.Number, "Leave wider holes open; 0 means no limit", 0.0, 0, FarMm),
                new("maxAreaMm2", ParameterKind.Number, "Leave larger holes open; 0 means no limit", 0.0, 0, 1e9),
                new("holes", ParameterKind.List, "Fill these holes and no others, by the numbers that check lists", Minimum: 0, Optional: true, Item: ParameterKind.Integer),
                new("leaveOuterBorder", ParameterKind.Flag, "Leave the outer border of an open sheet alone", true),
                Method,
            ],
            (mesh, step, run) => FillHoles.Apply(mesh, new(step.Integer("maxEdges"), step.Number("maxDiameterMm"), step.Number("maxAreaMm2"), step.Has("holes") ? [.. step.List("holes").Cast<int>()] : null, step.Flag("leaveOuterBorder"), MethodOf(step)), run)),
        SurfaceStep.Repair("fill-stretch", "Fill a border from here to there; the rest of it stays open.",
            [
                Point("fromMm", "Begins at the border vertex nearest to this point, LPS"),
                Point("toMm", "Ends at the vertex of the same border nearest to this point, LPS"),
                new("longerWay", ParameterKind.Flag, "Take the longer way along the border", false),
                Method,
            ],
            (mesh, step, run) => FillStretch.Apply(mesh, new(step.Vector("fromMm"), step.Vector("toMm"), step.Flag("longerWay"), MethodOf(step)), run)),
        SurfaceStep.Repair("bridge", "Lay a strip from one border to another, across a gap.",
            [
                Point("fromMm", "Begins at the border edge nearest to this point, LPS"),
                Point("toMm", "Ends at the border edge nearest to this point, LPS"),
                new("rows", ParameterKind.Integer, "Rows of triangles; 0 chooses by edge length", 0, 0, 10_000),
                new("straight", ParameterKind.Flag, "Straight instead of continuing both sheets without a bend", false),
            ],
            (mesh, step, run) => Bridge.Apply(mesh, new(step.Vector("fromMm"), step.Vector("toMm"), Segments: step.Integer("rows"), Straight: step.Flag("straight")), run)),
    ];

    private static CleanScanParameters CleanOf(PlanStep step) => new(
        new(step.Integer("looseTriangles"), step.Integer("peninsulaTriangles"), step.Number("spikeRatio")),
        new(step.Integer("maxEdges"), step.Number("maxDiameterMm"), step.Number("maxAreaMm2"), LeaveOuterBorder: step.Flag("leaveOuterBorder"), Method: MethodOf(step)),
        step.Flag("fillHoles"),
        step.Flag("openWhatCrosses"),
        step.Flag("dropHidden"));

    private static ParameterSpec Method => new("method", ParameterKind.Text, "smooth continues the surrounding curvature, flat is the least area", "smooth", Choices: ["smooth", "flat"]);

    private static FillMethod MethodOf(PlanStep step) => step.Text("method") == "smooth" ? FillMethod.Smooth : FillMethod.Flat;

    private static ParameterSpec Point(string name, string description) => new(name, ParameterKind.Vector, description, Minimum: -FarMm, Maximum: FarMm);
}
