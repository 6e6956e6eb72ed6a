using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Gives a patch the vertex spacing of its rim.</summary>
/// <remarks>
/// Liepa, "Filling holes in meshes" (2003), section 3: every vertex carries a wanted edge length, the rim the mean of its
/// edges outside; a triangle is split at its centroid where the centroid is farther than the wanted length / sqrt 2 from
/// all its corners, and edges are turned towards Delaunay until nothing changes. New vertices are so never closer to
/// a corner than that; their number is bounded by area over wanted length squared, which is also the stop.
/// </remarks>
internal static class PatchRefinement
{
    private const double Density = 1.4142135623730951;

    /// <param name="rimLengthsMm">Wanted edge length at each rim vertex.</param>
    /// <returns>False when the bound on new vertices stopped it; the patch is valid all the same.</returns>
    public static bool Refine(PatchMesh patch, double[] rimLengthsMm, RunContext run)
    {
        var wanted = new List<double>(rimLengthsMm);
        var finest = rimLengthsMm.Min();
        if (!(finest > 0))
            return false;
        // An equilateral mesh of the finest length has area / (0.87 length^2) vertices; splitting reaches sqrt 2 finer.
        var mostVertices = patch.RimCount + 64 + (4 * patch.AreaMm2() / (finest * finest));
        patch.Relax(patch.AllHalfEdges(), -1);
        while (true)
        {
            run.ThrowIfCancelled();
            var touched = new List<int>();
            for (int t = 0, count = patch.TriangleCount; t < count; t++)
            {
                if (!IsCoarse(patch, wanted, t, out var length))
                    continue;
                if (patch.Points.Count >= mostVertices)
                    return false;
                var added = patch.TriangleCount;
                patch.Split(t);
                wanted.Add(length);
                touched.AddRange([3 * t, 3 * added, 3 * (added + 1)]);
            }

            if (touched.Count == 0)
                return true;
            patch.Relax(touched, -1);
        }
    }

    private static bool IsCoarse(PatchMesh patch, List<double> wanted, int t, out double length)
    {
        var (a, b, c) = patch.Triangle(t);
        length = (wanted[a] + wanted[b] + wanted[c]) / 3;
        var center = (patch.Points[a] + patch.Points[b] + patch.Points[c]) / 3;
        return IsFar(a, length) && IsFar(b, length) && IsFar(c, length);

        bool IsFar(int v, double middle)
        {
            var reach = Density * Vec3.Distance(center, patch.Points[v]);
            return reach > middle && reach > wanted[v];
        }
    }
}
