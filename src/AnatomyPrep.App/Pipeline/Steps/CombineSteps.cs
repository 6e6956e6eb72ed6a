using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that combine solids.</summary>
internal static class CombineSteps
{
    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        Step("unite-pieces", "Unite all closed pieces of the model that overlap.", [],
            (state, step, run) => UnitePieces.Apply(state.Surface(step.Name), run)),
        TwoSolids("union", "Join another solid to the model.", Combine.Union),
        TwoSolids("difference", "Take another solid away from the model.", Combine.Difference),
        TwoSolids("intersection", "Keep what the model has in common with another solid.", Combine.Intersection),
    ];

    private static (StepSpec, StepFunction) TwoSolids(string name, string description, Func<Mesh, Mesh, RunContext, ShapeResult> apply) =>
        Step(
            name,
            description,
            [new("with", ParameterKind.Text, "Name of the other solid, given with --part NAME=FILE")],
            (state, step, run) => apply(state.Surface(step.Name), state.Part(step.Text("with"), step.Name), run));

    private static (StepSpec, StepFunction) Step(string name, string description, ParameterSpec[] parameters, Func<PipelineState, PlanStep, RunContext, ShapeResult> apply) =>
        (new StepSpec(name, Stage.Shape, description, parameters), (state, step, run) =>
        {
            var result = apply(state, step, run);
            state.Mesh = result.Mesh;
            return new(result.Effect, result.Findings);
        }
    );
}
