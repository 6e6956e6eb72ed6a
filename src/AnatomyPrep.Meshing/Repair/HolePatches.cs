using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Makes the patches for a number of holes of one mesh.</summary>
/// <remarks>
/// Holes are worked on side by side, each from the mesh alone; a hole that shares two or more vertices with an earlier one
/// waits for it, so that they do not both join the two, and a patch that meets an earlier one is made again. The result does not depend on the number of threads.
/// </remarks>
internal static class HolePatches
{
    /// <returns>One per loop; null where it could not be closed.</returns>
    public static HolePatch?[] Make(Mesh mesh, IReadOnlyList<BoundaryLoop> chosen, FillMethod method, string step, RunContext run)
    {
        var around = VertexTriangles.Of(mesh);
        var check = new PatchCheck(mesh, SurfaceNear.Rims(mesh, chosen.Select(loop => loop.Vertices), run));
        var rims = new HoleRim?[chosen.Count];
        var patches = new HolePatch?[chosen.Count];
        var waits = FindNeighbours(chosen);
        var done = 0;
        Partition.For(run, chosen.Count, i =>
        {
            if (!chosen[i].IsClosed)
                return;
            rims[i] = new HoleRim(mesh, around, [.. chosen[i].Vertices.Reverse()]);
            if (!waits[i])
                patches[i] = HoleFiller.Best(mesh, around, rims[i]!, method, check, [], run);
            run.Report(step, "fill", Interlocked.Increment(ref done) / (double)chosen.Count);
        });

        for (var i = 0; i < chosen.Count; i++)
        {
            if (rims[i] is not { } rim)
                continue;
            var earlier = patches[..i].Where(p => p is not null).Select(p => p!).ToList();
            if (waits[i])
            {
                foreach (var patch in patches)
                    if (patch is not null)
                        NoteEdges(rim, patch);
            }
            else if (patches[i] is not { } patch || !check.MeetsAny(patch, earlier, run))
            {
                continue;
            }

            patches[i] = HoleFiller.Best(mesh, around, rim, method, check, earlier, run);
        }

        return patches;
    }

    /// <summary>A hole waits when an earlier one has two of its vertices: both might put an edge between them.</summary>
    private static bool[] FindNeighbours(IReadOnlyList<BoundaryLoop> loops)
    {
        var owners = new Dictionary<int, List<int>>();
        var waits = new bool[loops.Count];
        for (var i = 0; i < loops.Count; i++)
        {
            var shared = new Dictionary<int, int>();
            foreach (var v in loops[i].Vertices)
            {
                if (!owners.TryGetValue(v, out var list))
                    owners[v] = list = [];
                foreach (var other in list)
                    waits[i] |= (shared[other] = shared.GetValueOrDefault(other) + 1) > 1;
                list.Add(i);
            }
        }

        return waits;
    }

    private static void NoteEdges(HoleRim rim, HolePatch earlier)
    {
        var number = new Dictionary<int, int>();
        for (var i = 0; i < rim.Count; i++)
            number[rim.Vertices[i]] = i;
        foreach (var (a, b, c) in earlier.Triangles)
        {
            foreach (var (u, v) in ((int, int)[])[(a, b), (b, c), (c, a)])
            {
                if (u < earlier.Rim.Length && v < earlier.Rim.Length
                    && number.TryGetValue(earlier.Rim[u], out var i) && number.TryGetValue(earlier.Rim[v], out var k))
                    rim.Join(i, k);
            }
        }
    }
}
