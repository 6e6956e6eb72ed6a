namespace AnatomyPrep.Core.Meshes;

/// <summary>
/// Which half-edges lie opposite each other. Half-edge h = 3t + c runs from corner c to corner c + 1 of triangle t.
/// </summary>
/// <remarks>
/// Built by counting sort on the smaller vertex, then on the larger: O(triangles), same result on any machine.
/// Two half-edges are partners only when exactly two triangles use the edge and run along it in opposite directions.
/// </remarks>
public sealed class EdgeTable
{
    /// <summary>No other triangle uses the edge.</summary>
    public const int Boundary = -1;

    /// <summary>More than two triangles use the edge.</summary>
    public const int NonManifold = -2;

    /// <summary>Two triangles use the edge in the same direction: one of them is turned over.</summary>
    public const int Inconsistent = -3;

    /// <summary>The half-edge joins a vertex to itself (a degenerate triangle).</summary>
    public const int Degenerate = -4;

    private readonly int[] _opposite;

    private EdgeTable(int[] opposite, int edges, int boundary, int nonManifold, int inconsistent)
    {
        _opposite = opposite;
        EdgeCount = edges;
        BoundaryEdges = boundary;
        NonManifoldEdges = nonManifold;
        InconsistentEdges = inconsistent;
    }

    /// <summary>Partner of each half-edge, or one of the negative marks above.</summary>
    public ReadOnlySpan<int> Opposite => _opposite;

    public int[] OppositeArray => _opposite;

    /// <summary>Undirected edges between different vertices.</summary>
    public int EdgeCount { get; }

    public int BoundaryEdges { get; }

    public int NonManifoldEdges { get; }

    public int InconsistentEdges { get; }

    public static EdgeTable Build(Mesh mesh) => Build(mesh.Triangles, mesh.VertexCount);

    public static EdgeTable Build(ReadOnlySpan<int> triangles, int vertexCount)
    {
        var halfEdges = triangles.Length;
        var start = new int[vertexCount + 1];
        for (var h = 0; h < halfEdges; h++)
        {
            var (from, to) = Ends(triangles, h);
            if (from != to)
                start[Math.Min(from, to) + 1]++;
        }

        for (var v = 0; v < vertexCount; v++)
            start[v + 1] += start[v];
        var byLow = new int[start[vertexCount]];
        var next = start.AsSpan(0, vertexCount).ToArray();
        var opposite = new int[halfEdges];
        for (var h = 0; h < halfEdges; h++)
        {
            var (from, to) = Ends(triangles, h);
            if (from == to)
                opposite[h] = Degenerate;
            else
                byLow[next[Math.Min(from, to)]++] = h;
        }

        int edges = 0, boundary = 0, nonManifold = 0, inconsistent = 0;
        for (var v = 0; v < vertexCount; v++)
        {
            var fan = byLow.AsSpan(start[v], start[v + 1] - start[v]);
            SortByHigh(fan, triangles);
            for (var i = 0; i < fan.Length;)
            {
                var high = High(triangles, fan[i]);
                var j = i + 1;
                while (j < fan.Length && High(triangles, fan[j]) == high)
                    j++;
                edges++;
                Pair(fan[i..j], triangles, opposite, ref boundary, ref nonManifold, ref inconsistent);
                i = j;
            }
        }

        return new(opposite, edges, boundary, nonManifold, inconsistent);
    }

    /// <summary>
    /// The half-edge that leaves the end of a border half-edge within the same fan of triangles and has no partner, found by turning
    /// about that vertex: the next of the border where <see cref="Opposite"/> of it is <see cref="Boundary"/>.
    /// </summary>
    public int AroundEnd(int border)
    {
        var h = Next(border);
        while (_opposite[h] >= 0)
            h = Next(_opposite[h]);
        return h;
    }

    /// <summary>Next half-edge of the same triangle.</summary>
    public static int Next(int h) => h % 3 == 2 ? h - 2 : h + 1;

    /// <summary>Previous half-edge of the same triangle.</summary>
    public static int Previous(int h) => h % 3 == 0 ? h + 2 : h - 1;

    private static void Pair(
        ReadOnlySpan<int> users, ReadOnlySpan<int> triangles, int[] opposite, ref int boundary, ref int nonManifold, ref int inconsistent)
    {
        if (users.Length == 1)
        {
            opposite[users[0]] = Boundary;
            boundary++;
        }
        else if (users.Length > 2)
        {
            foreach (var h in users)
                opposite[h] = NonManifold;
            nonManifold++;
        }
        else if (triangles[users[0]] == triangles[users[1]])
        {
            opposite[users[0]] = opposite[users[1]] = Inconsistent;
            inconsistent++;
        }
        else
        {
            opposite[users[0]] = users[1];
            opposite[users[1]] = users[0];
        }
    }

    private static (int From, int To) Ends(ReadOnlySpan<int> triangles, int h) => (triangles[h], triangles[Next(h)]);

    private static int High(ReadOnlySpan<int> triangles, int h)
    {
        var (from, to) = Ends(triangles, h);
        return Math.Max(from, to);
    }

    // Fans are short (valence 6 on average), so insertion sort is the fastest; it is stable, so ties keep half-edge order.
    private static void SortByHigh(Span<int> fan, ReadOnlySpan<int> triangles)
    {
        if (fan.Length > 64)
        {
            var keys = new long[fan.Length];
            for (var i = 0; i < fan.Length; i++)
                keys[i] = ((long)High(triangles, fan[i]) << 32) | (uint)fan[i];
            Array.Sort(keys);
            for (var i = 0; i < fan.Length; i++)
                fan[i] = (int)(uint)keys[i];
            return;
        }

        for (var i = 1; i < fan.Length; i++)
        {
            var h = fan[i];
            var high = High(triangles, h);
            var j = i - 1;
            while (j >= 0 && High(triangles, fan[j]) > high)
            {
                fan[j + 1] = fan[j];
                j--;
            }

            fan[j + 1] = h;
        }
    }
}
