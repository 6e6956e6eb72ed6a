using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>What an edge collapse did: <see cref="Removed"/> went into <see cref="Kept"/>, which moved to X, Y, Z.</summary>
/// <param name="Cost">Never less than that of the collapse before.</param>
internal readonly record struct Collapse(int Removed, int Kept, float X, float Y, float Z, float Cost);

/// <summary>Collapses edges of one piece of a mesh, cheapest first.</summary>
/// <remarks>
/// Garland and Heckbert 1997 with lazy costs: a collapse only marks its vertex as changed; an edge there is measured again
///   when it comes up, which is safe because quadrics only grow (<see cref="Quadric"/>).
/// A collapse is done only where it keeps the surface a surface and does not fold it:
///   - link condition (Dey, Edelsbrunner, Guha, Nekhayev, "Topology preserving edge contraction", 1999): the ends share as
///     many neighbours as triangles, two inside and one on a border, and at least three neighbours remain inside;
///   - no triangle turns by more than 75° in one collapse, and none becomes thinner than 1 : 30 unless it was;
///   - where a distance is stated, every vertex of the input that lay nearest to a triangle that changes still lies within it;
///   - where a guard is set, <see cref="CollapseGuard"/> agrees.
/// An edge that may not be collapsed is put aside until one of its ends changes.
/// Shapes: local vertex numbers; half-edge 3t + c from corner c to the next; triangles of a vertex as a linked list of
///   corners; one number per edge, shared by its half-edges, -1 where it can never be collapsed.
/// Cost: O(edges · log edges); about 260 bytes a vertex.
/// </remarks>
internal sealed class EdgeCollapser
{
    /// <summary>May move freely.</summary>
    internal const byte Free = 0;

    /// <summary>On an open border; moves along it.</summary>
    internal const byte Border = 1;

    /// <summary>Stays; others may be collapsed into it.</summary>
    internal const byte Pinned = 2;

    /// <summary>Stays, and no edge of it may be collapsed: its other triangles are not here.</summary>
    internal const byte Frozen = 3;

    private const int MostNeighbours = 96;
    private const int None = -1;

    // cos² 75°, and 30 : 1 as twice the area over the sum of squared edges.
    private const double LeastTurn = 0.067;
    private const double LeastShape = 0.032;

    private readonly float[] _positions;
    private readonly int[] _corners;
    private readonly byte[] _kind;
    private readonly Quadric[] _quadrics;
    private readonly TrackedPoints? _points;
    private readonly CollapseGuard? _guard;

    private readonly int[] _firstCorner;
    private readonly int[] _nextCorner;
    private readonly int[] _touched;
    private readonly int[] _mark;
    private int _marks;

    private readonly int[] _edgeOf;
    private readonly int[] _edgeA;
    private readonly int[] _edgeB;
    private readonly int[] _measured;
    private readonly bool[] _aside;
    private readonly EdgeQueue _queue;
    private readonly List<Collapse> _log = [];

    private readonly int[] _ringU = new int[MostNeighbours];
    private readonly int[] _ringV = new int[MostNeighbours];

    /// <param name="positions">Local copy; changed.</param>
    /// <param name="corners">Local copy; changed.</param>
    /// <param name="points">Vertices of the input to be kept near, or null where no distance is stated.</param>
    /// <param name="guard">Looks closer where earlier rounds went wrong; null where none did.</param>
    internal EdgeCollapser(float[] positions, int[] corners, byte[] kind, Quadric[] quadrics, TrackedPoints? points, CollapseGuard? guard = null)
    {
        (_positions, _corners, _kind, _quadrics, _points, _guard) = (positions, corners, kind, quadrics, points, guard);
        var vertices = kind.Length;
        Triangles = corners.Length / 3;
        (_firstCorner, _nextCorner) = LinkCorners();
        _touched = new int[vertices];
        _mark = new int[vertices];
        _edgeOf = new int[corners.Length];
        (_edgeA, _edgeB) = NumberEdges();
        _measured = new int[_edgeA.Length];
        _aside = new bool[_edgeA.Length];
        var costs = new float[_edgeA.Length];
        for (var e = 0; e < costs.Length; e++)
            costs[e] = Place(_edgeA[e], _edgeB[e], out _, out _, out _);
        _queue = new(costs);
    }

    /// <summary>For <see cref="Replay"/> alone.</summary>
    internal EdgeCollapser(float[] positions, int[] corners, byte[] kind)
    {
        (_positions, _corners, _kind, _quadrics) = (positions, corners, kind, []);
        (_firstCorner, _nextCorner) = LinkCorners();
        Triangles = corners.Length / 3;
        (_touched, _mark) = ([], new int[kind.Length]);
        _edgeOf = new int[corners.Length];
        Array.Fill(_edgeOf, None);
        (_edgeA, _edgeB, _measured, _aside, _queue) = ([], [], [], [], new([]));
    }

    /// <summary>Triangles left.</summary>
    internal int Triangles { get; private set; }

    /// <summary>Does what an earlier run did, as far as it may still be done, and says what that was.</summary>
    internal List<Collapse> Replay(List<Collapse> log, RunContext run)
    {
        foreach (var c in log)
        {
            if ((_log.Count & 0xFFF) == 0)
                run.ThrowIfCancelled();
            if (_kind[c.Kept] != Frozen && _kind[c.Removed] != Frozen && TryCollapse(c.Kept, c.Removed, c.X, c.Y, c.Z))
                _log.Add(c);
        }

        return _log;
    }

    /// <summary>Collapses until so many triangles are left, the next would cost more than stated, or nothing can be done.</summary>
    internal List<Collapse> Run(int targetTriangles, float mostCost, RunContext run)
    {
        float cost = 0;
        for (var steps = 0; Triangles > targetTriangles && _queue.Count > 0 && _queue.TopCost <= mostCost; steps++)
        {
            if ((steps & 0xFFF) == 0)
                run.ThrowIfCancelled();
            var edge = _queue.TopEdge;
            var (u, v) = (_edgeA[edge], _edgeB[edge]);
            if (u < 0)
            {
                _queue.RemoveTop();
                continue;
            }

            if (_kind[v] > _kind[u])
                (u, v) = (v, u);
            var fresh = Place(u, v, out var x, out var y, out var z);
            if (_measured[edge] < Math.Max(_touched[u], _touched[v]))
            {
                _measured[edge] = _log.Count;
                if (fresh > _queue.TopCost)
                {
                    _queue.RaiseTop(fresh);
                    continue;
                }
            }

            cost = Math.Max(cost, _queue.TopCost);
            _queue.RemoveTop();
            if (!TryCollapse(u, v, x, y, z))
            {
                _aside[edge] = true;
                continue;
            }

            _log.Add(new(v, u, x, y, z, cost));
            _touched[u] = _log.Count;
            TakeBack(u, cost);
        }

        return _log;
    }

    private (int[] First, int[] Next) LinkCorners()
    {
        var (first, next) = (new int[_kind.Length], new int[_corners.Length]);
        Array.Fill(first, None);
        for (var h = _corners.Length - 1; h >= 0; h--)
            (next[h], first[_corners[h]]) = (first[_corners[h]], h);
        return (first, next);
    }

    /// <summary>Gives every edge that may ever be collapsed a number.</summary>
    private (int[] A, int[] B) NumberEdges()
    {
        Array.Fill(_edgeOf, None);
        var (a, b) = (new List<int>(_corners.Length / 2), new List<int>(_corners.Length / 2));
        var number = new int[_kind.Length];
        for (var v = 0; v < _kind.Length; v++)
        {
            if (_kind[v] == Frozen)
                continue;
            _marks++;
            for (var h = _firstCorner[v]; h != None; h = _nextCorner[h])
            {
                Number(h, Next(h));
                Number(Previous(h), Previous(h));
            }

            void Number(int halfEdge, int corner)
            {
                var w = _corners[corner];
                if (w <= v || _kind[w] == Frozen || (_kind[v] == Pinned && _kind[w] == Pinned))
                    return;
                if (_mark[w] != _marks)
                {
                    (_mark[w], number[w]) = (_marks, a.Count);
                    a.Add(v);
                    b.Add(w);
                }

                _edgeOf[halfEdge] = number[w];
            }
        }

        return ([.. a], [.. b]);
    }

    private static int Next(int h) => h % 3 == 2 ? h - 2 : h + 1;

    private static int Previous(int h) => h % 3 == 0 ? h + 2 : h - 1;

    /// <summary>Puts edges that were set aside back into the queue.</summary>
    private void TakeBack(int u, float cost)
    {
        for (var h = _firstCorner[u]; h != None; h = _nextCorner[h])
        {
            if (_corners[h] != u)
                continue;
            TakeBackEdge(_edgeOf[h], cost);
            TakeBackEdge(_edgeOf[Previous(h)], cost);
        }
    }

    private void TakeBackEdge(int edge, float cost)
    {
        if (edge < 0 || !_aside[edge])
            return;
        _aside[edge] = false;
        _measured[edge] = _log.Count;
        _queue.Add(edge, Math.Max(cost, Place(_edgeA[edge], _edgeB[edge], out _, out _, out _)));
    }

    /// <summary>Where the edge would go, as it will be stored, and what it costs.</summary>
    private float Place(int u, int v, out float x, out float y, out float z)
    {
        var q = _quadrics[u];
        q.Add(_quadrics[v]);
        if (_kind[u] != _kind[v])
        {
            var stays = _kind[u] > _kind[v] ? u : v;
            (x, y, z) = (_positions[3 * stays], _positions[(3 * stays) + 1], _positions[(3 * stays) + 2]);
        }
        else
        {
            Best(q, u, v, out x, out y, out z);
        }

        return (float)q.At(x, y, z);
    }

    private void Best(in Quadric q, int u, int v, out float x, out float y, out float z)
    {
        double ux = _positions[3 * u], uy = _positions[(3 * u) + 1], uz = _positions[(3 * u) + 2];
        double vx = _positions[3 * v], vy = _positions[(3 * v) + 1], vz = _positions[(3 * v) + 2];
        double mx = (ux + vx) / 2, my = (uy + vy) / 2, mz = (uz + vz) / 2;
        var length = Squared(ux - vx, uy - vy, uz - vz);
        // A minimum far off is a nearly singular matrix at work.
        if (!q.TryMinimum(out var px, out var py, out var pz) || !(Squared(px - mx, py - my, pz - mz) <= 4 * length))
        {
            (px, py, pz) = (mx, my, mz);
            var least = q.At(mx, my, mz);
            if (q.At(ux, uy, uz) is var atU && atU < least)
                (px, py, pz, least) = (ux, uy, uz, atU);
            if (q.At(vx, vy, vz) < least)
                (px, py, pz) = (vx, vy, vz);
        }

        (x, y, z) = ((float)px, (float)py, (float)pz);
    }

    /// <summary>Collapses v into u at x, y, z, or changes nothing.</summary>
    private bool TryCollapse(int u, int v, float x, float y, float z)
    {
        var (ringU, ringV) = (Ring(u, _ringU), Ring(v, _ringV));
        if (ringU < 0 || ringV < 0 || !LinkHolds(u, v, ringU, ringV))
            return false;
        var ofU = _ringU.AsSpan(0, ringU);
        var ofV = _ringV.AsSpan(0, ringV);
        if (!Unfolded(ofU, u, v, x, y, z) || !Unfolded(ofV, v, u, x, y, z))
            return false;
        if (_points is not null && !_points.Fits(_corners, _positions, ofU, ofV, u, v, x, y, z))
            return false;
        if (_guard is not null && IsGuarded(u, v, ofU, ofV) && !_guard.Allows(this, u, v, ofU, ofV, new(x, y, z)))
            return false;
        _points?.Move(ofU, ofV);
        Merge(u, v, ofU, ofV);
        _guard?.Merge(v, u);
        (_positions[3 * u], _positions[(3 * u) + 1], _positions[(3 * u) + 2]) = (x, y, z);
        return true;
    }

    private bool IsGuarded(int u, int v, ReadOnlySpan<int> ofU, ReadOnlySpan<int> ofV)
    {
        if (_guard!.Concerns(u) || _guard.Concerns(v))
            return true;
        foreach (var corner in ofU)
            if (_guard.Concerns(Others(corner).Next))
                return true;
        foreach (var corner in ofV)
            if (_guard.Concerns(Others(corner).Next))
                return true;
        return false;
    }

    internal Vec3 Local(int v) => new(_positions[3 * v], _positions[(3 * v) + 1], _positions[(3 * v) + 2]);

    internal (int A, int B, int C) Corners(int t) => (_corners[3 * t], _corners[(3 * t) + 1], _corners[(3 * t) + 2]);

    internal void AddTrianglesAt(int v, HashSet<int> triangles)
    {
        for (var h = _firstCorner[v]; h != None; h = _nextCorner[h])
            if (_corners[h] == v)
                triangles.Add(h / 3);
    }

    /// <summary>Corners at a vertex, dead ones unlinked on the way; -1 where there are too many.</summary>
    private int Ring(int v, int[] ring)
    {
        var count = 0;
        var previous = None;
        for (var h = _firstCorner[v]; h != None; h = _nextCorner[h])
        {
            if (_corners[h] != v)
            {
                if (previous == None)
                    _firstCorner[v] = _nextCorner[h];
                else
                    _nextCorner[previous] = _nextCorner[h];
                continue;
            }

            if (count == MostNeighbours)
                return -1;
            ring[count++] = h;
            previous = h;
        }

        return count;
    }

    private bool LinkHolds(int u, int v, int ringU, int ringV)
    {
        _marks += 2;
        int neighboursU = 0, neighboursV = 0, common = 0, shared = 0;
        for (var i = 0; i < ringU; i++)
        {
            var (next, last) = Others(_ringU[i]);
            if (next == v || last == v)
                shared++;
            if (_mark[next] != _marks)
                (_mark[next], neighboursU) = (_marks, neighboursU + 1);
            if (_mark[last] != _marks)
                (_mark[last], neighboursU) = (_marks, neighboursU + 1);
        }

        for (var i = 0; i < ringV; i++)
        {
            var (next, last) = Others(_ringV[i]);
            foreach (var w in (ReadOnlySpan<int>)[next, last])
            {
                if (_mark[w] == _marks + 1)
                    continue;
                if (_mark[w] == _marks)
                    common++;
                _mark[w] = _marks + 1;
                neighboursV++;
            }
        }

        _marks++;
        // Fans are open where there is a neighbour more than triangles.
        var (borderU, borderV) = (neighboursU != ringU, neighboursV != ringV);
        var left = neighboursU + neighboursV - common - 2;
        if (shared == 2)
            return common == 2 && !(borderU && borderV) && left >= 3;
        return shared == 1 && common == 1 && borderU && borderV && ringU + ringV > 2;
    }

    /// <summary>The corners that follow and precede one in its triangle.</summary>
    internal (int Next, int Last) Others(int corner) => (corner % 3) switch
    {
        0 => (_corners[corner + 1], _corners[corner + 2]),
        1 => (_corners[corner + 1], _corners[corner - 1]),
        _ => (_corners[corner - 2], _corners[corner - 1]),
    };

    private bool Unfolded(ReadOnlySpan<int> ring, int from, int other, float x, float y, float z)
    {
        double px = _positions[3 * from], py = _positions[(3 * from) + 1], pz = _positions[(3 * from) + 2];
        foreach (var corner in ring)
        {
            var (b, c) = Others(corner);
            if (b == other || c == other)
                continue;
            double bx = _positions[3 * b], by = _positions[(3 * b) + 1], bz = _positions[(3 * b) + 2];
            double ex = _positions[3 * c] - bx, ey = _positions[(3 * c) + 1] - by, ez = _positions[(3 * c) + 2] - bz;
            double ox = px - bx, oy = py - by, oz = pz - bz;
            double nx = x - bx, ny = y - by, nz = z - bz;
            double oldX = (ey * oz) - (ez * oy), oldY = (ez * ox) - (ex * oz), oldZ = (ex * oy) - (ey * ox);
            double newX = (ey * nz) - (ez * ny), newY = (ez * nx) - (ex * nz), newZ = (ex * ny) - (ey * nx);
            var (oldArea, newArea) = (Squared(oldX, oldY, oldZ), Squared(newX, newY, newZ));
            var turn = (oldX * newX) + (oldY * newY) + (oldZ * newZ);
            if (!(turn > 0) || turn * turn < LeastTurn * oldArea * newArea)
                return false;
            var edge = Squared(ex, ey, ez);
            var newEdges = edge + Squared(nx, ny, nz) + Squared(x - _positions[3 * c], y - _positions[(3 * c) + 1], z - _positions[(3 * c) + 2]);
            if (newArea >= LeastShape * LeastShape * newEdges * newEdges)
                continue;
            var oldEdges = edge + Squared(ox, oy, oz) + Squared(px - _positions[3 * c], py - _positions[(3 * c) + 1], pz - _positions[(3 * c) + 2]);
            if (newArea * oldEdges * oldEdges < oldArea * newEdges * newEdges)
                return false;
        }

        return true;
    }

    private void Merge(int u, int v, ReadOnlySpan<int> ofU, ReadOnlySpan<int> ofV)
    {
        foreach (var corner in ofV)
        {
            var (b, c) = Others(corner);
            if (b == u || c == u)
                MergeEdges(corner, b == u, ofV);
        }

        foreach (var corner in ofV)
        {
            var (b, c) = Others(corner);
            if (b == u || c == u)
            {
                Kill(corner / 3);
                continue;
            }

            _corners[corner] = u;
            Rename(_edgeOf[corner], v, u);
            Rename(_edgeOf[Previous(corner)], v, u);
        }

        // Append v's corners to u's; dead ones are unlinked when next met.
        if (ofU.IsEmpty)
            _firstCorner[u] = _firstCorner[v];
        else
            _nextCorner[ofU[^1]] = _firstCorner[v];
        _firstCorner[v] = None;
        if (_quadrics.Length > 0)
            _quadrics[u].Add(_quadrics[v]);
    }

    /// <summary>In the triangle u, v, w that goes, the edges v–w and u–w become one, which keeps u's number.</summary>
    private void MergeEdges(int corner, bool uFollows, ReadOnlySpan<int> ofV)
    {
        // Corners v, u, w: half-edges v–u, u–w, w–v; or v, w, u: v–w, w–u, u–v.
        var going = uFollows ? _edgeOf[Previous(corner)] : _edgeOf[corner];
        var staying = _edgeOf[Next(corner)];
        if (going < 0)
            return;
        _edgeA[going] = None;
        foreach (var other in ofV)
        {
            if (_edgeOf[other] == going)
                _edgeOf[other] = staying;
            if (_edgeOf[Previous(other)] == going)
                _edgeOf[Previous(other)] = staying;
        }
    }

    private void Rename(int edge, int from, int to)
    {
        if (edge < 0)
            return;
        if (_edgeA[edge] == from)
            _edgeA[edge] = to;
        else if (_edgeB[edge] == from)
            _edgeB[edge] = to;
    }

    private void Kill(int t)
    {
        _corners[3 * t] = _corners[(3 * t) + 1] = _corners[(3 * t) + 2] = None;
        Triangles--;
    }

    private static double Squared(double x, double y, double z) => (x * x) + (y * y) + (z * z);
}
