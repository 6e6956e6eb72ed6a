using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>The part of a mesh on one side of a plane, open along the cut, and the edges that bound it there.</summary>
/// <remarks>
/// A vertex with a distance of exactly 0 belongs to the side that is dropped, as if the plane were shifted by an
/// infinitesimal step into the kept side; its new vertices then fall together on it again. Where the surface around such a
/// vertex rises in several separate fans, each fan keeps a copy of its own, so the part stays a manifold. Triangles in the
/// plane are dropped.
/// A new vertex on an edge is computed once, from the end with the smaller index, so both sides of a cut share it bit by bit.
/// </remarks>
internal sealed class CutSide
{
    private readonly Mesh _mesh;
    private readonly double[] _distance;
    private readonly Dictionary<(int, int), int> _nodeOfEdge = [];
    private readonly List<Vec3> _nodeAt = [];
    private readonly List<int> _nodeVertex = [];
    private readonly List<int> _parent = [];
    private readonly List<int> _corners = [];
    private readonly List<Origin> _origins = [];
    private readonly List<(int From, int To)> _rim = [];

    private CutSide(Mesh mesh, double[] distance)
    {
        _mesh = mesh;
        _distance = distance;
    }

    /// <summary>The kept triangles. Cut vertices come last.</summary>
    internal required Mesh Open { get; init; }

    /// <summary>Directed edges along the cut, each used by one kept triangle in this direction.</summary>
    internal required (int From, int To)[] Rim { get; init; }

    /// <summary>Vertices made by the cut.</summary>
    internal int CutVertices { get; private init; }

    /// <param name="distance">Per vertex, in mm, positive on the kept side.</param>
    /// <param name="zip">Join the rim where it runs forth and back. A cap does that itself, and knows a slit from a ridge.</param>
    internal static CutSide Keep(Mesh mesh, double[] distance, bool zip, RunContext run)
    {
        var side = new CutSide(mesh, distance) { Open = mesh, Rim = [] };
        side.Split(run);
        do
            side.CancelForthAndBack();
        while (zip && side.JoinFolds());
        return side.Finish();
    }

    private void Split(RunContext run)
    {
        for (var t = 0; t < _mesh.TriangleCount; t++)
        {
            if ((t & 0xFFFF) == 0)
                run.ThrowIfCancelled();
            var (a, b, c) = _mesh.Triangle(t);
            var (up, down) = (0, 0);
            foreach (var v in (ReadOnlySpan<int>)[a, b, c])
            {
                up += _distance[v] > 0 ? 1 : 0;
                down += _distance[v] < 0 ? 1 : 0;
            }

            if (up == 3)
                Add(t, a, b, c);
            else if (up == 2)
                AddTwoUp(t, a, b, c);
            else if (up == 1)
                AddOneUp(t, a, b, c);
        }
    }

    private void AddOneUp(int t, int a, int b, int c)
    {
        while (_distance[a] <= 0)
            (a, b, c) = (b, c, a);
        var (ab, ac) = (Node(a, b), Node(a, c));
        if (_nodeAt[ab] == _nodeAt[ac])
        {
            Join(ab, ac);
            return;
        }

        Add(t, a, ~ab, ~ac);
        _rim.Add((ab, ac));
    }

    private void AddTwoUp(int t, int a, int b, int c)
    {
        while (_distance[c] > 0)
            (a, b, c) = (b, c, a);
        var (ac, bc) = (Node(a, c), Node(b, c));
        if (_nodeAt[ac] == _nodeAt[bc])
        {
            Join(ac, bc);
            Add(t, a, b, ~ac);
            return;
        }

        // The shorter diagonal gives the better triangles.
        if ((_nodeAt[bc] - _mesh.Local(a)).LengthSquared < (_nodeAt[ac] - _mesh.Local(b)).LengthSquared)
        {
            Add(t, a, b, ~bc);
            Add(t, a, ~bc, ~ac);
        }
        else
        {
            Add(t, a, b, ~ac);
            Add(t, b, ~bc, ~ac);
        }

        _rim.Add((bc, ac));
    }

    /// <summary>Corners are vertices of the mesh, or complements of nodes on the cut.</summary>
    private void Add(int t, int a, int b, int c)
    {
        _corners.AddRange([a, b, c]);
        _origins.Add(_mesh.Origins[t]);
    }

    /// <summary>The vertex on an edge that leaves the kept side.</summary>
    private int Node(int up, int other)
    {
        var key = up < other ? (up, other) : (other, up);
        if (_nodeOfEdge.TryGetValue(key, out var node))
            return node;
        node = _nodeAt.Count;
        _nodeOfEdge.Add(key, node);
        _parent.Add(node);
        var onPlane = _distance[other] == 0;
        _nodeVertex.Add(onPlane ? other : -1);
        _nodeAt.Add(onPlane ? _mesh.Local(other) : Crossing(key.Item1, key.Item2));
        return node;
    }

    private Vec3 Crossing(int a, int b)
    {
        var p = Vec3.Lerp(_mesh.Local(a), _mesh.Local(b), _distance[a] / (_distance[a] - _distance[b]));
        return new((float)p.X, (float)p.Y, (float)p.Z);
    }

    private int Root(int node)
    {
        while (_parent[node] != node)
            node = _parent[node] = _parent[_parent[node]];
        return node;
    }

    private void Join(int a, int b)
    {
        var (ra, rb) = (Root(a), Root(b));
        // The smaller index stays, so the result does not depend on the order of joining.
        _parent[Math.Max(ra, rb)] = Math.Min(ra, rb);
    }

    private void CancelForthAndBack()
    {
        var waiting = new Dictionary<(int, int), Stack<int>>();
        var keep = new bool[_rim.Count];
        for (var i = 0; i < _rim.Count; i++)
        {
            var (from, to) = (Root(_rim[i].From), Root(_rim[i].To));
            if (from == to)
                continue;
            if (waiting.TryGetValue((to, from), out var back) && back.TryPop(out var partner))
            {
                keep[partner] = false;
                continue;
            }

            keep[i] = true;
            if (!waiting.TryGetValue((from, to), out var same))
                waiting.Add((from, to), same = []);
            same.Push(i);
        }

        var kept = new List<(int, int)>();
        for (var i = 0; i < keep.Length; i++)
            if (keep[i])
                kept.Add(_rim[i]);
        _rim.Clear();
        _rim.AddRange(kept);
    }

    /// <summary>Joins copies of one vertex where the rim goes in from one and comes back to the other.</summary>
    private bool JoinFolds()
    {
        var into = new Dictionary<int, int>();
        foreach (var (from, to) in _rim)
            into[Root(to)] = into.ContainsKey(Root(to)) ? -1 : from;
        // What a pass has joined waits for the next one, when its edges have been counted anew.
        var joined = new HashSet<int>();
        foreach (var (from, to) in _rim)
        {
            if (!into.TryGetValue(Root(from), out var before) || before < 0)
                continue;
            if (_nodeVertex[before] < 0 || _nodeVertex[before] != _nodeVertex[to] || Root(before) == Root(to))
                continue;
            if (joined.Contains(Root(from)) || joined.Contains(Root(before)) || joined.Contains(Root(to)))
                continue;
            joined.UnionWith([Root(from), Root(before), Root(to)]);
            Join(before, to);
        }

        return joined.Count > 0;
    }

    private CutSide Finish()
    {
        var builder = new MeshBuilder(_mesh.OriginMm);
        var index = new int[_mesh.VertexCount];
        foreach (var corner in _corners)
            if (corner >= 0)
                index[corner] = 1;
        for (var v = 0; v < index.Length; v++)
            index[v] = index[v] == 0 ? -1 : builder.AddLocal(_mesh.Positions[3 * v], _mesh.Positions[(3 * v) + 1], _mesh.Positions[(3 * v) + 2]);
        var kept = builder.VertexCount;
        var nodeIndex = NodeIndices(builder);
        int Index(int corner) => corner >= 0 ? index[corner] : nodeIndex[Root(~corner)];
        for (var t = 0; t < _origins.Count; t++)
        {
            var (a, b, c) = (Index(_corners[3 * t]), Index(_corners[(3 * t) + 1]), Index(_corners[(3 * t) + 2]));
            if (a != b && b != c && c != a)
                builder.AddTriangle(a, b, c, _origins[t]);
        }

        var rim = _rim.ConvertAll(edge => (nodeIndex[Root(edge.From)], nodeIndex[Root(edge.To)]));
        return new(_mesh, _distance) { CutVertices = builder.VertexCount - kept, Open = builder.Build(), Rim = [.. rim] };
    }

    private int[] NodeIndices(MeshBuilder builder)
    {
        var used = new bool[_nodeAt.Count];
        foreach (var corner in _corners)
            if (corner < 0)
                used[Root(~corner)] = true;
        var index = new int[_nodeAt.Count];
        for (var n = 0; n < index.Length; n++)
            if (used[n])
                index[n] = builder.AddLocal((float)_nodeAt[n].X, (float)_nodeAt[n].Y, (float)_nodeAt[n].Z);
        return index;
    }
}
