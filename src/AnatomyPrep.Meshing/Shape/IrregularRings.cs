namespace AnatomyPrep.Meshing.Shape;

/// <summary>Neighbours of irregular vertices with the number of triangles at each edge; see <see cref="VertexRings"/>.</summary>
internal sealed class IrregularRings
{
    private readonly (int Vertex, int Triangles)[][] _rings;

    /// <param name="uses">For each vertex the neighbour named by every corner, twice a triangle; sorted here.</param>
    internal IrregularRings(int[] vertices, List<int>[] uses)
    {
        Vertices = vertices;
        _rings = new (int, int)[vertices.Length][];
        for (var i = 0; i < vertices.Length; i++)
        {
            uses[i].Sort();
            var ring = new List<(int, int)>();
            for (var j = 0; j < uses[i].Count;)
            {
                var k = j;
                while (k < uses[i].Count && uses[i][k] == uses[i][j])
                    k++;
                if (uses[i][j] != vertices[i])
                    ring.Add((uses[i][j], k - j));
                j = k;
            }

            _rings[i] = [.. ring];
        }
    }

    internal int[] Vertices { get; }

    /// <summary>Neighbours of the i-th irregular vertex, ascending, each once.</summary>
    internal ReadOnlySpan<(int Vertex, int Triangles)> Ring(int i) => _rings[i];

    internal bool OnBorder(int i)
    {
        foreach (var (_, triangles) in _rings[i])
            if (triangles == 1)
                return true;
        return false;
    }

    internal bool NonManifold(int i)
    {
        foreach (var (_, triangles) in _rings[i])
            if (triangles > 2)
                return true;
        return false;
    }
}
