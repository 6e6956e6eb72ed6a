using System.Numerics;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Marks vertices that an operation shall leave where they are.</summary>
internal static class PinnedVertices
{
    internal static bool[] Mark(Mesh mesh, VertexRings rings, IrregularRings irregular, bool borders, bool rims)
    {
        var pinned = new bool[mesh.VertexCount];
        if (borders)
            MarkBorders(rings, irregular, pinned);
        if (rims)
            MarkRims(mesh, pinned);
        return pinned;
    }

    /// <summary>Vertices on an open border, and vertices that no triangle uses or more than two share an edge at.</summary>
    internal static void MarkBorders(VertexRings rings, IrregularRings irregular, bool[] pinned)
    {
        for (var i = 0; i < irregular.Vertices.Length; i++)
            pinned[irregular.Vertices[i]] |= irregular.OnBorder(i) || irregular.NonManifold(i) || irregular.Ring(i).Length == 0;
    }

    /// <summary>Vertices whose triangles have more than one origin: the rims of cuts, fillings and added parts.</summary>
    internal static void MarkRims(Mesh mesh, bool[] pinned)
    {
        var origins = mesh.Origins;
        if (origins.IsEmpty || origins.IndexOfAnyExcept(origins[0]) < 0)
            return;
        var seen = new byte[mesh.VertexCount];
        var triangles = mesh.Triangles;
        for (var h = 0; h < triangles.Length; h++)
            seen[triangles[h]] |= (byte)(1 << (int)origins[h / 3]);
        for (var v = 0; v < seen.Length; v++)
            pinned[v] |= BitOperations.PopCount(seen[v]) > 1;
    }
}
