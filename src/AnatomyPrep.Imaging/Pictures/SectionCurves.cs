using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Exact section of a mesh by a plane at right angles to a patient axis.</summary>
/// <remarks>
/// Method: a vertex on the plane counts as above it (the plane is taken a hair lower: symbolic perturbation, Edelsbrunner,
/// Mücke, "Simulation of Simplicity", ACM Trans. Graphics 9(1), 1990). So a triangle has none or two crossed edges, a face
/// in the plane has none, and every crossed edge of a closed surface joins two segments. The point of an edge is computed
/// once from its lower to its higher vertex number, so both triangles see the same bits.
/// Gives: for a closed, consistently oriented mesh only closed curves; seen from the positive end of the axis the solid is
/// on the left. Open or tangled meshes give open curves too, never fewer segments. Repeated points are left out.
/// Order: curves by their first segment's triangle, open ones first; the same on any number of threads.
/// Error: rounding of a double. Cost: O(triangles) + O(s log s) for s segments; memory 24 bytes a segment.
/// </remarks>
public static class SectionCurves
{
    private const int PieceTriangles = 1 << 15;
    private const int None = -1;

    /// <param name="axis">0 for x, 1 for y, 2 for z.</param>
    /// <exception cref="OperationCanceledException">Asked once per 32,768 triangles.</exception>
    public static IReadOnlyList<SectionCurve> Cut(Mesh mesh, int axis, double positionMm, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfGreaterThan((uint)axis, 2U, nameof(axis));
        var segments = Cross(mesh, axis, positionMm, run);
        var next = Link(segments);
        var hasPrevious = new bool[segments.Count];
        foreach (var n in next)
            if (n != None)
                hasPrevious[n] = true;

        var curves = new List<SectionCurve>();
        var used = new bool[segments.Count];
        for (var s = 0; s < segments.Count; s++)
            if (!hasPrevious[s])
                Walk(s);
        for (var s = 0; s < segments.Count; s++)
            if (!used[s])
                Walk(s);
        return curves;

        void Walk(int first)
        {
            var points = new List<Vec3>();
            var origins = new List<Origin>();
            var at = first;
            while (at != None && !used[at])
            {
                used[at] = true;
                Append(points, origins, Point(mesh, segments[at].From, axis, positionMm), mesh.Origins[segments[at].Triangle]);
                if (next[at] == None)
                    Append(points, origins, Point(mesh, segments[at].To, axis, positionMm), Origin.Measured);
                at = next[at];
            }

            if (Finish(points, origins, closed: at != None) is { } curve)
                curves.Add(curve);
        }
    }

    /// <summary>Segments in triangle order, each from the edge that leads down through the plane to the one that leads up.</summary>
    private static List<Segment> Cross(Mesh mesh, int axis, double positionMm, RunContext run)
    {
        var pieces = new List<Segment>[Partition.Pieces(mesh.TriangleCount, PieceTriangles)];
        var (positions, triangles) = (mesh.PositionArray, mesh.TriangleArray);
        var level = positionMm - mesh.OriginMm[axis];
        Partition.Ranges(run, mesh.TriangleCount, PieceTriangles, (piece, from, to) =>
        {
            var found = new List<Segment>();
            for (var t = from; t < to; t++)
            {
                int a = triangles[3 * t], b = triangles[(3 * t) + 1], c = triangles[(3 * t) + 2];
                bool aboveA = positions[(3 * a) + axis] >= level, aboveB = positions[(3 * b) + axis] >= level, aboveC = positions[(3 * c) + axis] >= level;
                if (aboveA == aboveB && aboveB == aboveC)
                    continue;
                long down = 0, up = 0;
                Note(a, b, aboveA, aboveB, ref down, ref up);
                Note(b, c, aboveB, aboveC, ref down, ref up);
                Note(c, a, aboveC, aboveA, ref down, ref up);
                found.Add(new(down, up, t));
            }

            pieces[piece] = found;
        });
        var all = new List<Segment>();
        foreach (var piece in pieces)
            all.AddRange(piece);
        return all;
    }

    private static void Note(int from, int to, bool fromAbove, bool toAbove, ref long down, ref long up)
    {
        if (fromAbove == toAbove)
            return;
        var key = ((long)Math.Min(from, to) << 32) | (uint)Math.Max(from, to);
        if (fromAbove)
            down = key;
        else
            up = key;
    }

    /// <summary>For each segment the one that starts on the edge where it ends; each is taken once, in triangle order.</summary>
    private static int[] Link(List<Segment> segments)
    {
        var starts = Order(segments, s => s.From);
        var ends = Order(segments, s => s.To);
        var next = new int[segments.Count];
        Array.Fill(next, None);
        int i = 0, j = 0;
        while (i < ends.Length && j < starts.Length)
        {
            var (end, start) = (segments[ends[i]].To, segments[starts[j]].From);
            if (end == start)
                next[ends[i++]] = starts[j++];
            else if (end < start)
                i++;
            else
                j++;
        }

        return next;
    }

    private static int[] Order(List<Segment> segments, Func<Segment, long> edge)
    {
        var order = new (long Edge, int Segment)[segments.Count];
        for (var s = 0; s < order.Length; s++)
            order[s] = (edge(segments[s]), s);
        Array.Sort(order);
        return Array.ConvertAll(order, o => o.Segment);
    }

    private static Vec3 Point(Mesh mesh, long edge, int axis, double positionMm)
    {
        Vec3 a = mesh.Local((int)(edge >> 32)), b = mesh.Local((int)edge);
        var p = Vec3.Lerp(a, b, (positionMm - mesh.OriginMm[axis] - a[axis]) / (b[axis] - a[axis])) + mesh.OriginMm;
        return axis switch
        {
            0 => p with { X = positionMm },
            1 => p with { Y = positionMm },
            _ => p with { Z = positionMm },
        };
    }

    private static void Append(List<Vec3> points, List<Origin> origins, Vec3 point, Origin after)
    {
        if (points.Count > 0 && points[^1] == point)
        {
            origins[^1] = after; // The segment between two equal points is no segment.
            return;
        }

        points.Add(point);
        origins.Add(after);
    }

    private static SectionCurve? Finish(List<Vec3> points, List<Origin> origins, bool closed)
    {
        if (closed && points.Count > 1 && points[^1] == points[0])
        {
            points.RemoveAt(points.Count - 1);
            origins.RemoveAt(origins.Count - 1);
        }

        if (points.Count < 2)
            return null;
        if (!closed)
            origins.RemoveAt(origins.Count - 1);
        return new(points, origins, closed);
    }

    /// <summary>One triangle's share: edges as smaller vertex × 2^32 + larger.</summary>
    private readonly record struct Segment(long From, long To, int Triangle);
}
