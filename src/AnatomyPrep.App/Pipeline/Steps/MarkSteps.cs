using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Marking;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that add what is not anatomy: text, a foot, something to hang from.</summary>
internal static class MarkSteps
{
    private const double FarMm = 10_000;

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        SurfaceStep.Shape("mark-text", "Raise a line of text from the surface, or sink it in.",
            [
                new("text", ParameterKind.Text, "Letters A to Z, digits, hyphen, point, slash and space"),
                new("heightMm", ParameterKind.Number, "Of a capital", 6.0, 1, 200),
                new("reliefMm", ParameterKind.Number, "How far the letters stand out or lie below, at least", 0.8, 0.1, 20),
                new("style", ParameterKind.Text, "Above or below the surface", "raised", Choices: ["raised", "sunk"]),
                new("strokeMm", ParameterKind.Number, "Thickness of the strokes; left out, a sixth of the height", null, 0.1, 60, Optional: true),
                new("placeMm", ParameterKind.Vector, "The middle goes to the surface point nearest to this, LPS; left out, the flattest place is found", Minimum: -FarMm, Maximum: FarMm, Optional: true),
                new("up", ParameterKind.Vector, "Where the top of the letters points; left out, towards the head", Optional: true),
                new("maxUnevenMm", ParameterKind.Number, "The surface below the text may rise and fall by this much", 2.0, 0.01, 50),
            ],
            (mesh, step, run) => MarkText.Apply(mesh, new(step.Text("text"), step.Number("heightMm"), step.Number("reliefMm"), step.Text("style") == "sunk", step.NumberOrNull("strokeMm"), step.VectorOrNull("placeMm"), step.VectorOrNull("up"), step.Number("maxUnevenMm")), run)),
        SurfaceStep.Shape("base-plate", "Join a flat foot to the model.",
            [
                new("down", ParameterKind.Vector, "Where the foot goes; left out, towards the feet", Optional: true),
                new("thicknessMm", ParameterKind.Number, "Of the plate", 3.0, 0.2, 200),
                new("marginMm", ParameterKind.Number, "How far it reaches beyond the model's outline", 2.0, 0, 500),
                new("sinkMm", ParameterKind.Number, "How deep the model's lowest point lies in it", 1.0, 0.05, 200),
                new("outline", ParameterKind.Text, "Of the plate", "rectangle", Choices: ["rectangle", "circle"]),
            ],
            (mesh, step, run) => BasePlate.Apply(mesh, new(step.VectorOrNull("down"), step.Number("thicknessMm"), step.Number("marginMm"), step.Number("sinkMm"), step.Text("outline") == "circle" ? PlateOutline.Circle : PlateOutline.Rectangle), run)),
        SurfaceStep.Shape("hanging-hole", "Give the model a ring or a hole to hang from.",
            [
                new("style", ParameterKind.Text, "A ring on the highest point, or a hole below it", "ring", Choices: ["ring", "hole"]),
                new("diameterMm", ParameterKind.Number, "Of the opening", 4.0, 0.5, 100),
                new("wallMm", ParameterKind.Number, "Thickness of the ring, or material above the hole", 2.0, 0.3, 100),
                new("up", ParameterKind.Vector, "Which end hangs; left out, the head", Optional: true),
                new("along", ParameterKind.Vector, "Where the opening's axis points; left out, from front to back", Optional: true),
                new("placeMm", ParameterKind.Vector, "Hole: its axis passes through this point instead, LPS", Minimum: -FarMm, Maximum: FarMm, Optional: true),
            ],
            (mesh, step, run) => HangingHole.Apply(mesh, new(step.Text("style") == "hole" ? HangingStyle.Hole : HangingStyle.Ring, step.Number("diameterMm"), step.Number("wallMm"), step.VectorOrNull("up"), step.VectorOrNull("along"), step.VectorOrNull("placeMm")), run)),
    ];
}
