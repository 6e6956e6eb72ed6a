using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>A part of a layer with nothing below it.</summary>
/// <param name="AtMm">Its lowest point.</param>
/// <param name="AboveBedMm">Height of that.</param>
/// <param name="RiseMm">How far it grows before it meets the rest; infinity when it never does.</param>
/// <param name="Layer">Number of the layer it begins in, from 1.</param>
public sealed record Island(Vec3 AtMm, double AboveBedMm, double RiseMm, int Layer);

/// <summary>Finds the places where a layer begins in the air when a model is made from the bed upward.</summary>
/// <remarks>
/// Method: join tree of the height over the surface (H. Carr, J. Snoeyink, U. Axen, "Computing contour trees in all dimensions", Computational
///   Geometry 24, 2003; from memory): vertices are taken from the lowest up and joined with lower neighbours; the outline that began
///   higher ends where two meet. An outline whose lowest vertex has material above it (its normal points down) is a part of the layer; where the
///   normal points up it is the bottom of a hollow and no island. One that meets the rest within a layer is none either.
/// Independent of any grid: an island of a hundredth of a millimetre is found when it rises by a layer.
/// Equal heights are taken by number. O(n log n) on one thread; memory 16 bytes a vertex.
/// </remarks>
public static class Islands
{
    /// <param name="up">Away from the bed.</param>
    /// <returns>From the lowest up.</returns>
    /// <exception cref="OperationCanceledException">Asked every few thousand vertices.</exception>
    public static IReadOnlyList<Island> Find(Mesh mesh, Vec3 up, double layerHeightMm, RunContext run)
    {
        up = up.Normalized();
        var heights = new double[mesh.VertexCount];
        for (var v = 0; v < heights.Length; v++)
            heights[v] = Vec3.Dot(mesh.Local(v), up);
        var around = VertexTriangles.Of(mesh, run);
        var order = Enumerable.Range(0, heights.Length).Where(v => around.CornersAt(v).Length > 0).ToArray();
        Array.Sort(Array.ConvertAll(order, v => heights[v]), order);
        Settle(order, heights);
        if (order.Length == 0)
            return [];
        var bed = heights[order[0]];
        var rank = new int[heights.Length];
        for (var i = 0; i < order.Length; i++)
            rank[order[i]] = i;
        var root = new int[heights.Length];
        Array.Fill(root, -1);
        var islands = new List<Island>();
        for (var i = 0; i < order.Length; i++)
        {
            if ((i & 0xFFFF) == 0)
                run.ThrowIfCancelled();
            Join(mesh, around, order[i], rank, root, heights, (lowest, meets) => Add(lowest, heights[meets] - heights[lowest]));
        }

        // Outlines that never met another: the pieces themselves.
        for (var v = 0; v < root.Length; v++)
            if (root[v] == v)
                Add(v, double.PositiveInfinity);
        return [.. islands.OrderBy(f => f.AboveBedMm).ThenBy(f => f.AtMm.X).ThenBy(f => f.AtMm.Y)];

        void Add(int lowest, double rise)
        {
            var above = heights[lowest] - bed;
            if (above < layerHeightMm || rise < layerHeightMm || !FacesDown(mesh, around, lowest, up))
                return;
            islands.Add(new(mesh.Vertex(lowest), above, rise, (int)Math.Floor(above / layerHeightMm) + 1));
        }
    }

    /// <summary>Sorting by height alone leaves equal ones in no stated order.</summary>
    private static void Settle(int[] order, double[] heights)
    {
        for (var i = 0; i < order.Length;)
        {
            var j = i + 1;
            while (j < order.Length && heights[order[j]] == heights[order[i]])
                j++;
            if (j - i > 1)
                Array.Sort(order, i, j - i);
            i = j;
        }
    }

    private static void Join(Mesh mesh, VertexTriangles around, int v, int[] rank, int[] root, double[] heights, Action<int, int> met)
    {
        root[v] = v;
        var own = v;
        foreach (var corner in around.CornersAt(v))
        {
            var first = 3 * (corner / 3);
            for (var h = first; h < first + 3; h++)
            {
                var other = mesh.Triangles[h];
                if (other == v || rank[other] > rank[v])
                    continue;
                var theirs = Root(root, other);
                if (theirs == own)
                    continue;
                // The one that began lower goes on.
                var (older, younger) = rank[theirs] < rank[own] ? (theirs, own) : (own, theirs);
                if (younger != v)
                    met(younger, v);
                root[younger] = older;
                own = older;
            }
        }
    }

    private static int Root(int[] root, int v)
    {
        while (root[v] != v)
            v = root[v] = root[root[v]];
        return v;
    }

    private static bool FacesDown(Mesh mesh, VertexTriangles around, int v, Vec3 up)
    {
        var sum = Vec3.Zero;
        foreach (var corner in around.CornersAt(v))
        {
            var (a, b, c) = mesh.Triangle(corner / 3);
            var p = mesh.Local(a);
            sum += Vec3.Cross(mesh.Local(b) - p, mesh.Local(c) - p).Normalized();
        }

        return Vec3.Dot(sum, up) < 0;
    }
}
