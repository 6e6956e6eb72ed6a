using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Cloud;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps from measured points to a surface.</summary>
internal static class CloudSteps
{
    private const double FarMm = 1_000;

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        Step("remove-outliers", "Remove points that lie off the surface: by their distance to their neighbours, and small clusters far from the rest.",
            [
                new("neighbours", ParameterKind.Integer, "Neighbours that a point's distance is averaged over; 0 leaves this test out", 16, 0, 256),
                new("deviations", ParameterKind.Number, "A point goes when it is so many standard deviations farther from its neighbours than usual", 5.0, 0.1, 1000),
                new("clusterGapMm", ParameterKind.Number, "Points no farther apart belong to one cluster; 0 takes four times the usual spacing", 0.0, 0, FarMm),
                new("minClusterPoints", ParameterKind.Integer, "Clusters with fewer points go; 0 takes one in a thousand, from 10 to 100; 1 leaves this test out", 0, 0, int.MaxValue),
            ],
            (cloud, step, run) => RemoveOutliers.Apply(cloud, new(step.Integer("neighbours"), step.Number("deviations"), step.Number("clusterGapMm"), step.Integer("minClusterPoints")), run)),
        Step("estimate-normals", "Give every point a direction out of the body, from its neighbours; given ones are kept and checked.",
            [
                new("neighbours", ParameterKind.Integer, "The plane at a point is laid through about so many; 0 chooses by noise", 0, 0, 256),
                new("radiusMm", ParameterKind.Number, "The plane at a point is laid through all within this; 0 goes by number", 0.0, 0, FarMm),
                new("keepGiven", ParameterKind.Flag, "Keep the directions that the points came with", true),
            ],
            (cloud, step, run) => EstimateNormals.Apply(cloud, new(step.Integer("neighbours"), step.Number("radiusMm"), step.Flag("keepGiven")), run)),
        (new StepSpec("cloud-surface", Stage.Surface, "Lay a surface through measured points; it stays open where nothing was measured.",
            [
                new("cellMm", ParameterKind.Number, "Edge of the grid, about that of the triangles; 0 goes by the points' spacing and noise", 0.0, 0, FarMm),
                new("smoothingMm", ParameterKind.Number, "Points within this distance have a say in where the surface lies; 0 goes by spacing and noise", 0.0, 0, FarMm),
                new("supportMm", ParameterKind.Number, "Surface farther than this from all points is marked filled; 0 takes 2.5 times the usual spacing", 0.0, 0, FarMm),
                new("closingMm", ParameterKind.Number, "Gaps up to twice as wide are closed; 0 goes by the spacing where points are sparse", 0.0, 0, FarMm),
                new("minPieceMm2", ParameterKind.Number, "Leave out smaller pieces of surface; 0 takes what four lone points would make", 0.0, 0, 1e9),
            ]), Lay),
    ];

    private static StepOutcome Lay(PipelineState state, PlanStep step, RunContext run)
    {
        var parameters = new CloudSurfaceParameters(step.Number("cellMm"), step.Number("smoothingMm"), step.Number("supportMm"), step.Number("closingMm"), step.Number("minPieceMm2"));
        var result = CloudSurface.Apply(state.Cloud(step.Name), parameters, run);
        state.Mesh = result.Mesh;
        return new(result.Effect, result.Findings);
    }

    private static (StepSpec, StepFunction) Step(string name, string description, ParameterSpec[] parameters, Func<PointCloud, PlanStep, RunContext, CloudResult> apply) =>
        (new StepSpec(name, Stage.Surface, description, parameters), (state, step, run) =>
        {
            var result = apply(state.Cloud(step.Name), step, run);
            state.Replace(result.Cloud);
            return new(result.Effect, result.Findings);
        }
    );
}
