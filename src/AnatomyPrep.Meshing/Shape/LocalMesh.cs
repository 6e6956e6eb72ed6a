using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Some triangles of a mesh with vertices numbered anew, in the order of first use.</summary>
internal sealed class LocalMesh
{
    /// <param name="positions">Current positions of the mesh's vertices.</param>
    /// <param name="rename">The vertex that stands for a vertex now.</param>
    internal LocalMesh(Mesh mesh, float[] positions, ReadOnlySpan<int> triangles, Func<int, int> rename)
    {
        var source = mesh.TriangleArray;
        Corners = new int[3 * triangles.Length];
        // Only entries of these triangles are ever read, so only they are set.
        var index = GC.AllocateUninitializedArray<int>(mesh.VertexCount);
        for (var i = 0; i < Corners.Length; i++)
        {
            Corners[i] = rename(source[(3 * triangles[i / 3]) + (i % 3)]);
            index[Corners[i]] = -1;
        }

        var vertices = new List<int>(triangles.Length);
        for (var i = 0; i < Corners.Length; i++)
        {
            var v = Corners[i];
            if (index[v] < 0)
            {
                index[v] = vertices.Count;
                vertices.Add(v);
            }

            Corners[i] = index[v];
        }

        Vertices = [.. vertices];
        Positions = new float[3 * Vertices.Length];
        for (var v = 0; v < Vertices.Length; v++)
            positions.AsSpan(3 * Vertices[v], 3).CopyTo(Positions.AsSpan(3 * v, 3));
    }

    /// <summary>The mesh's number of each vertex.</summary>
    internal int[] Vertices { get; }

    internal int[] Corners { get; }

    internal float[] Positions { get; }

    internal double SquaredDistance(int t, Vec3 p)
    {
        return PointTriangle.SquaredDistance(p, At(Corners[3 * t]), At(Corners[(3 * t) + 1]), At(Corners[(3 * t) + 2]));
    }

    private Vec3 At(int v) => new(Positions[3 * v], Positions[(3 * v) + 1], Positions[(3 * v) + 2]);
}
