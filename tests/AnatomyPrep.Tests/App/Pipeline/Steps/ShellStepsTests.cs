using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing;

namespace AnatomyPrep.Tests.App.Pipeline.Steps;

public sealed class ShellStepsTests
{
    private static readonly StepCatalog s_catalog = StepCatalog.Create();

    [Theory]
    [InlineData("shell", "sheet", "wallMedianMm", 3)]
    [InlineData("shell: { thicknessMm: 2, side: inward, smoothRadiusMm: 1, cellMm: 0.5, minPieceMm3: 5 }", "sheet", "wallMedianMm", 2)]
    [InlineData("shell: { thicknessMm: 2.4, side: centered }", "sheet", "wallMedianMm", 2.4)]
    [InlineData("hollow: { thicknessMm: 2, minCavityMm3: 50, smoothRadiusMm: 1 }", "ball", "wallMedianMm", 2)]
    [InlineData("clearance: { distanceMm: -1.5 }", "ball", "distanceMedianMm", 1.5)]
    public void Steps_do_what_the_plan_says(string step, string input, string measure, double value)
    {
        using var state = PipelineState.FromMesh(input == "sheet" ? TestMeshes.GridSheet(20, 20, 20, 20) : TestMeshes.Icosphere(3, 12));
        var outcome = Run(state, step);
        outcome.Effect.Measures![measure].Should().BeApproximately(value, 0.02);
        MeshFacts.Measure(state.Mesh!, RunContext.Default).Solid.Should().BeTrue();
    }

    [Fact]
    public void A_step_that_refuses_leaves_the_surface_as_it_was()
    {
        var ball = TestMeshes.Icosphere(3, 12);
        using var state = PipelineState.FromMesh(ball);
        foreach (var step in new[] { "shell", "hollow: { thicknessMm: 13 }", "clearance: { distanceMm: -13 }" })
        {
            var refused = () => Run(state, step);
            refused.Should().Throw<CheckFailedException>();
            state.Mesh.Should().BeSameAs(ball);
        }

        var unknown = () => Run(state, "shell: { side: upward }");
        unknown.Should().Throw<PlanException>();
    }

    private static StepOutcome Run(PipelineState state, string step)
    {
        var plan = new PlanReader(s_catalog).Read($"plan: p\nversion: 1\nsteps:\n  - {step}\n", "p.yaml").Plan;
        return s_catalog.Function(plan.Steps[0].Name)(state, plan.Steps[0], RunContext.Default);
    }
}
