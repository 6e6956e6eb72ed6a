using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>A result of the engine as a mesh that remembers where its triangles and vertices come from.</summary>
/// <param name="VertexIsNew">Per vertex: made by the cut. All others have the bytes of a source vertex.</param>
/// <param name="Whole">Source triangles that came through whole, over all sources.</param>
/// <param name="SourceOf">Per triangle, the number of the source solid it lies in.</param>
/// <param name="TriangleInSource">Per triangle, the one of that source it lies in.</param>
/// <remarks>
/// Order: vertices of the sources in their order, then those of the cut; triangles in the order of the source triangles they lie
/// in. So a combination changes no more of a file than it must, and the engine's own order does not show.
/// </remarks>
internal sealed record CombinedMesh(Mesh Mesh, bool[] VertexIsNew, int Whole, int[] SourceOf, int[] TriangleInSource)
{
    public static CombinedMesh From(EngineResult result, SolidEngine engine)
    {
        var (key, first) = SourceVertices(result, engine, out var whole);
        var triangleOrder = StableOrder(result.Faces);
        var vertexOrder = VertexOrder(result, key, triangleOrder);
        var renumber = new int[vertexOrder.Length];
        var positions = new float[3 * vertexOrder.Length];
        var isNew = new bool[vertexOrder.Length];
        for (var i = 0; i < vertexOrder.Length; i++)
        {
            var v = vertexOrder[i];
            renumber[v] = i;
            isNew[i] = key[v] == long.MaxValue;
            result.Positions.AsSpan(3 * v, 3).CopyTo(positions.AsSpan(3 * i));
        }

        var triangles = new int[result.Triangles.Length];
        var origins = new Origin[result.Faces.Length];
        var sourceOf = new int[result.Faces.Length];
        var inSource = new int[result.Faces.Length];
        for (var i = 0; i < triangleOrder.Length; i++)
        {
            var t = triangleOrder[i];
            for (var c = 0; c < 3; c++)
                triangles[(3 * i) + c] = renumber[result.Triangles[(3 * t) + ((c + first[t]) % 3)]];
            sourceOf[i] = engine.SourceOfFace(result.Faces[t]);
            var source = engine.Sources[sourceOf[i]];
            inSource[i] = result.Faces[t] - source.FirstFace;
            origins[i] = source.Mesh.Origins[inSource[i]];
        }

        return new(new(engine.OriginMm, positions, triangles, origins), isNew, whole, sourceOf, inSource);
    }

    /// <summary>
    /// Per vertex of the result: number of the source vertex with the same bytes at the same corner, over all sources; per
    /// triangle: which corner is the source triangle's first.
    /// </summary>
    private static (long[] Key, byte[] First) SourceVertices(EngineResult result, SolidEngine engine, out int whole)
    {
        var first = new byte[result.Faces.Length];
        var key = new long[result.Positions.Length / 3];
        Array.Fill(key, long.MaxValue);
        whole = 0;
        for (var t = 0; t < result.Faces.Length; t++)
        {
            var index = engine.SourceOfFace(result.Faces[t]);
            var source = engine.Sources[index];
            var corners = source.Mesh.Triangles.Slice(3 * (result.Faces[t] - source.FirstFace), 3);
            var found = 0;
            for (var c = 0; c < 3; c++)
            {
                var v = result.Triangles[(3 * t) + c];
                var at = result.Positions.AsSpan(3 * v, 3);
                foreach (var corner in corners)
                {
                    if (!at.SequenceEqual(source.Mesh.Positions.Slice(3 * corner, 3)))
                        continue;
                    key[v] = Math.Min(key[v], source.FirstVertex + corner);
                    found++;
                    if (corner == corners[0])
                        first[t] = (byte)c;
                    break;
                }
            }

            whole += found == 3 ? 1 : 0;
        }

        return (key, first);
    }

    private static int[] VertexOrder(EngineResult result, long[] key, int[] triangleOrder)
    {
        // New vertices by first use, behind all others.
        var firstUse = new int[key.Length];
        Array.Fill(firstUse, int.MaxValue);
        var next = 0;
        foreach (var t in triangleOrder)
            for (var c = 3 * t; c < (3 * t) + 3; c++)
                if (firstUse[result.Triangles[c]] == int.MaxValue)
                    firstUse[result.Triangles[c]] = next++;
        var order = new int[key.Length];
        for (var v = 0; v < order.Length; v++)
            order[v] = v;
        Array.Sort(order, (a, b) => key[a] != key[b] ? key[a].CompareTo(key[b]) : firstUse[a].CompareTo(firstUse[b]));
        return order;
    }

    private static int[] StableOrder(int[] faces)
    {
        var keys = new long[faces.Length];
        for (var t = 0; t < keys.Length; t++)
            keys[t] = ((long)faces[t] << 32) | (uint)t;
        Array.Sort(keys);
        return Array.ConvertAll(keys, k => (int)(uint)k);
    }
}
