using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Triangles that edges can be split, collapsed and flipped in. Not thread-safe.</summary>
/// <remarks>
/// Layout: half-edge h = 3t + c from corner c of triangle t to the next; Opposite[h] its partner, <see cref="EdgeTable.Boundary"/> on a
/// border, another negative mark where an edge has not two triangles in opposite directions; Line[h] where the edge belongs to a line
/// that is kept (both partners carry it). A dead triangle has −1 at its first corner. Out[v] is one half-edge that leaves v.
/// Positions are double but always hold what a float32 about the mesh's origin holds, so that what is tested is what is stored.
/// Each change is O(triangles at the vertices it touches). Memory: 32 bytes a vertex and 29 a triangle.
/// </remarks>
internal sealed class RemeshSurface
{
    /// <summary>Vertices with more triangles than this are left alone.</summary>
    internal const int MostTriangles = 48;

    private readonly Mesh _source;
    private Vec3[] _at;
    private int[] _out;
    private int[] _mark;
    private int[] _corner;
    private int[] _opposite;
    private bool[] _line;
    private Origin[] _origin;
    private int _marks;

    internal RemeshSurface(Mesh mesh, EdgeTable edges, bool[] line)
    {
        _source = mesh;
        VertexCount = mesh.VertexCount;
        TriangleSlots = mesh.TriangleCount;
        _at = new Vec3[VertexCount];
        for (var v = 0; v < VertexCount; v++)
            _at[v] = mesh.Local(v);
        _mark = new int[VertexCount];
        _out = new int[VertexCount];
        Array.Fill(_out, -1);
        _corner = [.. mesh.TriangleArray];
        _opposite = [.. edges.OppositeArray];
        _line = [.. line];
        _origin = [.. mesh.OriginArray];
        for (var h = 0; h < _corner.Length; h++)
            _out[_corner[h]] = h;
    }

    internal int VertexCount { get; private set; }

    /// <summary>Triangles ever made, dead ones included.</summary>
    internal int TriangleSlots { get; private set; }

    internal bool IsAlive(int t) => _corner[3 * t] >= 0;

    internal bool IsUsed(int v) => _out[v] >= 0;

    internal Vec3 At(int v) => _at[v];

    internal int From(int h) => _corner[h];

    internal int To(int h) => _corner[EdgeTable.Next(h)];

    internal int Apex(int h) => _corner[EdgeTable.Previous(h)];

    internal int Opposite(int h) => _opposite[h];

    internal bool IsLine(int h) => _line[h];

    internal Origin OriginOf(int t) => _origin[t];

    /// <summary>Rounds to what the mesh can store.</summary>
    internal static Vec3 Rounded(Vec3 p) => new((float)p.X, (float)p.Y, (float)p.Z);

    internal void Move(int v, Vec3 rounded) => _at[v] = rounded;

    internal double SquaredLength(int h) => (_at[To(h)] - _at[From(h)]).LengthSquared;

    internal Vec3 AreaNormal(int a, int b, int c) => Vec3.Cross(_at[b] - _at[a], _at[c] - _at[a]);

    /// <summary>Half-edges that leave v, one a triangle, in turn; the count, or −1 where there are too many.</summary>
    internal int Ring(int v, Span<int> ring)
    {
        var start = _out[v];
        if (start < 0)
            return 0;
        var count = 0;
        var h = start;
        do
        {
            if (count == ring.Length)
                return -1;
            ring[count++] = h;
            h = _opposite[EdgeTable.Previous(h)];
        }
        while (h >= 0 && h != start);
        if (h == start)
            return count;
        // A border: the other way round from the start.
        for (h = _opposite[start]; h >= 0; h = _opposite[h])
        {
            h = EdgeTable.Next(h);
            if (count == ring.Length)
                return -1;
            ring[count++] = h;
        }

        return count;
    }

    /// <summary>Whether any half-edge in a ring, or the one that closes its triangle at the same vertex, has no partner.</summary>
    internal bool IsOpen(ReadOnlySpan<int> ring)
    {
        foreach (var h in ring)
            if (_opposite[h] < 0 || _opposite[EdgeTable.Previous(h)] < 0)
                return true;
        return false;
    }

    internal bool AreNeighbours(ReadOnlySpan<int> ringOfOne, int other)
    {
        foreach (var h in ringOfOne)
            if (To(h) == other || Apex(h) == other)
                return true;
        return false;
    }

    /// <summary>
    /// Whether the ends may become one vertex: they share as many neighbours as triangles (Dey, Edelsbrunner, Guha, Nekhayev, "Topology
    /// preserving edge contraction", 1999), are not joined across from border to border, and three neighbours remain inside.
    /// </summary>
    internal bool LinkHolds(int h, ReadOnlySpan<int> ringOfFrom, ReadOnlySpan<int> ringOfTo)
    {
        _marks += 2;
        var sides = _opposite[h] >= 0 ? 2 : 1;
        var (neighboursFrom, neighboursTo, common) = (0, 0, 0);
        foreach (var g in ringOfFrom)
            foreach (var w in (ReadOnlySpan<int>)[To(g), Apex(g)])
                if (_mark[w] < _marks)
                    (_mark[w], neighboursFrom) = (_marks, neighboursFrom + 1);
        foreach (var g in ringOfTo)
            foreach (var w in (ReadOnlySpan<int>)[To(g), Apex(g)])
            {
                if (_mark[w] > _marks)
                    continue;
                common += _mark[w] == _marks ? 1 : 0;
                (_mark[w], neighboursTo) = (_marks + 1, neighboursTo + 1);
            }

        _marks++;
        var bothOpen = neighboursFrom != ringOfFrom.Length && neighboursTo != ringOfTo.Length;
        return sides == 2
            ? common == 2 && !bothOpen && neighboursFrom + neighboursTo - common - 2 >= 3
            : common == 1 && ringOfFrom.Length + ringOfTo.Length > 2;
    }

    /// <summary>Cuts an edge at a new vertex and returns it. Both triangles at the edge are cut in two.</summary>
    internal int Split(int h, Vec3 rounded)
    {
        var m = AddVertex(rounded);
        var g = _opposite[h];
        var line = _line[h];
        var firstHalf = SplitSide(h, m, line);
        if (g < 0)
        {
            _opposite[firstHalf] = g;
            return m;
        }

        // Seen from the other side the edge begins where it ended: h is now m–to, firstHalf from–m.
        var otherHalf = SplitSide(g, m, line);
        Join(h, otherHalf);
        Join(firstHalf, g);
        return m;
    }

    /// <summary>The edge's own triangle becomes m, to, apex at the same half-edges; a new one takes from, m, apex.</summary>
    /// <returns>The new half-edge from–m.</returns>
    private int SplitSide(int h, int m, bool line)
    {
        int previous = EdgeTable.Previous(h), outer = _opposite[previous];
        int from = _corner[h], apex = _corner[previous];
        var lineOfOuter = _line[previous];
        var t = AddTriangle(from, m, apex, _origin[h / 3]);
        int firstHalf = 3 * t, inner = firstHalf + 1, last = firstHalf + 2;
        _corner[h] = m;
        _line[firstHalf] = line;
        _line[previous] = _line[inner] = false;
        _line[last] = lineOfOuter;
        Join(inner, previous);
        if (outer >= 0)
            Join(last, outer);
        else
            _opposite[last] = outer;
        _out[from] = firstHalf;
        _out[m] = h;
        _out[apex] = last;
        return firstHalf;
    }

    /// <summary>The vertex that h leaves goes into the one it leads to. <see cref="LinkHolds"/> must hold.</summary>
    internal void Collapse(int h, ReadOnlySpan<int> ringOfFrom)
    {
        int from = From(h), to = To(h), g = _opposite[h];
        foreach (var leaving in ringOfFrom)
            _corner[leaving] = to;
        _out[from] = -1;
        CloseSide(h);
        if (g >= 0)
            CloseSide(g);
    }

    /// <summary>Takes the edge's triangle out and joins what lies beyond its two other sides.</summary>
    private void CloseSide(int h)
    {
        int next = EdgeTable.Next(h), previous = EdgeTable.Previous(h);
        int a = _opposite[next], b = _opposite[previous], apex = _corner[previous], kept = _corner[next];
        var line = _line[next] || _line[previous];
        if (a >= 0)
            (_opposite[a], _line[a], _out[apex], _out[kept]) = (b, line, a, EdgeTable.Next(a));
        if (b >= 0)
            (_opposite[b], _line[b], _out[apex], _out[kept]) = (a, line, EdgeTable.Next(b), b);
        _corner[3 * (h / 3)] = _corner[(3 * (h / 3)) + 1] = _corner[(3 * (h / 3)) + 2] = -1;
    }

    /// <summary>Turns an edge inside to join the two corners across from it.</summary>
    internal void Flip(int h)
    {
        var g = _opposite[h];
        int hn = EdgeTable.Next(h), hp = EdgeTable.Previous(h), gn = EdgeTable.Next(g), gp = EdgeTable.Previous(g);
        int a = _corner[h], b = _corner[g], c = _corner[hp], d = _corner[gp];
        // h: a b c, g: b a d become h: d c a at (d→c, c→a, a→d) and g: c d b at (c→d, d→b, b→c).
        (int Opposite, bool Line) bc = (_opposite[hn], _line[hn]), ca = (_opposite[hp], _line[hp]), ad = (_opposite[gn], _line[gn]), db = (_opposite[gp], _line[gp]);
        (_corner[h], _corner[hn], _corner[hp]) = (d, c, a);
        (_corner[g], _corner[gn], _corner[gp]) = (c, d, b);
        Put(hn, ca);
        Put(hp, ad);
        Put(gn, db);
        Put(gp, bc);
        (_out[a], _out[b], _out[c], _out[d]) = (hp, gp, g, h);

        void Put(int half, (int Opposite, bool Line) edge)
        {
            _line[half] = edge.Line;
            if (edge.Opposite >= 0)
                Join(half, edge.Opposite);
            else
                _opposite[half] = edge.Opposite;
        }
    }

    /// <summary>Living triangles in the order they were made, vertices in use in theirs.</summary>
    internal Mesh ToMesh()
    {
        var index = new int[VertexCount];
        Array.Fill(index, -1);
        var (triangles, origins) = (new List<int>(3 * TriangleSlots), new List<Origin>(TriangleSlots));
        for (var t = 0; t < TriangleSlots; t++)
        {
            if (!IsAlive(t))
                continue;
            for (var h = 3 * t; h < (3 * t) + 3; h++)
            {
                triangles.Add(_corner[h]);
                index[_corner[h]] = 0;
            }

            origins.Add(_origin[t]);
        }

        var positions = new List<float>(3 * VertexCount);
        for (var v = 0; v < VertexCount; v++)
        {
            if (index[v] < 0)
                continue;
            index[v] = positions.Count / 3;
            positions.AddRange([(float)_at[v].X, (float)_at[v].Y, (float)_at[v].Z]);
        }

        int[] renumbered = [.. triangles];
        for (var i = 0; i < renumbered.Length; i++)
            renumbered[i] = index[renumbered[i]];
        return new(_source.OriginMm, [.. positions], renumbered, [.. origins]);
    }

    private void Join(int a, int b) => (_opposite[a], _opposite[b]) = (b, a);

    private int AddVertex(Vec3 at)
    {
        if (VertexCount == _at.Length)
        {
            var size = Math.Max(16, checked(VertexCount + (VertexCount / 2)));
            Array.Resize(ref _at, size);
            Array.Resize(ref _out, size);
            Array.Resize(ref _mark, size);
        }

        _at[VertexCount] = at;
        return VertexCount++;
    }

    private int AddTriangle(int a, int b, int c, Origin origin)
    {
        if (TriangleSlots == _origin.Length)
        {
            var size = Math.Max(16, checked(TriangleSlots + (TriangleSlots / 2)));
            Array.Resize(ref _origin, size);
            Array.Resize(ref _corner, checked(3 * size));
            Array.Resize(ref _opposite, 3 * size);
            Array.Resize(ref _line, 3 * size);
        }

        var t = TriangleSlots++;
        (_corner[3 * t], _corner[(3 * t) + 1], _corner[(3 * t) + 2]) = (a, b, c);
        _origin[t] = origin;
        return t;
    }
}
