using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <param name="KeepChosen">False removes what is chosen, true removes everything else.</param>
public sealed record RemoveSelectionParameters(ConnectedSelection Selection, bool KeepChosen = false);

/// <summary>Removes what hangs together with a place, in whole triangles. The border is left as it falls; to cut through triangles, cut with a plane.</summary>
/// <remarks>
/// Nothing chosen: the input comes back with a note. Nothing left: the input comes back with a stop finding.
/// </remarks>
public static class RemoveSelection
{
    public static RepairResult Apply(Mesh mesh, RemoveSelectionParameters parameters, RunContext run)
    {
        var keep = parameters.Selection.Select(mesh, run);
        if (!parameters.KeepChosen)
            for (var t = 0; t < keep.Length; t++)
                keep[t] = !keep[t];
        var removed = 0;
        double areaMm2 = 0;
        for (var t = 0; t < keep.Length; t++)
        {
            if (keep[t])
                continue;
            removed++;
            areaMm2 += MeshMeasures.TriangleAreaMm2(mesh, t);
        }

        var measures = new Dictionary<string, double> { ["trianglesRemoved"] = removed, ["removedAreaMm2"] = areaMm2 };
        if (removed == 0)
            return RepairResult.Unchanged(mesh, run, [Nothing()], measures);
        if (removed == mesh.TriangleCount)
            return RepairResult.Unchanged(mesh, run, [Everything()]);
        var finding = new Finding(
            FindingCodes.SelectionRemoved,
            Severity.Note,
            string.Create(CultureInfo.InvariantCulture, $"{removed} triangles with {areaMm2:G6} mm2 were removed by selection."),
            "Nothing to do.");
        return RepairResult.Changed(mesh, MeshSubset.Keep(mesh, keep), areaMm2, default, run, measures, [finding]);
    }

    private static Finding Nothing() => new(
        FindingCodes.NothingSelected, Severity.Note, "The selection holds no triangle; nothing was removed.", "Check the place and the unit of the selection.");

    private static Finding Everything() => new(
        FindingCodes.NothingLeft, Severity.Stop, "The selection would remove every triangle.", "Check the place and the unit of the selection, or whether inside and outside are mixed up.");
}
