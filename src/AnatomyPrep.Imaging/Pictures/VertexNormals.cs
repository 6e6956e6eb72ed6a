using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>One direction for every vertex: the sum of its triangles' normals, weighted by their areas. For shading only.</summary>
/// <remarks>
/// Method: Gouraud, "Continuous Shading of Curved Surfaces", IEEE Trans. Computers C-20(6), 1971; weights by area.
/// Float sums in triangle order on one thread, so the result is always the same. Cost: O(triangles); 12 bytes a vertex.
/// </remarks>
internal static class VertexNormals
{
    private const int AskEvery = 1 << 16;

    /// <summary>x, y, z of every vertex, not of unit length; zero for a vertex without a triangle of any area.</summary>
    /// <exception cref="OperationCanceledException">Asked once per 65,536 triangles.</exception>
    internal static float[] Of(Mesh mesh, RunContext run)
    {
        var normals = new float[3 * mesh.VertexCount];
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            if (t % AskEvery == 0)
                run.ThrowIfCancelled();
            var (a, b, c) = mesh.Triangle(t);
            var n = Face(mesh, a, b, c);
            Add(normals, a, n);
            Add(normals, b, n);
            Add(normals, c, n);
        }

        return normals;
    }

    /// <summary>Normal of a triangle, as long as twice its area.</summary>
    internal static Vec3 Face(Mesh mesh, int a, int b, int c)
    {
        var p = mesh.Local(a);
        return Vec3.Cross(mesh.Local(b) - p, mesh.Local(c) - p);
    }

    private static void Add(float[] normals, int vertex, Vec3 n)
    {
        normals[3 * vertex] += (float)n.X;
        normals[(3 * vertex) + 1] += (float)n.Y;
        normals[(3 * vertex) + 2] += (float)n.Z;
    }
}
