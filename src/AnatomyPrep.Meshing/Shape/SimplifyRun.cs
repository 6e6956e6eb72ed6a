using System.Runtime.InteropServices;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>One simplification: pieces in parallel, then the seams between them and the rest of the way in one piece.</summary>
/// <remarks>
/// The pieces are runs of 32,768 triangles in Morton order; what lies on a seam stays until the last pass. Each piece keeps a log of
/// its collapses, cheapest first, and all logs are cut off at one cost, so that the pieces come out evenly coarse.
/// Where the result is at fault, vertices are guarded (<see cref="Guard"/>), then shielded (<see cref="Shield"/>), and only the pieces
/// that hold them are done again, which leave them to the last pass. No later round goes beyond the cost that the first one ended
/// with, so that the rest does not pay for what may not go any more: it comes on top of the target.
/// </remarks>
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
    private readonly int[] _order;
    private readonly int[] _pieceOf;
    private readonly PieceLog?[] _logs;
    private readonly bool[] _stale;
    private readonly bool[] _guarded;
    private bool _anyGuarded;
    private float? _pieceCost;
    private float? _lastCost;

    /// <param name="limitMm">Vertices of the input stay within this of the surface; infinity where none is stated.</param>
    internal SimplifyRun(Mesh mesh, SimplifyParameters parameters, int target, double limitMm, RunContext run)
    {
        (_mesh, _target, _limitMm, _run) = (mesh, target, limitMm, run);
        _at = VertexTriangles.Of(mesh, run);
        _kind = VertexKinds.Find(mesh.TriangleArray, _at, run);
        var pinned = new bool[mesh.VertexCount];
        if (parameters.PinRims)
            PinnedVertices.MarkRims(mesh, pinned);
        for (var v = 0; v < pinned.Length; v++)
            if (pinned[v] || (parameters.PinBoundary && _kind[v] == EdgeCollapser.Border))
                _kind[v] = EdgeCollapser.Pinned;
        _seams = VertexKinds.Seams(mesh, _at, !parameters.PinBoundary, !parameters.PinRims, run);
        _into = new int[mesh.VertexCount];
        _positions = new float[mesh.Positions.Length];
        var inPieces = mesh.TriangleCount >= 3 * PieceTriangles;
        _order = inPieces ? MortonBlocks.Order(mesh, run) : [];
        _logs = new PieceLog?[Partition.Pieces(_order.Length, PieceTriangles)];
        _stale = new bool[_logs.Length];
        _pieceOf = inPieces ? PieceOfVertex(_order, _logs.Length) : [];
        _guarded = new bool[mesh.VertexCount];
    }

    /// <summary>From the input's triangles to the target or as far as it goes.</summary>
    /// <param name="input">Needed with a distance, and where anything is guarded.</param>
    /// <param name="bound">Distance to the input, for guarded places; null where none is stated.</param>
    internal SimplifiedMesh Collapse(Lazy<TriangleTree> input, HausdorffBound? bound)
    {
        for (var v = 0; v < _into.Length; v++)
            _into[v] = v;
        _mesh.Positions.CopyTo(_positions);
        CollapsePieces(input);
        CollapseRest(input, bound);
        return Result();
    }

    /// <summary>Collapses near these vertices are looked at closely from now on.</summary>
    internal void Guard(IEnumerable<int> vertices)
    {
        foreach (var v in vertices)
        {
            _guarded[v] = _anyGuarded = true;
            DoAgain(v);
        }
    }

    /// <summary>These vertices stay, with every triangle of theirs alone, from now on.</summary>
    internal void Shield(IEnumerable<int> vertices)
    {
        foreach (var v in vertices)
        {
            _kind[v] = EdgeCollapser.Frozen;
            DoAgain(v);
        }
    }

    /// <summary>The logs of the pieces that a vertex or a neighbour of it lies in no longer hold: what one may do bears on the others.</summary>
    private void DoAgain(int v)
    {
        if (_pieceOf.Length == 0)
            return;
        foreach (var corner in _at.CornersAt(v))
            for (var h = corner - (corner % 3); h <= corner - (corner % 3) + 2; h++)
                if (_pieceOf[_mesh.TriangleArray[h]] is >= 0 and var piece)
                    _stale[piece] = true;
    }

    /// <summary>The triangles at a vertex of the input, by their corners there.</summary>
    internal ReadOnlySpan<int> Around(int v) => _at.CornersAt(v);

    private SimplifiedMesh Result()
    {
        var corners = _mesh.TriangleArray;
        var index = new int[_mesh.VertexCount];
        for (var v = 0; v < index.Length; v++)
            _into[v] = Root(v);
        var (triangles, kept) = (new List<int>(), new List<int>());
        for (var t = 0; t < _mesh.TriangleCount; t++)
        {
            var (a, b, c) = (_into[corners[3 * t]], _into[corners[(3 * t) + 1]], _into[corners[(3 * t) + 2]]);
            if (a == b || b == c || c == a)
                continue;
            triangles.AddRange([a, b, c]);
            kept.Add(t);
            index[a] = index[b] = index[c] = 1;
        }

        var vertices = new List<int>();
        for (var v = 0; v < index.Length; v++)
            if (index[v] != 0)
            {
                index[v] = vertices.Count;
                vertices.Add(v);
            }

        var positions = new float[3 * vertices.Count];
        for (var v = 0; v < vertices.Count; v++)
            _positions.AsSpan(3 * vertices[v], 3).CopyTo(positions.AsSpan(3 * v, 3));
        int[] renumbered = [.. triangles];
        for (var i = 0; i < renumbered.Length; i++)
            renumbered[i] = index[renumbered[i]];
        var origins = new Origin[kept.Count];
        for (var i = 0; i < origins.Length; i++)
            origins[i] = _mesh.Origins[kept[i]];
        return new(new(_mesh.OriginMm, positions, renumbered, origins), [.. vertices], [.. kept], _into);
    }

    private int Root(int v)
    {
        while (_into[v] != v)
            v = _into[v] = _into[_into[v]];
        return v;
    }

    private void CollapsePieces(Lazy<TriangleTree> input)
    {
        if (_logs.Length == 0)
            return;
        var share = _target / (double)_mesh.TriangleCount;
        Partition.For(_run, _logs.Length, i =>
        {
            _logs[i] = _logs[i] is not { } log ? CollapsePiece(i, share / 4, input) : _stale[i] ? ReplayPiece(i, log) : log;
            _stale[i] = false;
        });
        var limit = _pieceCost ??= CostLimit(_logs, Wanted(_pieceOf, share));
        foreach (var log in _logs)
            foreach (var collapse in log!.Collapses)
            {
                if (collapse.Cost > limit)
                    break;
                Apply(collapse, log.Vertices);
            }
    }

    private static Span<int> Slice(int[] order, int piece) =>
        order.AsSpan(piece * PieceTriangles, Math.Min(PieceTriangles, order.Length - (piece * PieceTriangles)));

    private void Apply(in Collapse c, int[] vertices)
    {
        var kept = vertices[c.Kept];
        _into[vertices[c.Removed]] = kept;
        (_positions[3 * kept], _positions[(3 * kept) + 1], _positions[(3 * kept) + 2]) = (c.X, c.Y, c.Z);
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

    private static float CostLimit(PieceLog?[] logs, long wanted)
    {
        var count = 0;
        foreach (var log in logs)
            count += log!.Collapses.Count;
        if (wanted >= count)
            return float.PositiveInfinity;
        var costs = new float[count];
        var at = 0;
        foreach (var log in logs)
            foreach (var collapse in log!.Collapses)
                costs[at++] = collapse.Cost;
        Array.Sort(costs);
        return wanted <= 0 ? -1 : costs[wanted - 1];
    }

    private PieceLog CollapsePiece(int piece, double share, Lazy<TriangleTree> input)
    {
        var triangles = Slice(_order, piece);
        var local = new LocalMesh(_mesh, _mesh.PositionArray, triangles, v => v);
        var kind = KindsIn(piece, local);
        var quadrics = new Quadric[kind.Length];
        for (var i = 0; i < triangles.Length; i++)
            AddQuadrics(triangles[i], local.Corners[3 * i], local.Corners[(3 * i) + 1], local.Corners[(3 * i) + 2], quadrics);
        var points = Track(local, kind, input);
        var log = new EdgeCollapser(local.Positions, local.Corners, kind, quadrics, points).Run((int)(triangles.Length * share), float.PositiveInfinity, _run);
        return new(log, local.Vertices);
    }

    /// <summary>The same again without what lies at vertices that are guarded or shielded by now.</summary>
    private PieceLog ReplayPiece(int piece, PieceLog log)
    {
        var local = new LocalMesh(_mesh, _mesh.PositionArray, Slice(_order, piece), v => v);
        return new(new EdgeCollapser(local.Positions, local.Corners, KindsIn(piece, local)).Replay(log.Collapses, _run), local.Vertices);
    }

    private byte[] KindsIn(int piece, LocalMesh local)
    {
        var kind = new byte[local.Vertices.Length];
        for (var i = 0; i < kind.Length; i++)
            kind[i] = _pieceOf[local.Vertices[i]] == piece && !_guarded[local.Vertices[i]] ? _kind[local.Vertices[i]] : EdgeCollapser.Frozen;
        return kind;
    }

    private TrackedPoints? Track(LocalMesh local, byte[] kind, Lazy<TriangleTree> input)
    {
        if (double.IsInfinity(_limitMm))
            return null;
        var points = new TrackedPoints(input.Value, [.. local.Positions], local.Corners.Length / 3, _limitMm);
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

    private void CollapseRest(Lazy<TriangleTree> input, HausdorffBound? bound)
    {
        var left = new List<int>();
        var corners = _mesh.TriangleArray;
        for (var t = 0; t < _mesh.TriangleCount; t++)
        {
            var (a, b, c) = (Root(corners[3 * t]), Root(corners[(3 * t) + 1]), Root(corners[(3 * t) + 2]));
            if (a != b && b != c && c != a)
                left.Add(t);
        }

        if (left.Count <= _target)
            return;
        var local = new LocalMesh(_mesh, _positions, CollectionsMarshal.AsSpan(left), Root);
        var index = new int[_mesh.VertexCount];
        for (var v = 0; v < local.Vertices.Length; v++)
            index[local.Vertices[v]] = v;
        for (var v = 0; v < index.Length; v++)
            index[v] = index[Root(v)];
        var kind = Array.ConvertAll(local.Vertices, v => _kind[v]);
        var quadrics = new Quadric[kind.Length];
        for (var t = 0; t < _mesh.TriangleCount; t++)
            AddQuadrics(t, index[corners[3 * t]], index[corners[(3 * t) + 1]], index[corners[(3 * t) + 2]], quadrics);
        var guard = !_anyGuarded ? null : new CollapseGuard(input.Value, bound, index, Array.ConvertAll(local.Vertices, v => _guarded[v]));
        var collapser = new EdgeCollapser(local.Positions, local.Corners, kind, quadrics, TrackAll(local, index, input), guard);
        var log = collapser.Run(_target, _lastCost ?? float.PositiveInfinity, _run);
        _lastCost ??= collapser.Triangles <= _target && log.Count > 0 ? log[^1].Cost : float.PositiveInfinity;
        foreach (var c in log)
            Apply(c, local.Vertices);
    }

    /// <summary>All vertices of the input, each at the nearest triangle around the vertex it went into.</summary>
    private TrackedPoints? TrackAll(LocalMesh local, int[] index, Lazy<TriangleTree> input)
    {
        if (double.IsInfinity(_limitMm))
            return null;
        var around = VertexTriangles.Build(local.Corners, local.Vertices.Length, _run);
        var nearest = new int[_mesh.VertexCount];
        Partition.Ranges(_run, nearest.Length, 1 << 14, (_, from, to) =>
        {
            for (var v = from; v < to; v++)
            {
                var least = double.PositiveInfinity;
                nearest[v] = -1;
                if (local.Vertices.Length == 0 || _at.CornersAt(v).IsEmpty)
                    continue;
                foreach (var corner in around.CornersAt(index[v]))
                {
                    var t = corner / 3;
                    var squared = local.SquaredDistance(t, _mesh.Local(v));
                    if (squared < least)
                        (nearest[v], least) = (t, squared);
                }
            }
        });
        var points = new TrackedPoints(input.Value, _mesh.PositionArray, local.Corners.Length / 3, _limitMm);
        for (var v = nearest.Length - 1; v >= 0; v--)
            if (nearest[v] >= 0)
                points.Assign(v, nearest[v]);
        return points;
    }

    /// <param name="Vertices">The mesh's number of each of the piece's.</param>
    private sealed record PieceLog(List<Collapse> Collapses, int[] Vertices);
}
