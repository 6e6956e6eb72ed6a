using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Keeps some triangles of a mesh, in their order and with the bytes of their vertices.</summary>
internal static class MeshSubset
{
    /// <param name="keep">One per triangle.</param>
    /// <returns>
    /// The same mesh when every triangle is kept. Otherwise vertices that only dropped triangles used are gone; vertices
    /// that nobody used before stay.
    /// </returns>
    /// <remarks>O(vertices + triangles); peak: one int per vertex beside the output.</remarks>
    public static Mesh Keep(Mesh mesh, ReadOnlySpan<bool> keep)
    {
        var kept = 0;
        foreach (var k in keep)
            kept += k ? 1 : 0;
        if (kept == mesh.TriangleCount)
            return mesh;

        // 0: never used, 1: used by dropped triangles only, 2: used by a kept one.
        var use = new byte[mesh.VertexCount];
        var triangles = mesh.Triangles;
        for (var t = 0; t < keep.Length; t++)
        {
            var level = keep[t] ? (byte)2 : (byte)1;
            for (var c = 3 * t; c < (3 * t) + 3; c++)
                use[triangles[c]] = Math.Max(use[triangles[c]], level);
        }

        var (positions, renumber) = PackVertices(mesh.Positions, v => use[v] != 1);
        var newTriangles = new int[3 * kept];
        var origins = new Origin[kept];
        var at = 0;
        for (var t = 0; t < keep.Length; t++)
        {
            if (!keep[t])
                continue;
            for (var c = 0; c < 3; c++)
                newTriangles[(3 * at) + c] = renumber[triangles[(3 * t) + c]];
            origins[at++] = mesh.Origins[t];
        }

        return new(mesh.OriginMm, positions, newTriangles, origins);
    }

    /// <returns>The kept vertices in order, and the new number of each old vertex (-1: gone).</returns>
    internal static (float[] Positions, int[] Renumber) PackVertices(ReadOnlySpan<float> positions, Func<int, bool> keepVertex)
    {
        var renumber = new int[positions.Length / 3];
        var count = 0;
        for (var v = 0; v < renumber.Length; v++)
            renumber[v] = keepVertex(v) ? count++ : -1;
        var packed = new float[3 * count];
        for (var v = 0; v < renumber.Length; v++)
            if (renumber[v] >= 0)
                positions.Slice(3 * v, 3).CopyTo(packed.AsSpan(3 * renumber[v], 3));
        return (packed, renumber);
    }
}
