using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Sees to it that no two structures of a run hold the same place.</summary>
internal static class StructureOverlap
{
    // A cube of 1 mm: smaller crumbs of a difference are below what any printer holds (common practice, no source).
    private const double LeastPieceMm3 = 1;

    // Rounding of the cut's vertices to float32 leaves films; more than this is an overlap. Own choice: a tenth of the crumb above.
    private const double MostSharedMm3 = 0.1;

    /// <summary>What two structures hold goes to the one named first.</summary>
    /// <param name="meshes">In the plan's order, about one origin.</param>
    /// <returns>Null where a structure is no solid: then nothing is taken from any, and a finding says so.</returns>
    /// <exception cref="BadInputException">Nothing is left of a structure.</exception>
    public static IReadOnlyList<SeparatedSolid>? Remove(IReadOnlyList<(string Name, Mesh Mesh)> meshes, List<Finding> findings, RunContext run)
    {
        run.Report("structures", "taking overlaps away", 0);
        var broken = meshes.Where(m => !MeshFacts.Measure(m.Mesh, run).Solid).Select(m => m.Name).ToArray();
        if (broken.Length > 0)
        {
            findings.Add(new(FindingCodes.StructuresOverlap, Severity.Stop, $"Whether structures overlap is not known: {string.Join(", ", broken)} is not one closed solid.", "Add repair steps to the structure's own steps."));
            return null;
        }

        var separated = SeparateSolids.Apply([.. meshes.Select(m => m.Mesh)], LeastPieceMm3, run);
        for (var s = 0; s < separated.Count; s++)
        {
            var (mesh, removedMm3, sliversMm3, slivers) = separated[s];
            var name = meshes[s].Name;
            if (mesh.TriangleCount == 0)
                throw new BadInputException(name, FindingCodes.NothingLeft, "lies wholly inside structures that the plan names before it", "Name it before them, or leave it out.");
            if (removedMm3 != 0)
                findings.Add(new(FindingCodes.StructuresSeparated, Severity.Note,
                    FormattableString.Invariant($"{name}: {removedMm3:F1} mm³ lay in structures named before it and were taken from it; {slivers} crumbs of together {sliversMm3:F2} mm³ went with them."),
                    "Check on the sections that the right structure has them; the order in the plan decides."));
        }

        return separated;
    }

    /// <summary>Volume that two structures share, over all pairs, with a finding where it is more than rounding.</summary>
    public static double Measure(IReadOnlyList<(string Name, Mesh Mesh)> meshes, List<Finding> findings, RunContext run)
    {
        double sum = 0;
        for (var a = 0; a < meshes.Count; a++)
            for (var b = a + 1; b < meshes.Count; b++)
            {
                var sharedMm3 = SeparateSolids.SharedMm3(meshes[a].Mesh, meshes[b].Mesh, run);
                sum += sharedMm3;
                if (sharedMm3 > MostSharedMm3)
                    findings.Add(new(FindingCodes.StructuresOverlap, Severity.Stop, FormattableString.Invariant($"{meshes[a].Name} and {meshes[b].Name} share {sharedMm3:F3} mm³."), "Report this: overlaps should have been taken away."));
            }

        return sum;
    }
}
