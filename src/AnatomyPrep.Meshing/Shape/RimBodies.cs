using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Sorts the rim of a cut by bodies, for meshes in which bodies overlap.</summary>
internal static class RimBodies
{
    /// <summary>One rim for each connected part of the mesh; the rim of a void goes to the smallest body around it.</summary>
    internal static List<(int From, int To)[]> Split(Mesh open, (int From, int To)[] rim, int dropAxis, bool swap)
    {
        var part = Parts(open);
        var rims = new SortedDictionary<int, List<(int From, int To)>>();
        foreach (var edge in rim)
        {
            if (!rims.TryGetValue(part[edge.From], out var list))
                rims.Add(part[edge.From], list = []);
            list.Add(edge);
        }

        (double U, double V) At(int vertex)
        {
            var p = open.Local(vertex);
            var (u, v) = (p[(dropAxis + 1) % 3], p[(dropAxis + 2) % 3]);
            return swap ? (v, u) : (u, v);
        }

        var bodies = new List<(double Area, List<(int From, int To)> Rim)>();
        var voids = new List<List<(int From, int To)>>();
        foreach (var list in rims.Values)
        {
            double area = 0;
            foreach (var (from, to) in list)
                area += Cross(At(to), At(from)) / 2;
            if (area >= 0)
                bodies.Add((area, list));
            else
                voids.Add(list);
        }

        var around = voids.ConvertAll(hole => Around(bodies, At(hole[0].From), At));
        for (var i = 0; i < voids.Count; i++)
            around[i]?.AddRange(voids[i]);
        var split = bodies.ConvertAll(body => body.Rim.ToArray());
        for (var i = 0; i < voids.Count; i++)
            if (around[i] is null)
                split.Add([.. voids[i]]);
        return split;
    }

    private static int[] Parts(Mesh mesh)
    {
        var parent = new int[mesh.VertexCount];
        for (var v = 0; v < parent.Length; v++)
            parent[v] = v;
        int Root(int v)
        {
            while (parent[v] != v)
                v = parent[v] = parent[parent[v]];
            return v;
        }

        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            foreach (var v in (ReadOnlySpan<int>)[b, c])
            {
                var (ra, rv) = (Root(a), Root(v));
                parent[Math.Max(ra, rv)] = Math.Min(ra, rv);
            }
        }

        for (var v = 0; v < parent.Length; v++)
            parent[v] = Root(v);
        return parent;
    }

    private static List<(int From, int To)>? Around(
        List<(double Area, List<(int From, int To)> Rim)> bodies, (double U, double V) point, Func<int, (double U, double V)> at)
    {
        List<(int From, int To)>? best = null;
        var least = double.PositiveInfinity;
        foreach (var (area, rim) in bodies)
            if (area < least && Contains(rim, point, at))
                (best, least) = (rim, area);
        return best;
    }

    private static bool Contains(List<(int From, int To)> rim, (double U, double V) p, Func<int, (double U, double V)> at)
    {
        var inside = false;
        foreach (var (from, to) in rim)
        {
            var (a, b) = (at(from), at(to));
            if ((a.V > p.V) != (b.V > p.V) && p.U < a.U + ((b.U - a.U) * (p.V - a.V) / (b.V - a.V)))
                inside = !inside;
        }

        return inside;
    }

    private static double Cross((double U, double V) a, (double U, double V) b) => (a.U * b.V) - (a.V * b.U);
}
