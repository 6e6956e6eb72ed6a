using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Gives every fan of triangles at a vertex a vertex of its own.</summary>
/// <remarks>
/// Corners are joined (union-find) across every edge whose two triangles belong together: partners in the edge table, and
/// pairs chosen by <see cref="EdgePairing"/>. The set of the vertex's first corner keeps the vertex; each other set gets a
/// copy behind the old vertices, in the order of their first corners.
/// </remarks>
internal sealed class FanSplit
{
    private readonly Mesh _mesh;
    private readonly bool _splitEdges;
    private readonly bool _splitVertices;
    private readonly bool _cutInconsistent;
    private readonly double _separationMm;
    private readonly int[] _root;
    private readonly bool[] _atFault;

    /// <param name="cutInconsistent">Part the surface where two triangles run along an edge in the same direction.</param>
    public FanSplit(Mesh mesh, bool splitEdges, bool splitVertices, bool cutInconsistent, double separationMm)
    {
        _mesh = mesh;
        _splitEdges = splitEdges;
        _splitVertices = splitVertices;
        _cutInconsistent = cutInconsistent;
        _separationMm = separationMm;
        _root = new int[mesh.Triangles.Length];
        _atFault = new bool[mesh.VertexCount];
        for (var c = 0; c < _root.Length; c++)
            _root[c] = c;
    }

    public int EdgesParted { get; private set; }

    public int VerticesCopied { get; private set; }

    public double MovedAreaMm2 { get; private set; }

    public DistanceTally Displacement { get; private set; }

    public Vec3? FirstPlaceMm { get; private set; }

    /// <summary>Half-edges that stay together at edges with more than two triangles, both ways; copying leaves half-edge numbers as they are.</summary>
    public Dictionary<int, int> Pairs { get; } = [];

    public Mesh Apply()
    {
        if (!_splitEdges && !_splitVertices && !_cutInconsistent)
            return _mesh;
        JoinAcrossEdges();
        var keeper = new int[_mesh.VertexCount];
        Array.Fill(keeper, -1);
        var copies = new Dictionary<int, int>();
        var triangles = _mesh.TriangleArray;
        int[]? changed = null;
        for (var c = 0; c < _root.Length; c++)
        {
            var v = triangles[c];
            var set = Root(c);
            if (keeper[v] < 0)
                keeper[v] = set;
            if (keeper[v] == set || !(_splitVertices || _atFault[v]))
                continue;
            changed ??= (int[])triangles.Clone();
            if (!copies.TryGetValue(set, out var copy))
            {
                copy = copies[set] = _mesh.VertexCount + copies.Count;
                FirstPlaceMm ??= _mesh.Vertex(v);
            }

            changed[c] = copy;
        }

        VerticesCopied = copies.Count;
        return changed is null ? _mesh : new(_mesh.OriginMm, PlaceCopies(changed), changed, _mesh.OriginArray);
    }

    private void JoinAcrossEdges()
    {
        var edges = EdgeTable.Build(_mesh);
        for (var h = 0; h < _root.Length; h++)
        {
            if (edges.Opposite[h] > h)
                JoinAcross(h, edges.Opposite[h]);
        }

        if (edges.NonManifoldEdges > 0 || edges.InconsistentEdges > 0)
            PairFaults(edges);
    }

    private void PairFaults(EdgeTable edges)
    {
        var users = new List<(int Low, int High, int HalfEdge)>();
        for (var h = 0; h < _root.Length; h++)
        {
            if (edges.Opposite[h] is not (EdgeTable.NonManifold or EdgeTable.Inconsistent))
                continue;
            int u = _mesh.Triangles[h], v = _mesh.Triangles[EdgeTable.Next(h)];
            users.Add((Math.Min(u, v), Math.Max(u, v), h));
        }

        users.Sort();
        for (int from = 0, to; from < users.Count; from = to)
        {
            for (to = from + 1; to < users.Count && users[to].Low == users[from].Low && users[to].High == users[from].High;)
                to++;
            PairEdge(users[from..to].ConvertAll(u => u.HalfEdge).ToArray());
        }
    }

    private void PairEdge(int[] edge)
    {
        if (edge.Length == 2 ? _cutInconsistent : _splitEdges)
        {
            EdgesParted++;
            MarkFault(edge[0]);
            if (edge.Length > 2)
                EdgePairing.Pair(_mesh, edge, KeepTogether);
            return;
        }

        for (var i = 1; i < edge.Length; i++)
            JoinAlong(edge[0], edge[i]);
    }

    private void MarkFault(int h) => _atFault[_mesh.Triangles[h]] = _atFault[_mesh.Triangles[EdgeTable.Next(h)]] = true;

    private void KeepTogether(int h, int o)
    {
        Pairs[h] = o;
        Pairs[o] = h;
        JoinAcross(h, o);
    }

    // Opposite directions: the start of one is the end of the other.
    private void JoinAcross(int h, int o)
    {
        Join(h, EdgeTable.Next(o));
        Join(EdgeTable.Next(h), o);
    }

    private void JoinAlong(int h, int g)
    {
        var sameWay = _mesh.Triangles[h] == _mesh.Triangles[g];
        Join(h, sameWay ? g : EdgeTable.Next(g));
        Join(EdgeTable.Next(h), sameWay ? EdgeTable.Next(g) : g);
    }

    // Each copy goes a little way towards the middle of its own fan's other corners.
    private float[] PlaceCopies(int[] triangles)
    {
        var old = _mesh.VertexCount;
        var source = new int[VerticesCopied];
        var sum = new Vec3[VerticesCopied];
        var count = new int[VerticesCopied];
        for (var c = 0; c < triangles.Length; c++)
        {
            var copy = triangles[c] - old;
            if (copy < 0)
                continue;
            source[copy] = _mesh.Triangles[c];
            sum[copy] += _mesh.Local(_mesh.Triangles[EdgeTable.Next(c)]) + _mesh.Local(_mesh.Triangles[EdgeTable.Previous(c)]);
            count[copy] += 2;
            MovedAreaMm2 += _separationMm > 0 ? MeshMeasures.TriangleAreaMm2(_mesh, c / 3) : 0;
        }

        float[] positions = [.. _mesh.Positions, .. new float[3 * VerticesCopied]];
        for (var copy = 0; copy < VerticesCopied; copy++)
        {
            var p = _mesh.Local(source[copy]);
            var inward = (sum[copy] / count[copy]) - p;
            var q = p + (inward.Normalized() * Math.Min(_separationMm, inward.Length / 2));
            var at = 3 * (old + copy);
            (positions[at], positions[at + 1], positions[at + 2]) = ((float)q.X, (float)q.Y, (float)q.Z);
            Displacement = Displacement.With(Vec3.Distance(p, new Vec3(positions[at], positions[at + 1], positions[at + 2])));
        }

        return positions;
    }

    private void Join(int a, int b)
    {
        a = Root(a);
        b = Root(b);
        if (a < b)
            _root[b] = a;
        else
            _root[a] = b;
    }

    private int Root(int c)
    {
        while (_root[c] != c)
        {
            _root[c] = _root[_root[c]];
            c = _root[c];
        }

        return c;
    }
}
