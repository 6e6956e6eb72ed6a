using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Cuts triangles of a mesh along the lines in which they cross each other, edge to edge.</summary>
/// <remarks>
/// A cut point is named by the edge and the triangle it goes through, so that every triangle at it uses the same vertex, whatever
/// its rounded place. Which edges go through which triangles is decided by exact predicates; anything in special position (a
/// corner in a plane, an edge along an edge, three sheets in a point) is left to others: <see cref="Make"/> then gives null.
/// Each triangle is divided by a constrained Delaunay triangulation of the rounded points in the projection along its largest
/// axis (<see cref="ConstrainedTriangulation"/>).
/// </remarks>
internal sealed class TriangleCuts
{
    private readonly EditableMesh _mesh;
    private readonly Dictionary<(int Low, int High, int Triangle), int> _numbers = [];
    private readonly double _nearMm;
    private readonly Dictionary<(long X, long Y, long Z), List<int>> _byPlace = [];
    private readonly Dictionary<int, Cut> _cuts = [];
    private readonly List<int> _users = [];

    private TriangleCuts(EditableMesh mesh, double nearMm)
    {
        _mesh = mesh;
        _nearMm = nearMm;
    }

    /// <summary>Cut points, rounded to float32; corner ~i of a part is point i.</summary>
    public List<Vec3> Points { get; } = [];

    /// <summary>Parts of the triangles, with the triangle each is of.</summary>
    public List<(int A, int B, int C, int Of)> Parts { get; } = [];

    /// <summary>Edges of parts along which the surface crosses itself, lower corner first.</summary>
    public HashSet<(int Low, int High)> Lines { get; } = [];

    /// <param name="nearMm">Points no farther apart are one.</param>
    public static TriangleCuts? Make(EditableMesh mesh, IReadOnlyList<(int First, int Second)> pairs, double nearMm, RunContext run)
    {
        var cuts = new TriangleCuts(mesh, nearMm);
        foreach (var (first, second) in pairs)
        {
            cuts.NoteCorners(first);
            cuts.NoteCorners(second);
        }

        foreach (var (first, second) in pairs)
            if (!cuts.AddPair(first, second))
                return null;
        foreach (var (t, cut) in cuts._cuts.OrderBy(c => c.Key))
        {
            run.ThrowIfCancelled();
            if (!cuts.Divide(t, cut, run))
                return null;
        }

        return cuts;
    }

    /// <summary>Triangles that were divided.</summary>
    public IEnumerable<int> Triangles => _cuts.Keys.Order();

    private void NoteCorners(int t)
    {
        foreach (var corner in Corners(t))
            if (FindNear(_mesh.Local(corner)) is null)
                CellOf(Cell(_mesh.Local(corner))).Add(corner);
    }

    private int? FindNear(Vec3 at)
    {
        var (x, y, z) = Cell(at);
        for (var i = x - 1; i <= x + 1; i++)
            for (var j = y - 1; j <= y + 1; j++)
                for (var k = z - 1; k <= z + 1; k++)
                    if (_byPlace.TryGetValue((i, j, k), out var cell))
                        foreach (var corner in cell)
                            if (Vec3.Distance(At(corner), at) <= _nearMm)
                                return corner;
        return null;
    }

    private (long, long, long) Cell(Vec3 at) => ((long)Math.Floor(at.X / _nearMm), (long)Math.Floor(at.Y / _nearMm), (long)Math.Floor(at.Z / _nearMm));

    private List<int> CellOf((long, long, long) cell) => _byPlace.TryGetValue(cell, out var list) ? list : _byPlace[cell] = [];

    private bool AddPair(int s, int t)
    {
        var shared = Corners(s).Intersect(Corners(t)).ToArray();
        if (shared.Length > 1)
            return false;
        var ends = new List<int>(shared);
        if (!Pierce(s, t, ends) || !Pierce(t, s, ends) || ends.Count != 2)
            return false;
        if (ends[0] == ends[1])
            return true;
        CutOf(s).Segments.Add((ends[0], ends[1]));
        CutOf(t).Segments.Add((ends[0], ends[1]));
        return true;
    }

    /// <summary>Adds the points where edges of s go through the inside of t; false in special position.</summary>
    private bool Pierce(int s, int t, List<int> ends)
    {
        var c = Corners(s);
        var d = Corners(t);
        Vec3 p = _mesh.Local(d[0]), q = _mesh.Local(d[1]), r = _mesh.Local(d[2]);
        for (var i = 0; i < 3; i++)
        {
            int u = Math.Min(c[i], c[(i + 1) % 3]), v = Math.Max(c[i], c[(i + 1) % 3]);
            if (d.Contains(u) || d.Contains(v))
                continue;
            Vec3 a = _mesh.Local(u), b = _mesh.Local(v);
            int sideA = ExactPredicates.Orient3D(p, q, r, a), sideB = ExactPredicates.Orient3D(p, q, r, b);
            if (sideA == 0 || sideB == 0)
                return false;
            if (sideA == sideB)
                continue;
            int x = ExactPredicates.Orient3D(a, b, p, q), y = ExactPredicates.Orient3D(a, b, q, r), z = ExactPredicates.Orient3D(a, b, r, p);
            if (Math.Max(Math.Max(x, y), z) > 0 && Math.Min(Math.Min(x, y), z) < 0)
                continue;
            if (x == 0 || y == 0 || z == 0)
                return false;
            var point = Number(u, v, t, a, b, p, q, r);
            if (!d.Contains(point) && !PutOnEdge(d, point))
                CutOf(t).Inside.Add(point);
            ends.Add(point);
        }

        return true;
    }

    private int Number(int u, int v, int t, Vec3 a, Vec3 b, Vec3 p, Vec3 q, Vec3 r)
    {
        if (_numbers.TryGetValue((u, v, t), out var number))
            return number;
        var n = Vec3.Cross(q - p, r - p);
        double from = Vec3.Dot(n, a - p), to = Vec3.Dot(n, b - p);
        var share = Math.Clamp(from / (from - to), 0, 1);
        var at = a + ((b - a) * share);
        // What lies as near as rounding is one point, also where a corner was there before.
        at = new((float)at.X, (float)at.Y, (float)at.Z);
        if (FindNear(at) is { } near)
        {
            number = near;
        }
        else
        {
            Points.Add(at);
            number = ~(Points.Count - 1);
            CellOf(Cell(at)).Add(number);
        }

        _numbers[(u, v, t)] = number;
        AddOnEdge(u, v, share, number);
        return number;
    }

    /// <summary>A point that goes through a triangle as near to its edge as rounding goes through the edge.</summary>
    private bool PutOnEdge(int[] corners, int point)
    {
        var at = At(point);
        for (var i = 0; i < 3; i++)
        {
            var (u, v) = Edge(corners[i], corners[(i + 1) % 3]);
            Vec3 a = _mesh.Local(u), ab = _mesh.Local(v) - a;
            if (TriangleShape.DistanceMm(at, a, a + ab) > _nearMm)
                continue;
            AddOnEdge(u, v, Math.Clamp(Vec3.Dot(at - a, ab) / ab.LengthSquared, 0, 1), point);
            return true;
        }

        return false;
    }

    private void AddOnEdge(int u, int v, double share, int point)
    {
        if (point == u || point == v)
            return;
        _users.Clear();
        _mesh.FindEdgeTriangles(u, v, _users);
        foreach (var user in _users)
        {
            var cut = CutOf(user);
            if (!cut.OnEdge.Exists(e => e.U == u && e.V == v && e.Number == point))
                cut.OnEdge.Add((u, v, share, point));
        }
    }

    private bool Divide(int t, Cut cut, RunContext run)
    {
        var c = Corners(t);
        Vec3 p = _mesh.Local(c[0]), q = _mesh.Local(c[1]), r = _mesh.Local(c[2]);
        var (i, j) = Axes(Vec3.Cross(q - p, r - p));
        var rim = new List<int>();
        for (var k = 0; k < 3; k++)
        {
            rim.Add(c[k]);
            if (!AddChain(cut, c[k], c[(k + 1) % 3], rim))
                return false;
        }

        int[] corners = [.. rim, .. cut.Inside.Distinct().Except(rim)];
        var number = new Dictionary<int, int>();
        double[] x = new double[corners.Length + 4], y = new double[corners.Length + 4];
        var seen = new HashSet<(double, double)>();
        for (var k = 0; k < corners.Length; k++)
        {
            number[corners[k]] = k;
            var at = At(corners[k]);
            (x[k], y[k]) = (at[i], at[j]);
            if (!seen.Add((x[k], y[k])))
                return false;
        }

        Surround(x, y, corners.Length);
        var plane = new ConstrainedTriangulation(x, y, run);
        var outline = new HashSet<(int, int)>();
        for (var k = 0; k < rim.Count; k++)
        {
            var (from, to) = (k, (k + 1) % rim.Count);
            if (!plane.TryFix(from, to))
                return false;
            outline.Add((from, to));
        }

        foreach (var (from, to) in cut.Segments)
        {
            if (!number.TryGetValue(from, out var a) || !number.TryGetValue(to, out var b) || !plane.TryFix(a, b))
                return false;
            Lines.Add(Edge(from, to));
        }

        AddParts(plane, corners, outline, t);
        return true;
    }

    // Four points around, so that no segment comes near the triangulation's own large triangle.
    private static void Surround(double[] x, double[] y, int count)
    {
        double x0 = x[..count].Min(), x1 = x[..count].Max(), y0 = y[..count].Min(), y1 = y[..count].Max();
        var margin = Math.Max(x1 - x0, y1 - y0);
        (x[count], y[count]) = (x0 - margin, y0 - margin);
        (x[count + 1], y[count + 1]) = (x1 + margin, y0 - margin);
        (x[count + 2], y[count + 2]) = (x1 + margin, y1 + margin);
        (x[count + 3], y[count + 3]) = (x0 - margin, y1 + margin);
    }

    private static bool AddChain(Cut cut, int from, int to, List<int> rim)
    {
        var (low, high) = (Math.Min(from, to), Math.Max(from, to));
        var chain = cut.OnEdge.Where(e => e.U == low && e.V == high).OrderBy(e => from == low ? e.Share : -e.Share).ToArray();
        for (var k = 0; k < chain.Length; k++)
        {
            if (chain[k].Number == rim[^1])
                continue;
            if (rim.Contains(chain[k].Number))
                return false;
            rim.Add(chain[k].Number);
        }

        return true;
    }

    // From each rim edge inwards: everything on the inner side of the outline.
    private void AddParts(ConstrainedTriangulation plane, int[] corners, HashSet<(int From, int To)> outline, int t)
    {
        var seen = new bool[plane.Triangles];
        var open = new Stack<int>();
        for (var h = 0; h < 3 * plane.Triangles; h++)
        {
            if (outline.Contains((plane.From(h), plane.From(ConstrainedTriangulation.Next(h)))) && !seen[h / 3])
            {
                seen[h / 3] = true;
                open.Push(h / 3);
            }
        }

        while (open.TryPop(out var part))
        {
            int a = plane.From(3 * part), b = plane.From((3 * part) + 1), c = plane.From((3 * part) + 2);
            if (a < corners.Length && b < corners.Length && c < corners.Length)
                Parts.Add((corners[a], corners[b], corners[c], t));
            for (var h = 3 * part; h < (3 * part) + 3; h++)
            {
                if (outline.Contains((plane.From(h), plane.From(ConstrainedTriangulation.Next(h)))))
                    continue;
                var across = plane.Opposite(h) / 3;
                if (plane.Opposite(h) < 0 || seen[across])
                    continue;
                seen[across] = true;
                open.Push(across);
            }
        }
    }

    /// <summary>The two axes of the projection, in the order that keeps the turn.</summary>
    private static (int I, int J) Axes(Vec3 n)
    {
        double x = Math.Abs(n.X), y = Math.Abs(n.Y), z = Math.Abs(n.Z);
        var drop = x >= y && x >= z ? 0 : y >= z ? 1 : 2;
        int i = (drop + 1) % 3, j = (drop + 2) % 3;
        return n[drop] > 0 ? (i, j) : (j, i);
    }

    public static (int Low, int High) Edge(int a, int b) => (Math.Min(a, b), Math.Max(a, b));

    public Vec3 At(int corner) => corner < 0 ? Points[~corner] : _mesh.Local(corner);

    private int[] Corners(int t)
    {
        var (a, b, c) = _mesh.Triangle(t);
        return [a, b, c];
    }

    private Cut CutOf(int t) => _cuts.TryGetValue(t, out var cut) ? cut : _cuts[t] = new Cut();

    private sealed class Cut
    {
        public List<(int U, int V, double Share, int Number)> OnEdge { get; } = [];

        public List<int> Inside { get; } = [];

        public List<(int From, int To)> Segments { get; } = [];
    }
}
