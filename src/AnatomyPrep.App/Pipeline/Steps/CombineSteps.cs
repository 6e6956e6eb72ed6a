using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that combine solids.</summary>
internal static class CombineSteps
{
    private const double FarMm = 10_000;

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        SurfaceStep.Shape("unite-pieces", "Unite all closed pieces of the model that overlap.", [],
            (state, step, run) => UnitePieces.Apply(state.Surface(step.Name), run)),
        TwoSolids("union", "Join another solid to the model.", Combine.Union),
        TwoSolids("difference", "Take another solid away from the model.", Combine.Difference),
        TwoSolids("intersection", "Keep what the model has in common with another solid.", Combine.Intersection),
        SurfaceStep.Shape("blend-seam", "Smooth the seam that a union or difference leaves.",
            [
                new("widthMm", ParameterKind.Number, "Nothing farther than this from the seam moves", 2.0, 0.05, 100),
                new("with", ParameterKind.Text, "Name of the solid that was combined; left out, the seam is where triangles of different origin meet", Optional: true),
            ],
            (state, step, run) => BlendSeam.Apply(state.Surface(step.Name), new(step.Number("widthMm"), step.Has("with") ? state.Part(step.Text("with"), step.Name) : null), run)),
        SurfaceStep.Shape("drain", "Drill holes through the wall of a hollow model.",
            [
                new("diameterMm", ParameterKind.Number, "Of every hole", 4.0, 0.2, 100),
                new("placesMm", ParameterKind.List, "A hole at the outer surface nearest to each point, LPS; left out, at the lowest place of every void", Minimum: -FarMm, Maximum: FarMm, Optional: true, Item: ParameterKind.Vector),
                new("direction", ParameterKind.Vector, "Where down is, for holes without a place; left out, towards the feet", Optional: true),
                new("vent", ParameterKind.Flag, "Without places: a second hole at the highest place of every void", false),
                new("maxWallMm", ParameterKind.Number, "No hole is longer than this", 30.0, 0.1, 1000),
            ],
            (state, step, run) => Drain.Apply(state.Surface(step.Name), new(step.Number("diameterMm"), step.Has("placesMm") ? [.. step.List("placesMm").Cast<Vec3>()] : null, step.VectorOrNull("direction"), step.Flag("vent"), step.Number("maxWallMm")), run)),
        SurfaceStep.Moving(SurfaceStep.Shape("cut-into-parts", "Cut with a plane into two parts that fit together by pegs and sockets.",
            [
                new("pointMm", ParameterKind.Vector, "A point of the plane, LPS", Minimum: -FarMm, Maximum: FarMm),
                new("normal", ParameterKind.Vector, "At right angles to the plane, towards the part that gets the pegs"),
                new("pegs", ParameterKind.Integer, "How many; 0 cuts only", 2, 0, 100),
                new("shape", ParameterKind.Text, "cone is narrower at its tip", "cylinder", Choices: ["cylinder", "cone"]),
                new("diameterMm", ParameterKind.Number, "Of a peg at its foot", 5.0, 0.5, 100),
                new("lengthMm", ParameterKind.Number, "Of a peg", 6.0, 0.5, 200),
                new("clearanceMm", ParameterKind.Number, "Gap between peg and socket", 0.2, 0, 5),
                new("minWallMm", ParameterKind.Number, "Material left around a socket", 1.5, 0, 100),
                new("keep", ParameterKind.Text, "both puts the parts side by side", "both", Choices: ["both", "front", "back"]),
                new("gapMm", ParameterKind.Number, "Between the parts side by side", 5.0, 0.1, 1000),
            ],
            CutParts)),
    ];

    private static ShapeResult CutParts(PipelineState state, PlanStep step, RunContext run)
    {
        var shape = step.Text("shape") == "cone" ? PegShape.Cone : PegShape.Cylinder;
        var parts = CutIntoParts.Apply(
            state.Surface(step.Name),
            new(step.Vector("pointMm"), step.Vector("normal"), step.Integer("pegs"), shape, step.Number("diameterMm"), step.Number("lengthMm"), step.Number("clearanceMm"), step.Number("minWallMm"), step.Number("gapMm")),
            run);
        return step.Text("keep") switch
        {
            "front" => Alone(parts.Front, "volumeFrontMm3"),
            "back" => Alone(parts.Back, "volumeBackMm3"),
            _ => parts.Together,
        };

        ShapeResult Alone(Mesh part, string volume)
        {
            var effect = parts.Together.Effect;
            return parts.Together with { Mesh = part, Effect = effect with { MaxDisplacementMm = 0, VolumeAfterMm3 = effect.Measures![volume] } };
        }
    }

    private static (StepSpec, StepFunction) TwoSolids(string name, string description, Func<Mesh, Mesh, RunContext, ShapeResult> apply) =>
        SurfaceStep.Shape(
            name,
            description,
            [new("with", ParameterKind.Text, "Name of the other solid, given with --part NAME=FILE")],
            (state, step, run) => apply(state.Surface(step.Name), state.Part(step.Text("with"), step.Name), run));
}
