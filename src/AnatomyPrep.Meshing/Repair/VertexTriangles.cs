using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>The corners 3t + c at each vertex of a mesh, ascending. O(triangles); 4 bytes a vertex and 12 a triangle.</summary>
internal sealed class VertexTriangles
{
    private readonly int[] _start;
    private readonly int[] _corners;

    public VertexTriangles(Mesh mesh)
    {
        _start = new int[mesh.VertexCount + 1];
        var triangles = mesh.Triangles;
        foreach (var v in triangles)
            _start[v + 1]++;
        for (var v = 0; v < mesh.VertexCount; v++)
            _start[v + 1] += _start[v];
        _corners = new int[triangles.Length];
        var next = _start.AsSpan(0, mesh.VertexCount).ToArray();
        for (var c = 0; c < triangles.Length; c++)
            _corners[next[triangles[c]]++] = c;
    }

    public ReadOnlySpan<int> CornersAt(int v) => _corners.AsSpan(_start[v], _start[v + 1] - _start[v]);
}
