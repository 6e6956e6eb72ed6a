using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A mesh for local surgery: triangles around a vertex in constant time each, add, remove, renumber. Not thread-safe.</summary>
/// <remarks>
/// Layout: the arrays of <see cref="Mesh"/>, grown as needed; a removed triangle has -1 at its first corner. All corners
/// 3t + c of a vertex form a doubly linked list (_next, _previous; _first per vertex), ascending when built, the newest
/// first afterwards, so that walks are the same on any machine. Any triangle soup is allowed, also non-manifold.
/// Memory: 12 bytes a vertex and 37 bytes a triangle, plus one int a vertex.
/// </remarks>
internal sealed class EditableMesh
{
    private readonly Mesh _source;
    private float[] _positions;
    private int[] _triangles;
    private Origin[] _origins;
    private int[] _first;
    private int[] _next;
    private int[] _previous;
    private bool _changed;

    public EditableMesh(Mesh source)
    {
        _source = source;
        _positions = source.Positions.ToArray();
        _triangles = source.Triangles.ToArray();
        _origins = source.Origins.ToArray();
        VertexCount = source.VertexCount;
        TriangleCount = source.TriangleCount;
        _first = new int[VertexCount];
        Array.Fill(_first, -1);
        _next = new int[_triangles.Length];
        _previous = new int[_triangles.Length];
        for (var c = _triangles.Length - 1; c >= 0; c--)
            Link(c);
    }

    /// <summary>Vertices so far, also those no longer used.</summary>
    public int VertexCount { get; private set; }

    /// <summary>Triangle slots so far, removed ones included.</summary>
    public int TriangleCount { get; private set; }

    public bool IsAlive(int t) => _triangles[3 * t] >= 0;

    public (int A, int B, int C) Triangle(int t) => (_triangles[3 * t], _triangles[(3 * t) + 1], _triangles[(3 * t) + 2]);

    public int Corner(int corner) => _triangles[corner];

    public Origin OriginOf(int t) => _origins[t];

    /// <summary>Vertex relative to the mesh's origin, as stored.</summary>
    public Vec3 Local(int v) => new(_positions[3 * v], _positions[(3 * v) + 1], _positions[(3 * v) + 2]);

    /// <summary>First corner at the vertex, or -1.</summary>
    public int FirstCorner(int v) => _first[v];

    /// <summary>Next corner at the same vertex, or -1.</summary>
    public int NextCorner(int corner) => _next[corner];

    public int AddVertex(Vec3 local)
    {
        if (_first.Length == VertexCount)
        {
            Array.Resize(ref _first, Grown(VertexCount + 1));
            Array.Resize(ref _positions, 3 * _first.Length);
        }

        _positions[3 * VertexCount] = (float)local.X;
        _positions[(3 * VertexCount) + 1] = (float)local.Y;
        _positions[(3 * VertexCount) + 2] = (float)local.Z;
        _first[VertexCount] = -1;
        return VertexCount++;
    }

    public int AddTriangle(int a, int b, int c, Origin origin)
    {
        if (_origins.Length == TriangleCount)
        {
            Array.Resize(ref _origins, Grown(TriangleCount + 1));
            Array.Resize(ref _triangles, 3 * _origins.Length);
            Array.Resize(ref _next, 3 * _origins.Length);
            Array.Resize(ref _previous, 3 * _origins.Length);
        }

        var t = TriangleCount++;
        _origins[t] = origin;
        Put(t, a, b, c);
        return t;
    }

    public void RemoveTriangle(int t)
    {
        Unlink(t);
        _triangles[3 * t] = _triangles[(3 * t) + 1] = _triangles[(3 * t) + 2] = -1;
        _changed = true;
    }

    public void SetTriangle(int t, int a, int b, int c, Origin origin)
    {
        Unlink(t);
        _origins[t] = origin;
        Put(t, a, b, c);
    }

    public void MoveVertex(int v, Vec3 local)
    {
        _positions[3 * v] = (float)local.X;
        _positions[(3 * v) + 1] = (float)local.Y;
        _positions[(3 * v) + 2] = (float)local.Z;
        _changed = true;
    }

    /// <summary>Triangles that hold both vertices, in list order of the first; appended to <paramref name="found"/>.</summary>
    public void FindEdgeTriangles(int u, int v, List<int> found)
    {
        for (var c = _first[u]; c >= 0; c = _next[c])
        {
            var t = c / 3;
            if (_triangles[3 * t] == v || _triangles[(3 * t) + 1] == v || _triangles[(3 * t) + 2] == v)
                found.Add(t);
        }
    }

    public int CountEdgeTriangles(int u, int v)
    {
        var count = 0;
        for (var c = _first[u]; c >= 0; c = _next[c])
        {
            var t = c / 3;
            if (_triangles[3 * t] == v || _triangles[(3 * t) + 1] == v || _triangles[(3 * t) + 2] == v)
                count++;
        }

        return count;
    }

    /// <summary>The third vertex of triangle t.</summary>
    public int Apex(int t, int u, int v)
    {
        var (a, b, c) = Triangle(t);
        if (a != u && a != v)
            return a;
        return b != u && b != v ? b : c;
    }

    /// <summary>True when some edge at the vertex has one triangle only.</summary>
    public bool IsOnBorder(int v)
    {
        for (var c = _first[v]; c >= 0; c = _next[c])
        {
            if (CountEdgeTriangles(v, _triangles[EdgeTable.Next(c)]) == 1 || CountEdgeTriangles(v, _triangles[EdgeTable.Previous(c)]) == 1)
                return true;
        }

        return false;
    }

    public double AreaMm2(int t)
    {
        var (a, b, c) = Triangle(t);
        var p = Local(a);
        return Vec3.Cross(Local(b) - p, Local(c) - p).Length / 2;
    }

    /// <summary>
    /// The source itself when nothing was changed; else surviving triangles in their order, new ones behind, without the
    /// vertices that lost their last triangle. <paramref name="changedAreaMm2"/>: area that went plus area that came.
    /// </summary>
    public Mesh Build(out double changedAreaMm2)
    {
        changedAreaMm2 = 0;
        if (!_changed)
            return _source;
        var wasUsed = new bool[_source.VertexCount];
        foreach (var v in _source.Triangles)
            wasUsed[v] = true;
        var (positions, renumber) = MeshSubset.PackVertices(
            _positions.AsSpan(0, 3 * VertexCount), v => _first[v] >= 0 || (v < wasUsed.Length && !wasUsed[v]));
        var triangles = new List<int>(_triangles.Length);
        var origins = new List<Origin>(TriangleCount);
        for (var t = 0; t < TriangleCount; t++)
        {
            var same = IsAlive(t) && t < _source.TriangleCount && IsAsInSource(t);
            if (!same && t < _source.TriangleCount)
                changedAreaMm2 += MeshMeasures.TriangleAreaMm2(_source, t);
            if (!IsAlive(t))
                continue;
            if (!same)
                changedAreaMm2 += AreaMm2(t);
            triangles.Add(renumber[_triangles[3 * t]]);
            triangles.Add(renumber[_triangles[(3 * t) + 1]]);
            triangles.Add(renumber[_triangles[(3 * t) + 2]]);
            origins.Add(_origins[t]);
        }

        return new(_source.OriginMm, positions, [.. triangles], [.. origins]);
    }

    private bool IsAsInSource(int t)
    {
        for (var c = 3 * t; c < (3 * t) + 3; c++)
        {
            var v = _triangles[c];
            if (v != _source.Triangles[c] || !_positions.AsSpan(3 * v, 3).SequenceEqual(_source.Positions.Slice(3 * v, 3)))
                return false;
        }

        return true;
    }

    private static int Grown(int needed) => Math.Max(needed, (int)Math.Min(Array.MaxLength / 3, needed * 3L / 2));

    private void Put(int t, int a, int b, int c)
    {
        _triangles[3 * t] = a;
        _triangles[(3 * t) + 1] = b;
        _triangles[(3 * t) + 2] = c;
        Link((3 * t) + 2);
        Link((3 * t) + 1);
        Link(3 * t);
        _changed = true;
    }

    private void Link(int corner)
    {
        ref var first = ref _first[_triangles[corner]];
        _next[corner] = first;
        _previous[corner] = -1;
        if (first >= 0)
            _previous[first] = corner;
        first = corner;
    }

    private void Unlink(int t)
    {
        for (var corner = 3 * t; corner < (3 * t) + 3; corner++)
        {
            var (next, previous) = (_next[corner], _previous[corner]);
            if (next >= 0)
                _previous[next] = previous;
            if (previous >= 0)
                _next[previous] = next;
            else
                _first[_triangles[corner]] = next;
        }
    }
}
