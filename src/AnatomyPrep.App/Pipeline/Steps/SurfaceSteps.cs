using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>The step from images to a surface.</summary>
internal static class SurfaceSteps
{
    // Below this a finding would only say that floating-point sums differ.
    private const double SmallestReportedMm2 = 0.5;

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        (new StepSpec("surface", Stage.Surface, "Extract the region's boundary as a closed surface, placed between samples by the grey values.", []), Extract),
    ];

    private static StepOutcome Extract(PipelineState state, PlanStep step, RunContext run)
    {
        var surface = FlyingEdges.Extract(state.Volume(step.Name), state.Region(step.Name), run);
        state.Mesh = surface.Mesh;
        var areasMm2 = MeshMeasures.AreaByOriginMm2(surface.Mesh, run);
        var parts = new Areas(surface.BorderMm2, Math.Max(0, areasMm2[(int)Origin.Cut] - surface.BorderMm2), areasMm2[(int)Origin.Filled]);
        var effect = new StepEffect(
            MaxDisplacementMm: surface.VerticesKeptClear > 0 ? FlyingEdges.ClearanceMm : 0,
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(surface.Mesh, run),
            Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
            {
                ["triangles"] = surface.Mesh.TriangleCount,
                ["verticesKeptClear"] = surface.VerticesKeptClear,
                ["cutAtBorderMm2"] = parts.BorderMm2,
                ["cutThroughMaterialMm2"] = parts.CutMm2,
                ["beyondValuesMm2"] = parts.FilledMm2,
            });
        return state.Uncertain is { } zone
            ? new(effect, [.. Findings(parts), .. NearMetal(surface.Mesh, state.Volume(step.Name), zone, run)])
            : new(effect, [.. Findings(parts)]);
    }

    private static IEnumerable<Finding> Findings(Areas areas)
    {
        if (areas.BorderMm2 > 0)
        {
            yield return new(FindingCodes.BodyCutAtBorder, Severity.Caution,
                FormattableString.Invariant($"The structure reaches the border of the images; {areas.BorderMm2:F0} mm² of flat surface close it there and were not measured."),
                "Use a series that covers the whole structure, or accept the cut: it is coloured as cut.");
        }

        if (areas.CutMm2 >= SmallestReportedMm2)
        {
            yield return new(FindingCodes.CutThroughMaterial, Severity.Note,
                FormattableString.Invariant($"{areas.CutMm2:F0} mm² of the surface part the structure from more of the same material; the images show no boundary there."),
                "Check on the sections that the cut lies where it is wanted: it is coloured as cut.");
        }

        if (areas.FilledMm2 >= SmallestReportedMm2)
        {
            yield return new(FindingCodes.BeyondValues, Severity.Caution,
                FormattableString.Invariant($"{areas.FilledMm2:F0} mm² of the surface lie where a step took in more than the HU window holds; nobody measured them."),
                "Check on the sections that no anatomy is made up: it is coloured as filled. A smaller radius takes in less.");
        }
    }

    private static IEnumerable<Finding> NearMetal(Mesh mesh, Volume volume, Region zone, RunContext run)
    {
        var (nearMm2, allMm2) = UncertainArea.Measure(mesh, volume.Map, zone, run);
        if (nearMm2 > 0)
        {
            yield return new(FindingCodes.SurfaceNearMetal, Severity.Caution,
                FormattableString.Invariant($"{nearMm2:F0} mm² of the surface, {nearMm2 / allMm2:P1}, lie in the zone around metal: streaks may have moved it by millimetres."),
                "Do not measure or plan on the model there.");
        }
    }

    /// <summary>Area that was not measured, by reason.</summary>
    private readonly record struct Areas(double BorderMm2, double CutMm2, double FilledMm2);
}
