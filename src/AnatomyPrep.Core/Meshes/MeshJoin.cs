namespace AnatomyPrep.Core.Meshes;

/// <summary>Several meshes as one, side by side in the order given.</summary>
public static class MeshJoin
{
    /// <summary>Positions, triangles and origins one after another, unchanged. O(size); memory: the result.</summary>
    /// <exception cref="ArgumentException">The meshes do not share one <see cref="Mesh.OriginMm"/>.</exception>
    public static Mesh Join(IReadOnlyList<Mesh> meshes)
    {
        if (meshes.Count == 0)
            return Mesh.Empty;
        var originMm = meshes[0].OriginMm;
        if (meshes.Any(m => m.OriginMm != originMm))
            throw new ArgumentException("Meshes are joined about one origin.", nameof(meshes));
        var positions = new float[checked(meshes.Sum(m => m.Positions.Length))];
        var triangles = new int[checked(meshes.Sum(m => m.Triangles.Length))];
        var origins = new Origin[triangles.Length / 3];
        int firstVertex = 0, firstCorner = 0;
        foreach (var mesh in meshes)
        {
            mesh.Positions.CopyTo(positions.AsSpan(3 * firstVertex));
            mesh.Origins.CopyTo(origins.AsSpan(firstCorner / 3));
            foreach (var v in mesh.Triangles)
                triangles[firstCorner++] = v + firstVertex;
            firstVertex += mesh.VertexCount;
        }

        return new(originMm, positions, triangles, origins);
    }
}
