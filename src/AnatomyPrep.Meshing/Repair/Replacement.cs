using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

internal enum RepairKind
{
    /// <summary>The same triangles, vertices moved.</summary>
    Reshape,

    /// <summary>Other triangles in the same rim.</summary>
    Refill,

    /// <summary>Triangles cut along each other, and what then lies inside taken away.</summary>
    Fuse,

    /// <summary>Triangles at an open border taken away; what else that opens is filled.</summary>
    Trim,

    /// <summary>Triangles taken away and nothing put in their place.</summary>
    Open,
}

/// <summary>What would stand in the place of some triangles of a mesh.</summary>
/// <param name="Removed">Triangles that change or go, ascending.</param>
/// <param name="Triangles">Corners: a vertex of the mesh, or ~i for new point i.</param>
/// <param name="Points">New points; for a reshape the new places of <paramref name="MovedVertices"/>. Rounded to float32.</param>
/// <param name="MovedVertices">For a reshape: the vertices that move; the triangles are then those removed, in the same order.</param>
/// <param name="Moved">How far vertices, or the surface where they went, would move.</param>
/// <param name="Origins">Of each triangle; null means filled.</param>
internal sealed record Replacement(
    RepairKind Kind,
    int[] Removed,
    (int A, int B, int C)[] Triangles,
    Vec3[] Points,
    int[] MovedVertices,
    DistanceTally Moved,
    Origin[]? Origins = null)
{
    /// <returns>Number of each triangle in the mesh afterwards.</returns>
    public int[] Apply(EditableMesh mesh)
    {
        if (Kind == RepairKind.Reshape)
        {
            for (var i = 0; i < MovedVertices.Length; i++)
                mesh.MoveVertex(MovedVertices[i], Points[i]);
            var moved = MovedVertices.ToHashSet();
            foreach (var t in Removed)
            {
                var (a, b, c) = mesh.Triangle(t);
                if (moved.Contains(a) || moved.Contains(b) || moved.Contains(c))
                    mesh.SetTriangle(t, a, b, c, Origin.Filled);
            }

            return Removed;
        }

        foreach (var t in Removed)
            mesh.RemoveTriangle(t);
        var first = mesh.VertexCount;
        foreach (var p in Points)
            mesh.AddVertex(p);
        int Number(int v) => v < 0 ? first + ~v : v;
        var numbers = new int[Triangles.Length];
        for (var i = 0; i < numbers.Length; i++)
        {
            var (a, b, c) = Triangles[i];
            numbers[i] = mesh.AddTriangle(Number(a), Number(b), Number(c), Origins is null ? Origin.Filled : Origins[i]);
        }

        return numbers;
    }
}
