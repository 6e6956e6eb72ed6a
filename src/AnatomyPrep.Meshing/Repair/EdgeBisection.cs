using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Tells apart two edges of one surface that join the same two vertices, by a new vertex in the middle of one of them.</summary>
/// <remarks>
/// At every edge that still has more than two triangles, or two that run the same way, all pairs but the first, and single
/// triangles, are halved. The new vertex lies off the old edge by the
/// separation, towards the apexes of its own triangles. New edges have a new end, so one pass is enough.
/// </remarks>
internal static class EdgeBisection
{
    public static Mesh Apply(Mesh mesh, Dictionary<int, int> pairs, double separationMm, out int bisected)
    {
        bisected = 0;
        var edges = EdgeTable.Build(mesh);
        if (edges.NonManifoldEdges == 0 && edges.InconsistentEdges == 0)
            return mesh;
        var faults = new SortedDictionary<(int, int), List<int>>();
        for (var h = 0; h < edges.Opposite.Length; h++)
        {
            if (edges.Opposite[h] is not (EdgeTable.NonManifold or EdgeTable.Inconsistent))
                continue;
            int u = mesh.Triangles[h], v = mesh.Triangles[EdgeTable.Next(h)];
            var key = (Math.Min(u, v), Math.Max(u, v));
            if (!faults.TryGetValue(key, out var users))
                faults[key] = users = [];
            users.Add(h);
        }

        var editor = new EditableMesh(mesh);
        var slots = new Dictionary<int, int>();
        foreach (var ((u, v), users) in faults)
        {
            foreach (var group in Groups(users, pairs).Skip(1))
            {
                Halve(editor, slots, group, u, v, separationMm);
                bisected++;
            }
        }

        return editor.Build(out _);
    }

    private static IEnumerable<int[]> Groups(List<int> users, Dictionary<int, int> pairs)
    {
        foreach (var h in users)
        {
            if (!pairs.TryGetValue(h, out var o) || !users.Contains(o))
                yield return [h];
            else if (h < o)
                yield return [h, o];
        }
    }

    // A triangle may be halved at one edge after another: slots says where an edge's part of it has gone.
    private static void Halve(EditableMesh editor, Dictionary<int, int> slots, int[] halfEdges, int u, int v, double separationMm)
    {
        Vec3 middle = (editor.Local(u) + editor.Local(v)) * 0.5, apexes = default;
        foreach (var h in halfEdges)
            apexes += editor.Local(editor.Apex(slots.GetValueOrDefault(h, h / 3), u, v));
        var inward = (apexes / halfEdges.Length) - middle;
        var m = editor.AddVertex(middle + (inward.Normalized() * Math.Min(separationMm, inward.Length / 2)));
        foreach (var h in halfEdges)
        {
            var part = slots.GetValueOrDefault(h, h / 3);
            var (a, b, c) = editor.Triangle(part);
            // Turned so that the edge comes first.
            while (!((a == u && b == v) || (a == v && b == u)))
                (a, b, c) = (b, c, a);
            editor.SetTriangle(part, a, m, c, editor.OriginOf(part));
            var added = editor.AddTriangle(m, b, c, editor.OriginOf(part));
            var next = EdgeTable.Next(h);
            if (slots.GetValueOrDefault(next, next / 3) == part)
                slots[next] = added;
        }
    }
}
