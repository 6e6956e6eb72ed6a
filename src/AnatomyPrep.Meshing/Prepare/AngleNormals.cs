using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Unit normal at every vertex, weighted by the angle of each triangle there (G. Thürmer and C. Wüthrich, 1998; from memory).</summary>
/// <remarks>Unlike weights by area, independent of how the surface is cut into triangles. 12 bytes a vertex, one pass over the triangles.</remarks>
internal static class AngleNormals
{
    /// <returns>x, y, z of each vertex; zero for one without a triangle of any area.</returns>
    /// <exception cref="OperationCanceledException">Asked every few thousand triangles.</exception>
    public static float[] Of(Mesh mesh, RunContext run)
    {
        var sums = new float[3 * mesh.VertexCount];
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            if ((t & 0xFFFF) == 0)
                run.ThrowIfCancelled();
            var (a, b, c) = mesh.Triangle(t);
            Vec3 p = mesh.Local(a), q = mesh.Local(b), r = mesh.Local(c);
            var n = Vec3.Cross(q - p, r - p).Normalized();
            if (n == Vec3.Zero)
                continue;
            Add(a, n * Angle(q - p, r - p));
            Add(b, n * Angle(r - q, p - q));
            Add(c, n * Angle(p - r, q - r));
        }

        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var n = new Vec3(sums[3 * v], sums[(3 * v) + 1], sums[(3 * v) + 2]).Normalized();
            (sums[3 * v], sums[(3 * v) + 1], sums[(3 * v) + 2]) = ((float)n.X, (float)n.Y, (float)n.Z);
        }

        return sums;

        void Add(int v, Vec3 n)
        {
            sums[3 * v] += (float)n.X;
            sums[(3 * v) + 1] += (float)n.Y;
            sums[(3 * v) + 2] += (float)n.Z;
        }
    }

    private static double Angle(Vec3 u, Vec3 v) => Math.Atan2(Vec3.Cross(u, v).Length, Vec3.Dot(u, v));
}
