using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>The triangle across each half-edge where exactly two triangles use the edge, whichever way round they run.</summary>
internal sealed class TriangleNeighbours
{
    private readonly int[] _across;
    private readonly bool[] _turned;

    private TriangleNeighbours(int[] across, bool[] turned)
    {
        _across = across;
        _turned = turned;
    }

    /// <summary>The edge table's partners, and the pairs it marks as inconsistent found again by their ends.</summary>
    public static TriangleNeighbours Build(Mesh mesh) => Build(mesh.Triangles, EdgeTable.Build(mesh));

    public static TriangleNeighbours Build(ReadOnlySpan<int> triangles, EdgeTable edges)
    {
        var across = new int[triangles.Length];
        var turned = new bool[triangles.Length];
        var waiting = new Dictionary<(int, int), int>();
        for (var h = 0; h < across.Length; h++)
        {
            var o = edges.Opposite[h];
            across[h] = o >= 0 ? o / 3 : -1;
            if (o != EdgeTable.Inconsistent)
                continue;
            var ends = (triangles[h], triangles[EdgeTable.Next(h)]);
            turned[h] = true;
            if (waiting.Remove(ends, out var g))
                (across[h], across[g]) = (g / 3, h / 3);
            else
                waiting[ends] = h;
        }

        return new(across, turned);
    }

    /// <summary>The other triangle at the edge, or -1.</summary>
    public int Across(int halfEdge) => _across[halfEdge];

    /// <summary>Do both triangles run along the edge in the same direction?</summary>
    public bool IsTurned(int halfEdge) => _turned[halfEdge];
}
