using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>Puts vertices back onto their grid edges wherever moving them off made triangles cross or lose their area.</summary>
/// <remarks>
/// With every vertex of a neighbourhood on its grid edge no triangles cross there, so every round puts back at least one vertex
/// until none cross: it ends. Crossings are found exactly, the first time among all triangles (<see cref="SelfIntersections"/>), then
/// among those that changed (<see cref="CrossingsNear"/>). Cost: 0.6 µs a triangle and core, then 0.1 µs a round.
/// </remarks>
internal static class Untangle
{
    private const int MostRounds = 100;

    /// <returns>The mesh, and how many vertices were put back.</returns>
    /// <exception cref="CheckFailedException">Crossings stay; not expected for any input.</exception>
    public static (Mesh Mesh, int PutBack) Apply(string step, SparseSurface surface, Vec3 originMm, RunContext run)
    {
        run.Report(step, "crossings", 0);
        var mesh = new Mesh(originMm, surface.Positions, surface.Triangles);
        var edges = EdgeTable.Build(mesh);
        var all = SelfIntersections.Find(mesh, run).Pairs.Where(p => p.Contact != Contact.Touching);
        var faulty = Triangles(all).Concat(Flat(mesh, Enumerable.Range(0, mesh.TriangleCount))).ToList();
        var total = 0;
        for (var round = 1; faulty.Count > 0; round++)
        {
            if (round > MostRounds)
                throw new CheckFailedException(step, "a surface that does not cross itself", "triangles that still cross");
            run.ThrowIfCancelled();
            var back = Movable(surface, faulty);
            foreach (var v in back)
                surface.PutBack(v);
            total += back.Count;
            var changed = Around(surface, edges, back);
            mesh = new Mesh(originMm, surface.Positions, surface.Triangles);
            faulty = [.. Triangles(CrossingsNear.Find(mesh, edges, changed, run)), .. Flat(mesh, changed)];
            run.Report(step, "crossings", (double)round / MostRounds);
        }

        return (mesh, total);
    }

    private static IEnumerable<int> Triangles(IEnumerable<TrianglePair> pairs) => pairs.SelectMany(p => (int[])[p.First, p.Second]);

    private static IEnumerable<int> Flat(Mesh mesh, IEnumerable<int> triangles) => triangles.Where(t =>
    {
        var (a, b, c) = mesh.Triangle(t);
        return ExactPredicates.Collinear(mesh.Local(a), mesh.Local(b), mesh.Local(c));
    });

    /// <summary>Corners of faulty triangles that are off their grid edges, or where none is, those of the triangles around.</summary>
    private static SortedSet<int> Movable(SparseSurface surface, List<int> faulty)
    {
        var touched = new SortedSet<int>();
        foreach (var t in faulty)
            for (var c = 3 * t; c < (3 * t) + 3; c++)
                touched.Add(surface.Triangles[c]);
        var moved = new SortedSet<int>(touched.Where(v => surface.Moved[v]));
        if (moved.Count > 0)
            return moved;
        for (var t = 0; t < surface.Triangles.Length; t += 3)
            if (touched.Contains(surface.Triangles[t]) || touched.Contains(surface.Triangles[t + 1]) || touched.Contains(surface.Triangles[t + 2]))
                for (var c = t; c < t + 3; c++)
                    if (surface.Moved[surface.Triangles[c]])
                        moved.Add(surface.Triangles[c]);
        return moved;
    }

    /// <summary>Triangles with a corner among the vertices, and those beside them, which share what an edge passes through.</summary>
    private static List<int> Around(SparseSurface surface, EdgeTable edges, SortedSet<int> vertices)
    {
        var around = new SortedSet<int>();
        for (var h = 0; h < surface.Triangles.Length; h++)
            if (vertices.Contains(surface.Triangles[h]))
                around.Add(h / 3);
        foreach (var t in around.ToArray())
            for (var h = 3 * t; h < (3 * t) + 3; h++)
                if (edges.Opposite[h] >= 0)
                    around.Add(edges.Opposite[h] / 3);
        return [.. around];
    }
}
