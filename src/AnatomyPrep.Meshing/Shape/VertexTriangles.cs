using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>The triangles at every vertex, ascending.</summary>
/// <remarks>
/// Shapes: Start int32[vertices + 1]; Triangles int32[3 · triangles]. Counting sort, O(triangles). A triangle that names a
/// vertex twice appears twice at it.
/// </remarks>
internal sealed class VertexTriangles
{
    private VertexTriangles(int[] start, int[] triangles)
    {
        Start = start;
        Triangles = triangles;
    }

    internal int[] Start { get; }

    internal int[] Triangles { get; }

    internal ReadOnlySpan<int> At(int v) => Triangles.AsSpan(Start[v], Start[v + 1] - Start[v]);

    internal static VertexTriangles Build(ReadOnlySpan<int> corners, int vertices, RunContext run)
    {
        var start = new int[vertices + 1];
        foreach (var v in corners)
            start[v + 1]++;
        for (var v = 0; v < vertices; v++)
            start[v + 1] += start[v];
        var list = new int[corners.Length];
        for (int h = 0, t = 0; h < corners.Length; h += 3, t++)
        {
            if ((t & 0xFFFF) == 0)
                run.ThrowIfCancelled();
            list[start[corners[h]]++] = t;
            list[start[corners[h + 1]]++] = t;
            list[start[corners[h + 2]]++] = t;
        }

        // start[v] has run to the end of v's list, which is the beginning of the next.
        for (var v = vertices; v > 0; v--)
            start[v] = start[v - 1];
        start[0] = 0;
        return new(start, list);
    }
}
