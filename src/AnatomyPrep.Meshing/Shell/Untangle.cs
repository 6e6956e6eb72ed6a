using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shell;

/// <summary>Puts vertices back onto their grid edges wherever moving them off made triangles cross or lose their area.</summary>
/// <remarks>
/// With every vertex of a neighbourhood on its grid edge no triangles cross there, so every round puts back at least one vertex
/// until none cross: it ends. Crossings are found exactly (<see cref="SelfIntersections"/>). Cost: 0.6 µs a triangle, core and round.
/// </remarks>
internal static class Untangle
{
    private const int MostRounds = 40;

    /// <returns>The mesh, and how many vertices were put back.</returns>
    /// <exception cref="CheckFailedException">Crossings stay; not expected for any input.</exception>
    public static (Mesh Mesh, int PutBack) Apply(string step, SparseSurface surface, Vec3 originMm, RunContext run)
    {
        var total = 0;
        for (var round = 0; round < MostRounds; round++)
        {
            run.Report(step, "crossings", (double)round / MostRounds);
            var mesh = new Mesh(originMm, [.. surface.Positions], surface.Triangles);
            var faulty = Faulty(mesh, run);
            if (faulty.Count == 0)
                return (mesh, total);
            total += PutBack(surface, faulty);
        }

        throw new CheckFailedException(step, "a surface that does not cross itself", "triangles that still cross");
    }

    private static List<int> Faulty(Mesh mesh, RunContext run)
    {
        var faulty = new List<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (ExactPredicates.Collinear(mesh.Local(a), mesh.Local(b), mesh.Local(c)))
                faulty.Add(t);
        }

        foreach (var pair in SelfIntersections.Find(mesh, run).Pairs)
        {
            if (pair.Contact == Contact.Touching)
                continue;
            faulty.Add(pair.First);
            faulty.Add(pair.Second);
        }

        return faulty;
    }

    private static int PutBack(SparseSurface surface, List<int> faulty)
    {
        var count = 0;
        foreach (var t in faulty)
            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                var v = surface.Triangles[c];
                if (!surface.Moved[v])
                    continue;
                surface.PutBack(v);
                count++;
            }

        return count > 0 ? count : PutBackNeighbours(surface, faulty);
    }

    /// <summary>The faulty triangles are on their grid edges already: what is joined to them is in the way.</summary>
    private static int PutBackNeighbours(SparseSurface surface, List<int> faulty)
    {
        var touched = new HashSet<int>();
        foreach (var t in faulty)
            for (var c = 3 * t; c < (3 * t) + 3; c++)
                touched.Add(surface.Triangles[c]);
        var count = 0;
        for (var t = 0; t < surface.Triangles.Length; t += 3)
        {
            if (!touched.Contains(surface.Triangles[t]) && !touched.Contains(surface.Triangles[t + 1]) && !touched.Contains(surface.Triangles[t + 2]))
                continue;
            for (var c = t; c < t + 3; c++)
            {
                if (!surface.Moved[surface.Triangles[c]])
                    continue;
                surface.PutBack(surface.Triangles[c]);
                count++;
            }
        }

        return count;
    }
}
