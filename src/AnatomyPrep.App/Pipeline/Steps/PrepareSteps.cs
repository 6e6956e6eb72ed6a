using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that make a model ready for the machine.</summary>
internal static class PrepareSteps
{
    private const double FarMm = 10_000;

    private static readonly ParameterSpec s_profile = new(
        "profile", ParameterKind.Text, "Process profile; left out, that of the plan or of --profile, else extrusion", Choices: ProfileLibrary.Names, Optional: true);

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        SurfaceStep.Moving((new StepSpec("lay", Stage.Prepare, "Turn the model so that it needs little support, away from what matters, and set it on the bed. It leaves patient space.",
            [
                s_profile,
                new("up", ParameterKind.Vector, "This direction of the model shall point up; left out, the best one is searched for", Optional: true),
                new("keepFreeMm", ParameterKind.List, "Surface around these points shall need no support, LPS", Minimum: -FarMm, Maximum: FarMm, Optional: true, Item: ParameterKind.Vector),
                new("keepFreeRadiusMm", ParameterKind.Number, "How far around them", 15.0, 0.1, 500),
                new("directions", ParameterKind.Integer, "How many directions the search begins with", 200, 20, 5000),
            ]), DoLay)),
        SurfaceStep.Moving((new StepSpec("compensate-shrink", Stage.Prepare, "Make the model larger by what the material shrinks along x, y and z. After lay.", [s_profile]),
            (state, step, run) => Take(state, CompensateShrink.Apply(state.Surface(step.Name), Profile(state, step), run)))),
        SurfaceStep.Moving((new StepSpec("fit-plate", Stage.Prepare, "Put separate parts side by side on the plate, none over another.",
            [s_profile, new("gapMm", ParameterKind.Number, "Between parts", 5.0, 0, 200)]),
            (state, step, run) => Take(state, FitPlate.Apply(state.Surface(step.Name), Profile(state, step), step.Number("gapMm"), run)))),
        (new StepSpec("check-print", Stage.Prepare, "Look for what may go wrong when the model is printed as it lies, with z up, and estimate time and cost. Changes nothing.",
            [
                s_profile,
                new("tryDrains", ParameterKind.Flag, "Bore proposed drain holes in a copy, to be sure that they open", true),
            ]), Check),
    ];

    private static StepOutcome DoLay(PipelineState state, PlanStep step, RunContext run)
    {
        var mesh = state.Surface(step.Name);
        var profile = Profile(state, step);
        var (result, search) = Lay.Apply(
            mesh,
            new(profile, step.VectorOrNull("up"), step.Has("keepFreeMm") ? [.. step.List("keepFreeMm").Cast<Vec3>()] : null, step.Number("keepFreeRadiusMm"), step.Integer("directions")),
            run);
        state.Laid = search is null ? null : new(mesh, search, profile);
        return Take(state, result);
    }

    private static StepOutcome Check(PipelineState state, PlanStep step, RunContext run)
    {
        var mesh = state.Surface(step.Name);
        var profile = Profile(state, step);
        var (report, maps) = PrintCheck.Run(mesh, new(profile, new(0, 0, 1), step.Flag("tryDrains")), run);
        state.Print = new(mesh, report, maps, profile, ModelPictures.AxesOf(state));
        return new(new StepEffect(Measures: report.Measures()), report.Findings);
    }

    private static PrintProfile Profile(PipelineState state, PlanStep step) =>
        step.Has("profile") ? ProfileLibrary.Load(step.Text("profile")).Profile : state.Profile ?? ProfileLibrary.Load(ProfileLibrary.Usual).Profile;

    private static StepOutcome Take(PipelineState state, Meshing.Shape.ShapeResult result)
    {
        state.Mesh = result.Mesh;
        return new(result.Effect, result.Findings);
    }
}
