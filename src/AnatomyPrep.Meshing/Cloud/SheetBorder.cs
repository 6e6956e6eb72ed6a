using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>Where a surface laid through points ends, and what of it was measured.</summary>
/// <remarks>
/// A closing, as of a shape in mathematical morphology: the surface is first cut where no point lies within the closing distance, then
/// taken back from that line by the closing distance and a little more. Gaps up to twice the closing distance stay closed, and the border runs in
/// arcs, a little inside the outermost points: out there a fit has points on one side only, and what is to go on from the border, a fill or
/// a wall, takes its direction from the last triangles. Vertices near the line become the border (<see cref="LineSnap"/>), without needles.
/// Distance to the line is Euclidean, but only where the way along the surface is not much longer: the border on one side of a thin wall does not
/// cut the other side.
/// Cost: 1 µs a vertex and core.
/// </remarks>
internal static class SheetBorder
{
    // Along the edges of a grid's triangles the way is up to a third longer than straight.
    private const double MostDetour = 1.5;

    internal static Mesh Trim(Mesh whole, PointIndex index, PointNormals normals, CloudScales scales, RunContext run)
    {
        var wide = SheetClip.Apply(whole, Within(whole, scales.ClosingMm, index, normals, scales, run));
        var back = scales.ClosingMm + scales.TakenBackMm;
        if (wide.TriangleCount == 0 || !(back > 0))
            return wide;
        var keep = new float[wide.VertexCount];
        var border = BorderVertices(wide);
        if (border.Count == 0)
            return wide;
        var lines = PointIndex.Build(new(Vec3.Zero, [.. border.SelectMany(v => wide.Positions.Slice(3 * v, 3).ToArray())]), run);
        var along = AlongEdges(wide, border, MostDetour * back);
        var p = wide.PositionArray;
        Partition.Ranges(run, keep.Length, 1 << 11, (_, from, to) =>
        {
            Span<int> at = stackalloc int[1];
            Span<float> squared = stackalloc float[1];
            for (var v = from; v < to; v++)
            {
                var near = along[v] < MostDetour * back && lines.Nearest(p[3 * v], p[(3 * v) + 1], p[(3 * v) + 2], at, squared, (float)(4 * back * back)) > 0;
                keep[v] = (float)((near ? Math.Sqrt(squared[0]) : 2 * back) - back);
            }
        });
        return SheetClip.Apply(wide, keep, LineSnap.Find(wide, keep));
    }

    /// <summary>Measured where all three corners are within the support of a point, filled elsewhere.</summary>
    internal static Origin[] Origins(Mesh mesh, PointIndex index, PointNormals normals, CloudScales scales, RunContext run)
    {
        var inside = Within(mesh, scales.SupportMm, index, normals, scales, run);
        var origins = new Origin[mesh.TriangleCount];
        for (var t = 0; t < origins.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            origins[t] = inside[a] > 0 && inside[b] > 0 && inside[c] > 0 ? Origin.Measured : Origin.Filled;
        }

        return origins;
    }

    // By how much a vertex is nearer than a distance. Twice as far is as good as nothing.
    private static float[] Within(Mesh mesh, double distanceMm, PointIndex index, PointNormals normals, CloudScales scales, RunContext run)
    {
        var within = SurfaceSupport.DistancesMm(mesh, index, normals, scales.SupportMm / scales.OffPlaneMm, 2 * distanceMm, run);
        for (var v = 0; v < within.Length; v++)
            within[v] = (float)distanceMm - within[v];
        return within;
    }

    private static List<int> BorderVertices(Mesh mesh)
    {
        var opposite = EdgeTable.Build(mesh).OppositeArray;
        var onBorder = new bool[mesh.VertexCount];
        for (var h = 0; h < opposite.Length; h++)
            if (opposite[h] == EdgeTable.Boundary)
                onBorder[mesh.Triangles[h]] = true;
        return [.. Enumerable.Range(0, onBorder.Length).Where(v => onBorder[v])];
    }

    // Length of the shortest way along edges to a border, infinite beyond the limit.
    private static double[] AlongEdges(Mesh mesh, List<int> border, double limitMm)
    {
        var around = VertexTriangles.Of(mesh);
        var along = new double[mesh.VertexCount];
        Array.Fill(along, double.PositiveInfinity);
        var open = new PriorityQueue<int, double>();
        foreach (var v in border)
            Reach(v, 0);
        while (open.TryDequeue(out var v, out var length))
        {
            if (length > along[v])
                continue;
            foreach (var h in around.CornersAt(v))
            {
                int next = mesh.Triangles[EdgeTable.Next(h)], last = mesh.Triangles[EdgeTable.Previous(h)];
                Reach(next, length + Vec3.Distance(mesh.Local(v), mesh.Local(next)));
                Reach(last, length + Vec3.Distance(mesh.Local(v), mesh.Local(last)));
            }
        }

        return along;

        void Reach(int v, double length)
        {
            if (length >= along[v] || length > limitMm)
                return;
            along[v] = length;
            open.Enqueue(v, length);
        }
    }
}
