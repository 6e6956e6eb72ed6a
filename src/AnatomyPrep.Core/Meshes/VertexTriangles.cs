using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Meshes;

/// <summary>The triangles at every vertex, by their corners 3t + c there, ascending.</summary>
/// <remarks>
/// Counting sort, O(triangles); 4 bytes a vertex and 12 a triangle. A triangle that names a vertex twice has two corners at it.
/// </remarks>
public sealed class VertexTriangles
{
    private readonly int[] _start;
    private readonly int[] _corners;

    private VertexTriangles(int[] start, int[] corners)
    {
        _start = start;
        _corners = corners;
    }

    public int VertexCount => _start.Length - 1;

    public static VertexTriangles Of(Mesh mesh, RunContext? run = null) => Build(mesh.Triangles, mesh.VertexCount, run);

    /// <exception cref="OperationCanceledException">Asked every few thousand triangles.</exception>
    public static VertexTriangles Build(ReadOnlySpan<int> triangles, int vertices, RunContext? run = null)
    {
        var start = new int[vertices + 1];
        foreach (var v in triangles)
            start[v + 1]++;
        for (var v = 0; v < vertices; v++)
            start[v + 1] += start[v];
        var corners = new int[triangles.Length];
        for (var h = 0; h < triangles.Length; h++)
        {
            if ((h & 0x3FFFF) == 0)
                run?.ThrowIfCancelled();
            corners[start[triangles[h]]++] = h;
        }

        // start[v] has run to the end of v's list, which is the beginning of the next.
        for (var v = vertices; v > 0; v--)
            start[v] = start[v - 1];
        start[0] = 0;
        return new(start, corners);
    }

    public ReadOnlySpan<int> CornersAt(int v) => _corners.AsSpan(_start[v], _start[v + 1] - _start[v]);
}
