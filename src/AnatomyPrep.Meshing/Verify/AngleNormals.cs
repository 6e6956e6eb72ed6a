using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Normal at every vertex, weighted by the angle of each triangle there (G. Thürmer and C. Wüthrich, 1998; from memory).</summary>
/// <remarks>Unlike weights by area, independent of how the surface is cut into triangles. 24 bytes a vertex, and at most 5 MB to work in.</remarks>
internal static class AngleNormals
{
    private const int PieceTriangles = 1 << 14;
    private const int AtOnce = PieceTriangles * 4;

    /// <returns>Sum over the triangles of a vertex of unit normal times angle, not normalised; zero without a triangle of any area.</returns>
    public static Vec3[] Of(Mesh mesh, RunContext run)
    {
        // Per corner in parallel, then gathered in triangle order, so that sums do not depend on threads.
        var normals = new Vec3[mesh.VertexCount];
        var weighted = new Vec3[Math.Min(mesh.TriangleCount, AtOnce) * 3];
        for (var first = 0; first < mesh.TriangleCount; first += AtOnce)
        {
            var start = first;
            var count = Math.Min(AtOnce, mesh.TriangleCount - first);
            Partition.Ranges(run, count, PieceTriangles, (_, from, to) =>
            {
                for (var t = from; t < to; t++)
                    AtCorners(mesh, start + t, weighted.AsSpan(3 * t, 3));
            });
            for (var c = 0; c < 3 * count; c++)
                normals[mesh.TriangleArray[(3 * start) + c]] += weighted[c];
        }

        return normals;
    }

    private static void AtCorners(Mesh mesh, int triangle, Span<Vec3> corners)
    {
        var (a, b, c) = mesh.Triangle(triangle);
        Vec3 pa = mesh.Local(a), pb = mesh.Local(b), pc = mesh.Local(c);
        var cross = Vec3.Cross(pb - pa, pc - pa);
        var twiceArea = cross.Length;
        var normal = twiceArea > 0 ? cross / twiceArea : Vec3.Zero;
        corners[0] = normal * Math.Atan2(twiceArea, Vec3.Dot(pb - pa, pc - pa));
        corners[1] = normal * Math.Atan2(twiceArea, Vec3.Dot(pc - pb, pa - pb));
        corners[2] = normal * Math.Atan2(twiceArea, Vec3.Dot(pa - pc, pb - pc));
    }
}
