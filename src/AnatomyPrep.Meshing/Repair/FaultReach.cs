using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Which triangles lie within three edge lengths of a fault, measured along edges.</summary>
internal static class FaultReach
{
    private const double EdgeLengths = 3;

    /// <param name="faults">Triangles; each reaches three times the larger of the mesh's mean edge and its own.</param>
    /// <returns>Per triangle: has it a corner within reach?</returns>
    /// <remarks>Dijkstra from all corners of faults, by what is left of each one's reach: O(k log k) for k vertices within reach.</remarks>
    public static bool[] Find(Mesh mesh, IEnumerable<int> faults)
    {
        var around = VertexTriangles.Of(mesh);
        var meanMm = MeanEdge(mesh, 0, mesh.Triangles.Length);
        var left = new double[mesh.VertexCount];
        Array.Fill(left, double.NegativeInfinity);
        var open = new PriorityQueue<int, double>();
        foreach (var t in faults)
        {
            var reach = EdgeLengths * Math.Max(meanMm, MeanEdge(mesh, 3 * t, 3));
            for (var c = 3 * t; c < (3 * t) + 3; c++)
                Offer(mesh.Triangles[c], reach);
        }

        while (open.TryDequeue(out var v, out var spent))
        {
            if (-spent < left[v])
                continue;
            foreach (var corner in around.CornersAt(v))
            {
                int p = mesh.Triangles[EdgeTable.Next(corner)], q = mesh.Triangles[EdgeTable.Previous(corner)];
                Offer(p, left[v] - Vec3.Distance(mesh.Local(v), mesh.Local(p)));
                Offer(q, left[v] - Vec3.Distance(mesh.Local(v), mesh.Local(q)));
            }
        }

        var within = new bool[mesh.TriangleCount];
        for (var h = 0; h < mesh.Triangles.Length; h++)
            within[h / 3] |= left[mesh.Triangles[h]] >= 0;
        return within;

        void Offer(int v, double reach)
        {
            if (reach < 0 || reach <= left[v])
                return;
            left[v] = reach;
            open.Enqueue(v, -reach);
        }
    }

    private static double MeanEdge(Mesh mesh, int from, int count)
    {
        double sum = 0;
        for (var h = from; h < from + count; h++)
            sum += Vec3.Distance(mesh.Local(mesh.Triangles[h]), mesh.Local(mesh.Triangles[EdgeTable.Next(h)]));
        return sum / Math.Max(1, count);
    }
}
