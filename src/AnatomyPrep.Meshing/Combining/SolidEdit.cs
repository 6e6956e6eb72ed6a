using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Adds shapes of our own to a solid that has been checked, or takes them away.</summary>
internal static class SolidEdit
{
    /// <exception cref="CheckFailedException">The result cannot be made a solid.</exception>
    public static SolidCombination Apply(string step, BooleanOperation operation, Mesh mesh, IReadOnlyList<Mesh> shapes, RunContext run)
    {
        using var engine = SolidEngine.Start(mesh.OriginMm, run);
        engine.Add(mesh);
        foreach (var shape in shapes)
            engine.Add(shape);
        var result = SolidCombination.Make(step, engine, (e, solids) => e.Combine(operation, solids), run);
        return result.Mesh.TriangleCount > 0 ? result : throw new CheckFailedException(step, "something left of the model", "nothing");
    }

    public static StepEffect Effect(MeshFacts before, SolidCombination after, params ReadOnlySpan<(string Name, double Value)> measures) => new(
        after.ChangedAreaMm2(s => s == 0, before.AreaMm2),
        VolumeBeforeMm3: before.VolumeMm3,
        VolumeAfterMm3: after.Facts.VolumeMm3,
        Measures: after.Measures(measures));

    public static IEnumerable<Finding> SettledFinding(SolidCombination after) => after.Settled > 0 ? [after.SettledFinding()] : [];
}
