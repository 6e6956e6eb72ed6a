using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Decides which of the triangles at one edge go on belonging together.</summary>
/// <remarks>
/// The triangles are sorted by their angle about the edge. Where their directions alternate all the way round, solids meet
/// in the edge: each pair that has material between it stays together, so the solids part. Otherwise the two of opposite
/// direction that continue each other flattest are paired, then the next, and what is left over is border: a fin comes
/// loose from the surface it stands on. Material is behind a triangle that runs counter-clockwise seen from outside.
/// </remarks>
internal static class EdgePairing
{
    /// <param name="users">Half-edges on one undirected edge, three or more, in any directions.</param>
    /// <param name="pair">Called for half-edges of opposite direction that stay together.</param>
    public static void Pair(Mesh mesh, ReadOnlySpan<int> users, Action<int, int> pair)
    {
        int u = mesh.Triangles[users[0]], v = mesh.Triangles[EdgeTable.Next(users[0])];
        var (low, high) = (Math.Min(u, v), Math.Max(u, v));
        var spokes = Sort(mesh, users, low, high);
        if (spokes.Length % 2 == 0 && Alternates(spokes))
        {
            PairAroundMaterial(spokes, pair);
            return;
        }

        var open = new List<Spoke>(spokes);
        while (FlattestPair(open) is var (first, second) && first >= 0)
        {
            pair(open[first].HalfEdge, open[second].HalfEdge);
            open.RemoveAt(second);
            open.RemoveAt(first);
        }
    }

    private static Spoke[] Sort(Mesh mesh, ReadOnlySpan<int> users, int low, int high)
    {
        var from = mesh.Local(low);
        var axis = (mesh.Local(high) - from).Normalized();
        var spokes = new Spoke[users.Length];
        Vec3 x = default, y = default;
        for (var i = 0; i < users.Length; i++)
        {
            var apex = mesh.Local(mesh.Triangles[EdgeTable.Previous(users[i])]) - from;
            apex -= axis * Vec3.Dot(apex, axis);
            if (i == 0)
            {
                x = apex.Normalized();
                y = Vec3.Cross(axis, x);
            }

            var angle = Math.Atan2(Vec3.Dot(apex, y), Vec3.Dot(apex, x));
            spokes[i] = new Spoke(users[i], mesh.Triangles[users[i]] == low, i == 0 ? 0 : angle < 0 ? angle + (2 * Math.PI) : angle);
        }

        Array.Sort(spokes, (a, b) => (a.Angle, a.HalfEdge).CompareTo((b.Angle, b.HalfEdge)));
        return spokes;
    }

    private static bool Alternates(Spoke[] spokes)
    {
        for (var i = 0; i < spokes.Length; i++)
            if (spokes[i].RunsUp == spokes[(i + 1) % spokes.Length].RunsUp)
                return false;
        return true;
    }

    // Looking down the edge, angles grow counter-clockwise. A triangle low → high → apex has its normal towards growing
    // angle, so its material lies towards smaller angles: it pairs with the spoke before it.
    private static void PairAroundMaterial(Spoke[] spokes, Action<int, int> pair)
    {
        for (var i = 0; i < spokes.Length; i++)
            if (spokes[i].RunsUp)
                pair(spokes[i].HalfEdge, spokes[(i + spokes.Length - 1) % spokes.Length].HalfEdge);
    }

    private static (int First, int Second) FlattestPair(List<Spoke> spokes)
    {
        var (best, found) = (double.PositiveInfinity, (-1, -1));
        for (var i = 0; i < spokes.Count; i++)
        {
            for (var j = i + 1; j < spokes.Count; j++)
            {
                if (spokes[i].RunsUp == spokes[j].RunsUp)
                    continue;
                var bend = Math.Abs(Math.PI - (spokes[j].Angle - spokes[i].Angle));
                if (bend < best)
                    (best, found) = (bend, (i, j));
            }
        }

        return found;
    }

    /// <param name="RunsUp">From the lower vertex number to the higher.</param>
    private readonly record struct Spoke(int HalfEdge, bool RunsUp, double Angle);
}
