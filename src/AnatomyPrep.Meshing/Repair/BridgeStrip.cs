using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>The triangles of one bridge: rows between a left side a → d and a right side b → c, from edge a → b to edge c → d.</summary>
internal sealed class BridgeStrip
{
    private readonly Mesh _mesh;
    private readonly EdgeTable _edges;
    private readonly int _a;
    private readonly int _b;
    private readonly int _c;
    private readonly int _d;
    private readonly int _rows;
    private readonly bool _straight;
    private readonly Vec3 _leaving;
    private readonly Vec3 _arriving;
    private readonly List<Vec3> _newPoints = [];
    private readonly List<(int, int, int)> _triangles = [];
    private readonly int[] _rim;

    public BridgeStrip(Mesh mesh, EdgeTable edges, int from, int to, int segments, bool straight)
    {
        (_mesh, _edges, _straight) = (mesh, edges, straight);
        (_a, _b) = (mesh.Triangles[from], mesh.Triangles[EdgeTable.Next(from)]);
        (_c, _d) = (mesh.Triangles[to], mesh.Triangles[EdgeTable.Next(to)]);
        Vec3 a = mesh.Local(_a), b = mesh.Local(_b), c = mesh.Local(_c), d = mesh.Local(_d);
        var gap = Vec3.Distance((a + b) * 0.5, (c + d) * 0.5);
        _leaving = Outward(from) * gap;
        _arriving = Outward(to) * -gap;
        var edge = (Vec3.Distance(a, b) + Vec3.Distance(c, d)) / 2;
        _rows = segments > 0 ? segments : (int)Math.Clamp(Math.Round(gap / Math.Max(edge, double.Epsilon)), 1, 10_000);
        // Corners that are one vertex need only one number.
        _rim = [.. ((int[])[_a, _b, _c, _d]).Distinct()];
    }

    /// <returns>Null when the strip would double an edge of the surface.</returns>
    public HolePatch? Build()
    {
        if (_a == _d && _b == _c)
            return null;
        var rows = _rows;
        // One row joins the corners directly; where they are joined already, only along open border can that be closed.
        if (rows == 1 && !(CanJoin(_a, _d) && CanJoin(_b, _c)))
            rows = 2;
        var left = Side(_a, _d, rows);
        var right = Side(_b, _c, rows);
        for (var row = 0; row < rows; row++)
            AddRow(left[row], right[row], left[row + 1], right[row + 1]);
        return _triangles.Count == 0 || DoublesAnEdge() ? null : new HolePatch(_rim, [.. _newPoints], [.. _triangles], _straight ? PatchShape.Flat : PatchShape.Curved);
    }

    private Vec3 Outward(int h)
    {
        var (a, b, c) = _mesh.Triangle(h / 3);
        var normal = TriangleShape.Normal(_mesh.Local(a), _mesh.Local(b), _mesh.Local(c));
        var along = _mesh.Local(_mesh.Triangles[EdgeTable.Next(h)]) - _mesh.Local(_mesh.Triangles[h]);
        return Vec3.Cross(along, normal).Normalized();
    }

    private int[] Side(int from, int to, int rows)
    {
        var side = new int[rows + 1];
        side[0] = Array.IndexOf(_rim, from);
        side[rows] = Array.IndexOf(_rim, to);
        for (var row = 1; row < rows; row++)
        {
            if (from == to)
            {
                side[row] = side[0];
                continue;
            }

            var p = Along(_mesh.Local(from), _mesh.Local(to), row / (double)rows);
            _newPoints.Add(new((float)p.X, (float)p.Y, (float)p.Z));
            side[row] = _rim.Length + _newPoints.Count - 1;
        }

        return side;
    }

    private Vec3 Along(Vec3 p, Vec3 q, double t)
    {
        if (_straight)
            return Vec3.Lerp(p, q, t);
        double t2 = t * t, t3 = t2 * t;
        return (p * ((2 * t3) - (3 * t2) + 1)) + (_leaving * (t3 - (2 * t2) + t)) + (q * ((3 * t2) - (2 * t3))) + (_arriving * (t3 - t2));
    }

    // The quad l0 r0 r1 l1 runs against the first edge from r0 to l0; it is cut along its shorter diagonal.
    private void AddRow(int l0, int r0, int l1, int r1)
    {
        if (l0 == l1)
        {
            Add(r0, l0, r1);
        }
        else if (r0 == r1)
        {
            Add(r0, l0, l1);
        }
        else if (Vec3.Distance(Point(r0), Point(l1)) <= Vec3.Distance(Point(l0), Point(r1)))
        {
            Add(r0, l0, l1);
            Add(r0, l1, r1);
        }
        else
        {
            Add(r0, l0, r1);
            Add(l0, l1, r1);
        }
    }

    private void Add(int a, int b, int c)
    {
        if (a != b && b != c && c != a)
            _triangles.Add((a, b, c));
    }

    private Vec3 Point(int v) => v < _rim.Length ? _mesh.Local(_rim[v]) : _newPoints[v - _rim.Length];

    // Every edge between two old vertices must meet an open half-edge that runs the other way, or nothing.
    private bool DoublesAnEdge()
    {
        foreach (var (a, b, c) in _triangles)
        {
            if (!IsFree(a, b) || !IsFree(b, c) || !IsFree(c, a))
                return true;
        }

        return false;

        bool IsFree(int u, int v) => u >= _rim.Length || v >= _rim.Length || CanJoin(_rim[u], _rim[v]);
    }

    /// <summary>May a triangle run from u to v: is the edge new, or open border in the other direction?</summary>
    private bool CanJoin(int u, int v)
    {
        if (u == v)
            return true;
        for (var h = 0; h < _edges.Opposite.Length; h++)
        {
            int from = _mesh.Triangles[h], to = _mesh.Triangles[EdgeTable.Next(h)];
            if ((from == u && to == v) || (from == v && to == u && _edges.Opposite[h] != EdgeTable.Boundary))
                return false;
        }

        return true;
    }
}
