using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that place or change a surface.</summary>
internal static class ShapeSteps
{
    private const double FarMm = 10_000;

    private static readonly ParameterSpec s_pointMm = new("pointMm", ParameterKind.Vector, "A point of the plane, LPS", Minimum: -FarMm, Maximum: FarMm);

    private static readonly ParameterSpec s_normal = new("normal", ParameterKind.Vector, "Direction at right angles to the plane, any length");

    private static readonly ParameterSpec[] s_pins =
    [
        new("maxDisplacementMm", ParameterKind.Number, "No vertex ends farther than this from where it was", null, 0.001, 100, Optional: true),
        new("pinBorder", ParameterKind.Flag, "Border vertices stay", true),
        new("pinRims", ParameterKind.Flag, "Vertices between triangles of different origin stay", true),
    ];

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        SurfaceStep.Shape("smooth", "Remove noise and voxel steps while the volume stays.",
            [
                new("passes", ParameterKind.Integer, "Passes inward and outward", 10, 1, 1000),
                new("lambda", ParameterKind.Number, "Share of the way to the neighbours' mean", 0.33, 0.01, 0.99),
                new("mu", ParameterKind.Number, "Share of the way back; a little larger than lambda, negative", -0.34, -0.99, -0.01),
                .. s_pins,
            ],
            (mesh, step, run) => Smooth.Apply(mesh, new(step.Integer("passes"), step.Number("lambda"), step.Number("mu"), step.NumberOrNull("maxDisplacementMm"), step.Flag("pinBorder"), step.Flag("pinRims")), run)),
        SurfaceStep.Shape("smooth-features", "Remove noise while sutures, rims and teeth keep their edges.",
            [
                new("normalRounds", ParameterKind.Integer, "Rounds of filtering the triangles' directions", 8, 1, 200),
                new("vertexRounds", ParameterKind.Integer, "Rounds of moving the vertices", 12, 1, 200),
                new("featureAngleDeg", ParameterKind.Number, "Bends well above this are edges", 25.0, 1, 90),
                .. s_pins,
            ],
            (mesh, step, run) => SmoothFeatures.Apply(mesh, new(step.Integer("normalRounds"), step.Integer("vertexRounds"), step.Number("featureAngleDeg"), step.NumberOrNull("maxDisplacementMm"), step.Flag("pinBorder"), step.Flag("pinRims")), run)),
        SurfaceStep.Shape("simplify", "Use fewer triangles, within a stated distance.",
            [
                new("triangles", ParameterKind.Integer, "Stop at so many triangles", null, 4, int.MaxValue, Optional: true),
                new("keepShare", ParameterKind.Number, "Stop at this share of the triangles", null, 0.001, 1, Optional: true),
                new("maxDistanceMm", ParameterKind.Number, "Neither surface lies farther than this from the other", null, 0.0001, 100, Optional: true),
                new("pinBorder", ParameterKind.Flag, "Border vertices stay", true),
                new("pinRims", ParameterKind.Flag, "Vertices between triangles of different origin stay", true),
            ],
            (mesh, step, run) => Simplify.Apply(mesh, new(step.Has("triangles") ? step.Integer("triangles") : null, step.NumberOrNull("keepShare"), step.NumberOrNull("maxDistanceMm"), step.Flag("pinBorder"), step.Flag("pinRims")), run)),
        SurfaceStep.Shape("remesh", "The same surface in even triangles of a stated size.",
            [
                new("targetEdgeMm", ParameterKind.Number, "Length that edges shall have; most end between 4/5 and 4/3 of it", null, 0.01, 100),
                new("maxDistanceMm", ParameterKind.Number, "Neither surface lies farther than this from the other", null, 0.0001, 100, Optional: true),
                new("featureAngleDeg", ParameterKind.Number, "Edges where the surface bends by more are kept; 180 keeps none", 50.0, 1, 180),
                new("rounds", ParameterKind.Integer, "Rounds of splitting, collapsing, flipping and relaxing", 6, 1, 50),
                new("pinBorder", ParameterKind.Flag, "Border vertices stay", true),
                new("pinRims", ParameterKind.Flag, "Vertices between triangles of different origin stay", true),
            ],
            (mesh, step, run) => Remesh.Apply(mesh, new(step.Number("targetEdgeMm"), step.NumberOrNull("maxDistanceMm"), step.Number("featureAngleDeg"), step.Integer("rounds"), step.Flag("pinBorder"), step.Flag("pinRims")), run)),
        SurfaceStep.Shape("cut", "Cut with a plane and keep one side.",
            [
                s_pointMm,
                s_normal,
                new("keep", ParameterKind.Text, "front is the side the normal points to", "front", Choices: ["front", "back"]),
                new("cap", ParameterKind.Flag, "Close the cut flat", true),
            ],
            (mesh, step, run) => Cut.Apply(mesh, new(step.Vector("pointMm"), step.Vector("normal"), step.Text("keep") == "front" ? CutKeep.Front : CutKeep.Back, step.Flag("cap")), run)),
        SurfaceStep.Shape("trim", "Take a length off one end, flat.",
            [
                new("direction", ParameterKind.Vector, "Towards the end that goes, any length; 0, 0, -1 is towards the feet"),
                new("lengthMm", ParameterKind.Number, "How much goes, from the farthest point in that direction", null, 0.01, FarMm),
                new("cap", ParameterKind.Flag, "Close the cut flat", true),
            ],
            (mesh, step, run) => Trim.Apply(mesh, new(step.Vector("direction"), step.Number("lengthMm"), step.Flag("cap")), run)),
        SurfaceStep.Shape("cut-box", "Keep what lies in a box, or what lies outside of it.",
            [
                new("minMm", ParameterKind.Vector, "Corner with the smallest coordinates, LPS", Minimum: -FarMm, Maximum: FarMm),
                new("maxMm", ParameterKind.Vector, "Corner with the largest coordinates, LPS", Minimum: -FarMm, Maximum: FarMm),
                Zone("inside"),
                new("cap", ParameterKind.Flag, "Close the cuts flat (inside only)", true),
            ],
            (mesh, step, run) => CutBox.Apply(mesh, new(step.Vector("minMm"), step.Vector("maxMm"), KeepOf(step), step.Flag("cap")), run)),
        SurfaceStep.Shape("cut-sphere", "Keep the triangles in a ball, or those outside of it; the result is open.",
            [
                new("centerMm", ParameterKind.Vector, "Centre of the ball, LPS", Minimum: -FarMm, Maximum: FarMm),
                new("radiusMm", ParameterKind.Number, "Radius of the ball", null, 0.01, FarMm),
                Zone("inside"),
            ],
            (mesh, step, run) => CutSphere.Apply(mesh, new(step.Vector("centerMm"), step.Number("radiusMm"), KeepOf(step)), run)),
        SurfaceStep.Shape("cut-lasso", "Keep or remove what lies behind a line drawn on the screen; the result is open.",
            [
                new("polygon", ParameterKind.List, "x and y in turn, -1 to 1, y up", Minimum: -100, Maximum: 100, Item: ParameterKind.Number),
                new("clipFromPatient", ParameterKind.List, "The view: 16 numbers, row by row, from LPS mm to clip coordinates", Item: ParameterKind.Number),
                Zone("outside"),
            ],
            (mesh, step, run) => CutLasso.Apply(mesh, new([.. step.List("polygon").Cast<double>()], [.. step.List("clipFromPatient").Cast<double>()], KeepOf(step)), run)),
        SurfaceStep.Moving(SurfaceStep.Shape("mirror", "Mirror in a plane. Left becomes right.",
            [s_pointMm, s_normal],
            (mesh, step, run) => Mirror.Apply(mesh, new(step.Vector("pointMm"), step.Vector("normal")), run))),
        SurfaceStep.Moving(SurfaceStep.Shape("scale", "Scale evenly, by a factor or to a height.",
            [
                new("factor", ParameterKind.Number, "Model size over true size", null, 0.001, 1000, Optional: true),
                new("targetHeightMm", ParameterKind.Number, "Extent along the axis afterwards", null, 0.01, FarMm, Optional: true),
                new("axis", ParameterKind.Vector, "Direction of the height; left out, towards the head", Optional: true),
            ],
            (mesh, step, run) => Scale.Apply(mesh, new(step.NumberOrNull("factor"), step.NumberOrNull("targetHeightMm"), step.VectorOrNull("axis")), run))),
        SurfaceStep.Moving(SurfaceStep.Shape("move", "Move.",
            [new("byMm", ParameterKind.Vector, "How far, LPS", Minimum: -FarMm, Maximum: FarMm)],
            (mesh, step, run) => Move.Apply(mesh, new(step.Vector("byMm")), run))),
        SurfaceStep.Moving(SurfaceStep.Shape("rotate", "Turn about an axis through the model's centre or a point.",
            [
                new("axis", ParameterKind.Vector, "Direction of the axis"),
                new("angleDeg", ParameterKind.Number, "Right-handed", null, -360, 360),
                new("aboutMm", ParameterKind.Vector, "A point of the axis; left out, the centre of the bounds", Minimum: -FarMm, Maximum: FarMm, Optional: true),
            ],
            (mesh, step, run) => Rotate.Apply(mesh, new(step.Vector("axis"), step.Number("angleDeg"), step.VectorOrNull("aboutMm")), run))),
        SurfaceStep.Moving(SurfaceStep.Shape("align-to-plane", "Bring a plane of the model onto the bed plane (z = 0, facing up) by the smallest turn.",
            [s_pointMm, s_normal],
            (mesh, step, run) => AlignToPlane.Apply(mesh, new(step.Vector("pointMm"), step.Vector("normal")), run))),
        SurfaceStep.Moving(SurfaceStep.Shape("align-landmarks", "Move and turn so that landmarks come nearest to given places; never scales, never mirrors.",
            [
                new("landmarksMm", ParameterKind.List, "Points on the model, LPS", Minimum: -FarMm, Maximum: FarMm, Item: ParameterKind.Vector),
                new("targetsMm", ParameterKind.List, "Where they belong, pair by pair", Minimum: -FarMm, Maximum: FarMm, Item: ParameterKind.Vector),
            ],
            (mesh, step, run) => AlignLandmarks.Apply(mesh, new([.. step.List("landmarksMm").Cast<Vec3>()], [.. step.List("targetsMm").Cast<Vec3>()]), run))),
        SurfaceStep.Moving(SurfaceStep.Shape("place-on-bed", "Set the lowest point on the bed.",
            [
                new("bedHeightMm", ParameterKind.Number, "Height of the bed", 0.0, -FarMm, FarMm),
                new("center", ParameterKind.Flag, "Centre it over the origin", true),
            ],
            (mesh, step, run) => PlaceOnBed.Apply(mesh, new(step.Number("bedHeightMm"), step.Flag("center")), run))),
        SurfaceStep.Shape("orient", "Bring the two sides of the surface into order, outward.",
            [
                new("nested", ParameterKind.Text, "What a shell inside a shell is", "as-found", Choices: ["as-found", "cavities", "solids"]),
                new("flip", ParameterKind.Flag, "Turn everything over at the end", false),
            ],
            (mesh, step, run) => Orient.Apply(mesh, new(Nested: step.Text("nested") switch { "cavities" => NestedShells.Cavities, "solids" => NestedShells.Solids, _ => NestedShells.AsFound }, Flip: step.Flag("flip")), run)),
    ];

    private static ParameterSpec Zone(string usual) => new("keep", ParameterKind.Text, "Which side stays", usual, Choices: ["inside", "outside"]);

    private static ZoneKeep KeepOf(PlanStep step) => step.Text("keep") == "inside" ? ZoneKeep.Inside : ZoneKeep.Outside;
}
