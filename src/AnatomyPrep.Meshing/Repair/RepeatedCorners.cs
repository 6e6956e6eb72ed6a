using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Triangles that name a vertex twice: they have no area whatever the positions, and no side.</summary>
internal static class RepeatedCorners
{
    /// <returns>The same mesh when there is none.</returns>
    public static Mesh Drop(Mesh mesh, out int dropped)
    {
        var keep = new bool[mesh.TriangleCount];
        dropped = 0;
        for (var t = 0; t < keep.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            keep[t] = a != b && b != c && c != a;
            dropped += keep[t] ? 0 : 1;
        }

        return MeshSubset.Keep(mesh, keep);
    }
}
