using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Makes a step of an operation that puts a new surface in the place of the old one.</summary>
internal static class SurfaceStep
{
    public static (StepSpec, StepFunction) Repair(string name, string description, ParameterSpec[] parameters, Func<Mesh, PlanStep, RunContext, RepairResult> apply) =>
        (new StepSpec(name, Stage.Repair, description, parameters), (state, step, run) =>
        {
            var result = apply(state.Surface(step.Name), step, run);
            return Take(state, result.Mesh, result.Effect, result.Findings);
        }
    );

    public static (StepSpec, StepFunction) Shape(string name, string description, ParameterSpec[] parameters, Func<Mesh, PlanStep, RunContext, ShapeResult> apply) =>
        Shape(name, description, parameters, (state, step, run) => apply(state.Surface(step.Name), step, run));

    /// <summary>As the other, for operations that need more than the surface.</summary>
    public static (StepSpec, StepFunction) Shape(string name, string description, ParameterSpec[] parameters, Func<PipelineState, PlanStep, RunContext, ShapeResult> apply) =>
        (new StepSpec(name, Stage.Shape, description, parameters), (state, step, run) =>
        {
            var result = apply(state, step, run);
            return Take(state, result.Mesh, result.Effect, result.Findings);
        }
    );

    /// <summary>The same step, marked as one after which the model lies elsewhere than its source.</summary>
    public static (StepSpec, StepFunction) Moving((StepSpec Spec, StepFunction Run) step) => (step.Spec with { MovesModel = true }, step.Run);

    private static StepOutcome Take(PipelineState state, Mesh mesh, StepEffect effect, IReadOnlyList<Finding> findings)
    {
        state.Mesh = mesh;
        return new(effect, findings);
    }
}
