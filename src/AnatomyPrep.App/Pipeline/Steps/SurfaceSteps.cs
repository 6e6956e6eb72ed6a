using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>The step from images to a surface.</summary>
internal static class SurfaceSteps
{
    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        (new StepSpec("surface", Stage.Surface, "Extract the region's boundary as a closed surface, placed between samples by the grey values.", []), Extract),
    ];

    private static StepOutcome Extract(PipelineState state, PlanStep step, RunContext run)
    {
        var surface = FlyingEdges.Extract(state.Volume(step.Name), state.Region(step.Name), run);
        state.Mesh = surface.Mesh;
        var cutMm2 = MeshMeasures.AreaByOriginMm2(surface.Mesh, run)[(int)Origin.Cut];
        var effect = new StepEffect(
            MaxDisplacementMm: surface.VerticesKeptClear > 0 ? FlyingEdges.ClearanceMm : 0,
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(surface.Mesh, run),
            Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
            {
                ["triangles"] = surface.Mesh.TriangleCount,
                ["verticesKeptClear"] = surface.VerticesKeptClear,
                ["cutAtBorderMm2"] = cutMm2,
            });
        return cutMm2 == 0
            ? StepOutcome.Of(effect)
            : StepOutcome.Of(effect, new Finding(FindingCodes.BodyCutAtBorder, Severity.Caution,
                FormattableString.Invariant($"The structure reaches the border of the images; {cutMm2:F0} mm² of flat surface close it there and were not measured."),
                "Use a series that covers the whole structure, or accept the cut: it is coloured as cut."));
    }
}
