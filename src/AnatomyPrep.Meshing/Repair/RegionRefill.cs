using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Takes triangles out and closes what that opened, and nothing else.</summary>
internal static class RegionRefill
{
    /// <param name="remove">One per triangle.</param>
    /// <returns>The mesh with the holes closed, origin filled; loops that run along old border are left open.</returns>
    public static Outcome Apply(Mesh mesh, bool[] remove, FillMethod method, string step, RunContext run)
    {
        double removedMm2 = 0, filledMm2 = 0;
        for (var t = 0; t < remove.Length; t++)
            removedMm2 += remove[t] ? MeshMeasures.TriangleAreaMm2(mesh, t) : 0;
        var (open, patches, atBorder, unclosed) = MakePatches(mesh, remove, method, step, run);
        var assembly = new PatchAssembly(open);
        foreach (var patch in patches)
        {
            assembly.Add(patch);
            filledMm2 += patch.AreaMm2(open);
        }

        return new(DropLostVertices(mesh, assembly.Build()), removedMm2, filledMm2, atBorder + unclosed);
    }

    /// <returns>
    /// The mesh without the triangles, vertices numbered as before; what closes the new holes; how many new loops run along
    /// old border and stay open; how many could not be closed.
    /// </returns>
    public static (Mesh Open, List<HolePatch> Patches, int AtBorder, int Unclosed) MakePatches(Mesh mesh, bool[] remove, FillMethod method, string step, RunContext run)
    {
        var old = EdgeTable.Build(mesh);
        var kept = new List<int>();
        var triangles = new List<int>();
        for (var t = 0; t < remove.Length; t++)
        {
            if (remove[t])
                continue;
            kept.Add(t);
            triangles.AddRange(mesh.Triangles.Slice(3 * t, 3));
        }

        var open = new Mesh(mesh.OriginMm, mesh.PositionArray, [.. triangles], [.. kept.Select(t => mesh.Origins[t])]);
        var loops = BoundaryLoops.Find(open).Where(l => l.HalfEdges.Any(h => !WasBorder(h))).ToList();
        var closable = loops.Where(l => l.HalfEdges.All(h => !WasBorder(h))).ToList();
        List<HolePatch> patches = [.. HolePatches.Make(open, closable, method, step, run).OfType<HolePatch>()];
        return (open, patches, loops.Count - closable.Count, closable.Count - patches.Count);

        bool WasBorder(int h) => old.Opposite[(3 * kept[h / 3]) + (h % 3)] == EdgeTable.Boundary;
    }

    private static Mesh DropLostVertices(Mesh before, Mesh after)
    {
        var used = new bool[after.VertexCount];
        foreach (var v in after.Triangles)
            used[v] = true;
        var wasUsed = new bool[after.VertexCount];
        foreach (var v in before.Triangles)
            wasUsed[v] = true;
        var (positions, renumber) = MeshSubset.PackVertices(after.Positions, v => used[v] || !wasUsed[v]);
        var triangles = after.Triangles.ToArray();
        for (var c = 0; c < triangles.Length; c++)
            triangles[c] = renumber[triangles[c]];
        return new(after.OriginMm, positions, triangles, after.OriginArray);
    }

    /// <param name="LoopsLeftOpen">Loops made by taking out that could not be closed, or run into an old border.</param>
    internal sealed record Outcome(Mesh Mesh, double RemovedAreaMm2, double FilledAreaMm2, int LoopsLeftOpen);
}
