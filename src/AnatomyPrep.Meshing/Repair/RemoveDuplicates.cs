using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Nothing to set; the record exists so that the step is called like every other.</summary>
public sealed record RemoveDuplicatesParameters;

/// <summary>Removes triangles that use the same three vertices as another one, without opening the surface.</summary>
/// <remarks>
/// Copies that face the same way: the first stays. Copies that face both ways in equal number cancel (a sheet of no
/// thickness) where every edge has an even number of other users, so that dropping all of them leaves no edge single;
/// otherwise one stays, the one that runs against most of its neighbours' edges, as a consistent surface must.
/// Triangles that name a vertex twice are left to <see cref="RemoveDegenerates"/>.
/// Counting sort on the smallest vertex, then a sort of each short bucket: O(triangles); peak: two ints a triangle, and
/// the edges around the copies.
/// </remarks>
public static class RemoveDuplicates
{
    public static RepairResult Apply(Mesh mesh, RemoveDuplicatesParameters parameters, RunContext run)
    {
        ArgumentNullException.ThrowIfNull(parameters);
        run.ThrowIfCancelled();
        var groups = FindGroups(mesh);
        var keep = new bool[mesh.TriangleCount];
        Array.Fill(keep, true);
        var edges = groups.Count == 0 ? null : new EdgeUsers(mesh, groups);
        int removed = 0, cancelled = 0;
        double areaMm2 = 0;
        foreach (var group in groups)
        {
            var survivor = Survivor(mesh, group, edges!);
            cancelled += survivor < 0 ? 1 : 0;
            foreach (var t in group)
            {
                if (t == survivor)
                    continue;
                keep[t] = false;
                removed++;
                areaMm2 += MeshMeasures.TriangleAreaMm2(mesh, t);
            }
        }

        var measures = new Dictionary<string, double> { ["duplicatesRemoved"] = removed, ["doubledSheetsCancelled"] = cancelled };
        if (removed == 0)
            return RepairResult.Unchanged(mesh, run, measures: measures);
        var finding = new Finding(
            FindingCodes.DuplicatesRemoved,
            Severity.Note,
            string.Create(CultureInfo.InvariantCulture, $"{removed} triangles doubled another one and were removed."),
            "Nothing to do; the surface is the same.",
            new Place(PositionMm: mesh.Vertex(mesh.Triangle(groups[0][0]).A), FirstTriangle: groups[0][0]));
        return RepairResult.Changed(mesh, MeshSubset.Keep(mesh, keep), areaMm2, default, run, measures, [finding]);
    }

    /// <summary>Sets of two or more triangles over the same three different vertices, ordered by first triangle, each ascending.</summary>
    internal static List<int[]> FindGroups(Mesh mesh)
    {
        var start = new int[mesh.VertexCount + 1];
        for (var t = 0; t < mesh.TriangleCount; t++)
            start[Key(mesh, t).Low + 1]++;
        for (var v = 0; v < mesh.VertexCount; v++)
            start[v + 1] += start[v];
        var byLow = new int[mesh.TriangleCount];
        var next = start.AsSpan(0, mesh.VertexCount).ToArray();
        for (var t = 0; t < mesh.TriangleCount; t++)
            byLow[next[Key(mesh, t).Low]++] = t;

        var groups = new List<int[]>();
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var bucket = byLow.AsSpan(start[v], start[v + 1] - start[v]);
            if (bucket.Length < 2)
                continue;
            bucket.Sort((s, t) => (Key(mesh, s), s).CompareTo((Key(mesh, t), t)));
            for (var i = 0; i < bucket.Length;)
            {
                var key = Key(mesh, bucket[i]);
                var j = i + 1;
                while (j < bucket.Length && Key(mesh, bucket[j]) == key)
                    j++;
                if (j - i > 1 && key.Low != key.Middle && key.Middle != key.High)
                    groups.Add(bucket[i..j].ToArray());
                i = j;
            }
        }

        groups.Sort((g, h) => g[0].CompareTo(h[0]));
        return groups;
    }

    private static (int Low, int Middle, int High) Key(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        if (a > b)
            (a, b) = (b, a);
        if (b > c)
            (b, c) = (c, b);
        return a > b ? (b, a, c) : (a, b, c);
    }

    /// <returns>The triangle that stays, or -1 when all of them cancel.</returns>
    private static int Survivor(Mesh mesh, int[] group, EdgeUsers edges)
    {
        var first = group[0];
        var turned = Array.FindAll(group, t => !SameTurn(mesh, first, t));
        if (2 * turned.Length != group.Length)
            return 2 * turned.Length < group.Length ? first : turned[0];

        var (a, b, c) = mesh.Triangle(first);
        int odd = 0, against = 0;
        foreach (var (from, to) in ((int, int)[])[(a, b), (b, c), (c, a)])
        {
            // Each copy uses the edge once, half of them in either direction.
            var along = edges.Count(from, to) - (group.Length / 2);
            var opposite = edges.Count(to, from) - (group.Length / 2);
            odd += (along + opposite) & 1;
            against += opposite - along;
        }

        if (odd == 0)
            return -1;
        return against >= 0 ? first : turned[0];
    }

    private static bool SameTurn(Mesh mesh, int s, int t)
    {
        var (a, b, _) = mesh.Triangle(s);
        var (p, q, r) = mesh.Triangle(t);
        return (p == a && q == b) || (q == a && r == b) || (r == a && p == b);
    }

    /// <summary>How often each directed edge of the doubled triangles is used in the whole mesh.</summary>
    private sealed class EdgeUsers
    {
        private readonly Dictionary<(int From, int To), int> _uses = [];

        public EdgeUsers(Mesh mesh, List<int[]> groups)
        {
            foreach (var group in groups)
            {
                var (a, b, c) = mesh.Triangle(group[0]);
                foreach (var edge in ((int, int)[])[(a, b), (b, c), (c, a), (b, a), (c, b), (a, c)])
                    _uses[edge] = 0;
            }

            var near = new bool[mesh.VertexCount];
            foreach (var (from, _) in _uses.Keys)
                near[from] = true;
            var triangles = mesh.Triangles;
            for (var h = 0; h < triangles.Length; h++)
            {
                if (!near[triangles[h]])
                    continue;
                var edge = (triangles[h], triangles[EdgeTable.Next(h)]);
                if (_uses.TryGetValue(edge, out var uses))
                    _uses[edge] = uses + 1;
            }
        }

        public int Count(int from, int to) => _uses[(from, to)];
    }
}
