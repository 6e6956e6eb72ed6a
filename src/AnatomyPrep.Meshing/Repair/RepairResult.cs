using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>What a repair gives back.</summary>
/// <param name="Mesh">The very same object as the input when nothing had to be done or the step could not keep its promise.</param>
/// <param name="Effect">What it did, measured.</param>
/// <param name="Findings">In a fixed order; a stop says why the input came back.</param>
public sealed record RepairResult(Mesh Mesh, StepEffect Effect, IReadOnlyList<Finding> Findings)
{
    internal static RepairResult Unchanged(Mesh mesh, RunContext run, IReadOnlyList<Finding>? findings = null, IReadOnlyDictionary<string, double>? measures = null)
    {
        var volume = MeshMeasures.SignedVolumeMm3(mesh, run);
        return new(mesh, new StepEffect(0, 0, 0, volume, volume, measures), findings ?? []);
    }

    /// <param name="changedAreaMm2">Area of the triangles that went plus area of those that came.</param>
    /// <param name="displacement">How far vertices moved, or the surface where they were removed.</param>
    internal static RepairResult Changed(
        Mesh before,
        Mesh after,
        double changedAreaMm2,
        DistanceTally displacement,
        RunContext run,
        IReadOnlyDictionary<string, double> measures,
        IReadOnlyList<Finding> findings) =>
        new(
            after,
            new StepEffect(
                changedAreaMm2,
                displacement.MeanMm,
                displacement.MaxMm,
                MeshMeasures.SignedVolumeMm3(before, run),
                MeshMeasures.SignedVolumeMm3(after, run),
                measures),
            findings);
}
