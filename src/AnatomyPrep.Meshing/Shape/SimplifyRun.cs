using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>One simplification: pieces in parallel, then the seams between them and the rest of the way in one piece.</summary>
internal sealed class SimplifyRun
{
    private const int PieceTriangles = 1 << 15;
    private const double PointWeight = 1e-5;
    private const double SeamWeight = 10;

    private readonly Mesh _mesh;
    private readonly int _target;
    private readonly double _limitMm;
    private readonly RunContext _run;
    private readonly VertexTriangles _at;
    private readonly byte[] _kind;
    private readonly byte[] _seams;
    private readonly int[] _into;
    private readonly float[] _positions;

    internal SimplifyRun(Mesh mesh, SimplifyParameters parameters, int target, RunContext run)
    {
        (_mesh, _target, _run) = (mesh, target, run);
        _limitMm = parameters.MaxDistanceMm is { } limit ? limit * 0.9 : double.PositiveInfinity;
        _at = VertexTriangles.Build(mesh.Triangles, mesh.VertexCount, run);
        _kind = VertexKinds.Find(mesh.TriangleArray, _at, run);
        var pinned = new bool[mesh.VertexCount];
        if (parameters.PinRims)
            PinnedVertices.MarkRims(mesh, pinned);
        for (var v = 0; v < pinned.Length; v++)
            if (pinned[v] || (parameters.PinBoundary && _kind[v] == EdgeCollapser.Border))
                _kind[v] = EdgeCollapser.Pinned;
        _seams = VertexKinds.Seams(mesh, _at, !parameters.PinBoundary, !parameters.PinRims, run);
        _into = new int[mesh.VertexCount];
        for (var v = 0; v < _into.Length; v++)
            _into[v] = v;
        _positions = [.. mesh.PositionArray];
    }

    public static Action<string>? Trace;
    private readonly System.Diagnostics.Stopwatch _sw = System.Diagnostics.Stopwatch.StartNew();

    internal void Collapse()
    {
        Trace?.Invoke($"setup {_sw.Elapsed.TotalMilliseconds:F0}");
        if (_mesh.TriangleCount >= 3 * PieceTriangles)
            CollapsePieces();
        Trace?.Invoke($"pieces {_sw.Elapsed.TotalMilliseconds:F0}");
        CollapseRest();
        Trace?.Invoke($"rest {_sw.Elapsed.TotalMilliseconds:F0}");
    }

    internal Mesh Result()
    {
        var corners = _mesh.TriangleArray;
        var index = new int[_mesh.VertexCount];
        var (triangles, origins) = (new List<int>(), new List<Origin>());
        for (var t = 0; t < _mesh.TriangleCount; t++)
        {
            var (a, b, c) = (Root(corners[3 * t]), Root(corners[(3 * t) + 1]), Root(corners[(3 * t) + 2]));
            if (a == b || b == c || c == a)
                continue;
            triangles.AddRange([a, b, c]);
            origins.Add(_mesh.Origins[t]);
            index[a] = index[b] = index[c] = 1;
        }

        var positions = new List<float>();
        for (var v = 0; v < index.Length; v++)
        {
            if (index[v] == 0)
                continue;
            index[v] = positions.Count / 3;
            positions.AddRange(_positions.AsSpan(3 * v, 3));
        }

        int[] renumbered = [.. triangles];
        for (var i = 0; i < renumbered.Length; i++)
            renumbered[i] = index[renumbered[i]];
        Trace?.Invoke($"result {_sw.Elapsed.TotalMilliseconds:F0}");
        return new(_mesh.OriginMm, [.. positions], renumbered, [.. origins]);
    }

    private int Root(int v)
    {
        while (_into[v] != v)
            v = _into[v] = _into[_into[v]];
        return v;
    }

    private void CollapsePieces()
    {
        var order = MortonBlocks.Order(_mesh, _run);
        Trace?.Invoke($"morton {_sw.Elapsed.TotalMilliseconds:F0}");
        var pieces = Partition.Pieces(order.Length, PieceTriangles);
        var pieceOf = PieceOfVertex(order, pieces);
        var share = _target / (double)_mesh.TriangleCount;
        var logs = new List<Collapse>[pieces];
        Partition.For(_run, pieces, i => logs[i] = CollapsePiece(Slice(order, i), i, pieceOf, share / 4));
        Trace?.Invoke($"logs {_sw.Elapsed.TotalMilliseconds:F0}");
        var wanted = Wanted(pieceOf, share);
        var limit = CostLimit(logs, wanted);
        foreach (var log in logs)
            foreach (var collapse in log)
            {
                if (collapse.Cost > limit)
                    break;
                Apply(collapse);
            }
    }

    private static Span<int> Slice(int[] order, int piece) =>
        order.AsSpan(piece * PieceTriangles, Math.Min(PieceTriangles, order.Length - (piece * PieceTriangles)));

    private void Apply(in Collapse c)
    {
        _into[c.Removed] = c.Kept;
        (_positions[3 * c.Kept], _positions[(3 * c.Kept) + 1], _positions[(3 * c.Kept) + 2]) = (c.X, c.Y, c.Z);
    }

    /// <summary>The piece that holds all triangles of a vertex, or -1.</summary>
    private int[] PieceOfVertex(int[] order, int pieces)
    {
        var pieceOf = new int[_mesh.VertexCount];
        Array.Fill(pieceOf, -2);
        var corners = _mesh.TriangleArray;
        for (var piece = 0; piece < pieces; piece++)
            foreach (var t in Slice(order, piece))
                for (var h = 3 * t; h < (3 * t) + 3; h++)
                    pieceOf[corners[h]] = pieceOf[corners[h]] == -2 || pieceOf[corners[h]] == piece ? piece : -1;
        return pieceOf;
    }

    /// <summary>Collapses to be done in the pieces so that they come out as coarse as the whole shall.</summary>
    private static long Wanted(int[] pieceOf, double share)
    {
        long inside = 0;
        foreach (var piece in pieceOf)
            inside += piece >= 0 ? 1 : 0;
        return (long)(inside * (1 - share));
    }

    private static float CostLimit(List<Collapse>[] logs, long wanted)
    {
        var count = 0;
        foreach (var log in logs)
            count += log.Count;
        if (wanted >= count)
            return float.PositiveInfinity;
        var costs = new float[count];
        var at = 0;
        foreach (var log in logs)
            foreach (var collapse in log)
                costs[at++] = collapse.Cost;
        Array.Sort(costs);
        return wanted <= 0 ? -1 : costs[wanted - 1];
    }

    private List<Collapse> CollapsePiece(ReadOnlySpan<int> triangles, int piece, int[] pieceOf, double share)
    {
        var local = new LocalMesh(_mesh, _positions, triangles, v => v);
        var kind = new byte[local.Vertices.Length];
        for (var v = 0; v < kind.Length; v++)
            kind[v] = pieceOf[local.Vertices[v]] == piece ? _kind[local.Vertices[v]] : EdgeCollapser.Frozen;
        var quadrics = new Quadric[kind.Length];
        for (var i = 0; i < triangles.Length; i++)
            AddQuadrics(triangles[i], local.Corners[3 * i], local.Corners[(3 * i) + 1], local.Corners[(3 * i) + 2], quadrics);
        var points = Track(local, kind);
        var log = new EdgeCollapser(local.Positions, local.Corners, kind, quadrics, points).Run((int)(triangles.Length * share), _run);
        for (var i = 0; i < log.Count; i++)
            log[i] = log[i] with { Removed = local.Vertices[log[i].Removed], Kept = local.Vertices[log[i].Kept] };
        return log;
    }

    private TrackedPoints? Track(LocalMesh local, byte[] kind)
    {
        if (double.IsInfinity(_limitMm))
            return null;
        var points = new TrackedPoints([.. local.Positions], local.Corners.Length / 3, _limitMm);
        var done = new bool[kind.Length];
        for (var h = 0; h < local.Corners.Length; h++)
        {
            var v = local.Corners[h];
            if (done[v] || kind[v] == EdgeCollapser.Frozen)
                continue;
            done[v] = true;
            points.Assign(v, h / 3);
        }

        return points;
    }

    /// <summary>A third of the triangle's quadric to each corner, and the walls that hold borders and rims in place.</summary>
    private void AddQuadrics(int t, int a, int b, int c, Quadric[] quadrics)
    {
        var (corners, p) = (_mesh.TriangleArray, _mesh.PositionArray);
        int i = 3 * corners[3 * t], j = 3 * corners[(3 * t) + 1], k = 3 * corners[(3 * t) + 2];
        double ax = p[i], ay = p[i + 1], az = p[i + 2];
        double ux = p[j] - ax, uy = p[j + 1] - ay, uz = p[j + 2] - az;
        double vx = p[k] - ax, vy = p[k + 1] - ay, vz = p[k + 2] - az;
        double nx = (uy * vz) - (uz * vy), ny = (uz * vx) - (ux * vz), nz = (ux * vy) - (uy * vx);
        var length = Math.Sqrt((nx * nx) + (ny * ny) + (nz * nz));
        if (!(length > 0))
            return;
        (nx, ny, nz) = (nx / length, ny / length, nz / length);
        var quadric = default(Quadric);
        var weight = length / 6;
        quadric.AddPlane(nx, ny, nz, -((nx * ax) + (ny * ay) + (nz * az)), weight);
        quadric.AddPoint(ax + ((ux + vx) / 3), ay + ((uy + vy) / 3), az + ((uz + vz) / 3), weight * PointWeight);
        quadrics[a].Add(quadric);
        quadrics[b].Add(quadric);
        quadrics[c].Add(quadric);
        if (_seams[t] == 0)
            return;
        Span<int> local = [a, b, c];
        Span<int> at = [i, j, k];
        for (var side = 0; side < 3; side++)
            if ((_seams[t] >> side & 1) != 0)
                AddWall(at[side], at[(side + 1) % 3], nx, ny, nz, ref quadrics[local[side]], ref quadrics[local[(side + 1) % 3]]);
    }

    /// <summary>The plane through an edge at right angles to its triangle.</summary>
    private void AddWall(int from, int to, double nx, double ny, double nz, ref Quadric a, ref Quadric b)
    {
        var p = _mesh.PositionArray;
        double ex = (double)p[to] - p[from], ey = (double)p[to + 1] - p[from + 1], ez = (double)p[to + 2] - p[from + 2];
        double wx = (ey * nz) - (ez * ny), wy = (ez * nx) - (ex * nz), wz = (ex * ny) - (ey * nx);
        var length = Math.Sqrt((wx * wx) + (wy * wy) + (wz * wz));
        if (!(length > 0))
            return;
        (wx, wy, wz) = (wx / length, wy / length, wz / length);
        var quadric = default(Quadric);
        quadric.AddPlane(wx, wy, wz, -((wx * p[from]) + (wy * p[from + 1]) + (wz * p[from + 2])), SeamWeight * length * length);
        a.Add(quadric);
        b.Add(quadric);
    }

    private void CollapseRest()
    {
        var left = new List<int>();
        var corners = _mesh.TriangleArray;
        for (var t = 0; t < _mesh.TriangleCount; t++)
        {
            var (a, b, c) = (Root(corners[3 * t]), Root(corners[(3 * t) + 1]), Root(corners[(3 * t) + 2]));
            if (a != b && b != c && c != a)
                left.Add(t);
        }

        Trace?.Invoke($"left {left.Count} {_sw.Elapsed.TotalMilliseconds:F0}");
        if (left.Count <= _target)
            return;
        var local = new LocalMesh(_mesh, _positions, System.Runtime.InteropServices.CollectionsMarshal.AsSpan(left), Root);
        var index = new int[_mesh.VertexCount];
        for (var v = 0; v < local.Vertices.Length; v++)
            index[local.Vertices[v]] = v;
        var kind = Array.ConvertAll(local.Vertices, v => _kind[v]);
        var quadrics = new Quadric[kind.Length];
        for (var t = 0; t < _mesh.TriangleCount; t++)
            AddQuadrics(t, index[Root(corners[3 * t])], index[Root(corners[(3 * t) + 1])], index[Root(corners[(3 * t) + 2])], quadrics);
        Trace?.Invoke($"local {_sw.Elapsed.TotalMilliseconds:F0}");
        var collapser = new EdgeCollapser(local.Positions, local.Corners, kind, quadrics, TrackAll(local, index));
        Trace?.Invoke($"collapser {_sw.Elapsed.TotalMilliseconds:F0}");
        foreach (var c in collapser.Run(_target, _run))
            Apply(c with { Removed = local.Vertices[c.Removed], Kept = local.Vertices[c.Kept] });
    }

    /// <summary>All vertices of the input, each at the nearest triangle around the vertex it went into.</summary>
    private TrackedPoints? TrackAll(LocalMesh local, int[] index)
    {
        if (double.IsInfinity(_limitMm))
            return null;
        var around = VertexTriangles.Build(local.Corners, local.Vertices.Length, _run);
        var nearest = new int[_mesh.VertexCount];
        for (var v = 0; v < nearest.Length; v++)
            nearest[v] = Root(v);
        Partition.Ranges(_run, nearest.Length, 1 << 14, (_, from, to) =>
        {
            var p = _mesh.PositionArray;
            for (var v = from; v < to; v++)
            {
                var least = double.PositiveInfinity;
                var root = index[nearest[v]];
                nearest[v] = -1;
                if (local.Vertices.Length == 0 || _at.At(v).IsEmpty)
                    continue;
                foreach (var t in around.At(root))
                {
                    var squared = local.SquaredDistance(t, p[3 * v], p[(3 * v) + 1], p[(3 * v) + 2]);
                    if (squared < least)
                        (nearest[v], least) = (t, squared);
                }
            }
        });
        var points = new TrackedPoints(_mesh.PositionArray, local.Corners.Length / 3, _limitMm);
        for (var v = nearest.Length - 1; v >= 0; v--)
            if (nearest[v] >= 0)
                points.Assign(v, nearest[v]);
        return points;
    }
}
