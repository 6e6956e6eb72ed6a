using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Nothing to set; the record exists so that the step is called like every other.</summary>
public sealed record RemoveIsolatedVerticesParameters;

/// <summary>Removes vertices that no triangle uses. The surface does not change; triangles are only renumbered. O(triangles).</summary>
public static class RemoveIsolatedVertices
{
    public static RepairResult Apply(Mesh mesh, RemoveIsolatedVerticesParameters parameters, RunContext run)
    {
        ArgumentNullException.ThrowIfNull(parameters);
        run.ThrowIfCancelled();
        var used = new bool[mesh.VertexCount];
        foreach (var v in mesh.Triangles)
            used[v] = true;
        var isolated = used.Count(u => !u);
        var measures = new Dictionary<string, double> { ["isolatedVerticesRemoved"] = isolated };
        if (isolated == 0)
            return RepairResult.Unchanged(mesh, run, measures: measures);

        var (positions, renumber) = MeshSubset.PackVertices(mesh.Positions, v => used[v]);
        var triangles = mesh.Triangles.ToArray();
        for (var c = 0; c < triangles.Length; c++)
            triangles[c] = renumber[triangles[c]];
        var after = new Mesh(mesh.OriginMm, positions, triangles, mesh.Origins.ToArray());
        return RepairResult.Changed(mesh, after, 0, default, run, measures, []);
    }
}
