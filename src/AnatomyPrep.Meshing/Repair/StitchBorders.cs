using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Nothing to set; the record exists so that the step is called like every other.</summary>
public sealed record StitchBordersParameters;

/// <summary>Joins border vertices with equal coordinates: seams that a file keeps apart for its texture close.</summary>
/// <remarks>
/// Only vertices on a border take part, so closed pieces that touch each other stay apart. Of equal ones the first stays; nothing
/// moves. Vertices that are joined to another are gone. O(triangles + border log border).
/// </remarks>
public static class StitchBorders
{
    public static RepairResult Apply(Mesh mesh, StitchBordersParameters parameters, RunContext run)
    {
        ArgumentNullException.ThrowIfNull(parameters);
        run.ThrowIfCancelled();
        var into = Join(mesh, BorderVertices(mesh), out var joined);
        var measures = new Dictionary<string, double> { ["borderVerticesJoined"] = joined };
        if (joined == 0)
            return RepairResult.Unchanged(mesh, run, measures: measures);
        var (positions, renumber) = MeshSubset.PackVertices(mesh.Positions, v => into[v] == v);
        var triangles = mesh.Triangles.ToArray();
        for (var c = 0; c < triangles.Length; c++)
            triangles[c] = renumber[into[triangles[c]]];
        var finding = new Finding(
            FindingCodes.BordersStitched,
            Severity.Note,
            string.Create(CultureInfo.InvariantCulture, $"{joined} border vertices lay exactly on others and were joined to them."),
            "Nothing to do; the surface is the same.");
        return RepairResult.Changed(mesh, new Mesh(mesh.OriginMm, positions, triangles, mesh.OriginArray), 0, default, run, measures, [finding]);
    }

    private static int[] BorderVertices(Mesh mesh)
    {
        var edges = EdgeTable.Build(mesh);
        if (edges.BoundaryEdges == 0)
            return [];
        var onBorder = new bool[mesh.VertexCount];
        for (var h = 0; h < edges.Opposite.Length; h++)
            if (edges.Opposite[h] == EdgeTable.Boundary)
                onBorder[mesh.Triangles[h]] = onBorder[mesh.Triangles[EdgeTable.Next(h)]] = true;
        return [.. Enumerable.Range(0, onBorder.Length).Where(v => onBorder[v])];
    }

    private static int[] Join(Mesh mesh, int[] border, out int joined)
    {
        var into = new int[mesh.VertexCount];
        for (var v = 0; v < into.Length; v++)
            into[v] = v;
        Array.Sort(border, (a, b) => (mesh.Local(a).X, mesh.Local(a).Y, mesh.Local(a).Z, a).CompareTo((mesh.Local(b).X, mesh.Local(b).Y, mesh.Local(b).Z, b)));
        joined = 0;
        for (var i = 1; i < border.Length; i++)
        {
            if (mesh.Local(border[i]) != mesh.Local(border[i - 1]))
                continue;
            into[border[i]] = into[border[i - 1]];
            joined++;
        }

        return into;
    }
}
