using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Closes the rim of a cut with triangles in the plane.</summary>
/// <remarks>
/// Method: the rim's edges become the fixed edges of a <see cref="ConstrainedTriangulation"/> of the plane (the axis with the
///   largest part of the normal is left out, so coordinates stay exact); triangles that the rim winds round once are the
///   cap. Nested rims make holes, islands in holes make caps again. No vertex is added.
/// Where bodies in one mesh overlap, so that rims cross, each body gets a cap of its own; a void stays with its body.
/// Where a point of the plane stands for several copies of a vertex, a corner of the cap takes the copy on the rim edge that
///   bounds its sector; where the sector's two edges name different copies, the cap joins their fans and they become one.
/// </remarks>
internal sealed class CutCap
{
    private readonly double[] _u;
    private readonly double[] _v;
    private readonly int[] _pointOf;
    private readonly Dictionary<(int, int), (int From, int To)> _edges = [];
    private readonly Dictionary<(int, int), int> _winding = [];
    private readonly List<int> _copies;
    private readonly List<(int, int)> _joins = [];

    private CutCap(Mesh open, (int From, int To)[] rim, int dropAxis, bool swap)
    {
        var points = new Dictionary<(double, double), int>();
        var (us, vs) = (new List<double>(), new List<double>());
        _pointOf = new int[open.VertexCount];
        Array.Fill(_pointOf, -1);
        _copies = [];
        foreach (var (from, to) in rim)
            foreach (var vertex in (ReadOnlySpan<int>)[from, to])
            {
                if (_pointOf[vertex] >= 0)
                    continue;
                var at = open.Local(vertex);
                var (u, v) = (at[(dropAxis + 1) % 3], at[(dropAxis + 2) % 3]);
                if (swap)
                    (u, v) = (v, u);
                if (!points.TryGetValue((u, v), out var point))
                {
                    point = us.Count;
                    points.Add((u, v), point);
                    us.Add(u);
                    vs.Add(v);
                    _copies.Add(0);
                }

                _pointOf[vertex] = point;
                _copies[point]++;
            }

        (_u, _v) = ([.. us], [.. vs]);
        // The cap lies to the left of the rim's edges run backward.
        foreach (var (from, to) in rim)
            Twisted |= !TryAddEdge(to, from);
    }

    /// <summary>Two rim edges that run the same way between the same points.</summary>
    private bool Twisted { get; }

    /// <summary>The open mesh with its rim closed; the cap's normal is <paramref name="capNormal"/>.</summary>
    /// <exception cref="CheckFailedException">The rim is open or crosses itself.</exception>
    internal static Mesh Close(Mesh open, (int From, int To)[] rim, Vec3 capNormal, RunContext run)
    {
        RequireClosed(open, rim);
        var drop = LargestAxis(capNormal);
        var swap = capNormal[drop] < 0;
        if (TryClose(open, rim, drop, swap, run) is { } whole)
            return Joined(open, whole.Triangles, whole.Joins);
        List<int> triangles = [];
        List<(int, int)> joins = [];
        foreach (var body in RimBodies.Split(open, rim, drop, swap))
        {
            var cap = TryClose(open, body, drop, swap, run) ?? throw Crossing(open, body);
            triangles.AddRange(cap.Triangles);
            joins.AddRange(cap.Joins);
        }

        return Joined(open, triangles, joins);
    }

    private static Mesh Joined(Mesh open, List<int> cap, List<(int A, int B)> joins)
    {
        int[] triangles = [.. open.Triangles, .. cap];
        var origins = new Origin[triangles.Length / 3];
        open.Origins.CopyTo(origins);
        Array.Fill(origins, Origin.Cut, open.TriangleCount, origins.Length - open.TriangleCount);
        return joins.Count == 0 ? new(open.OriginMm, open.PositionArray, triangles, origins) : Compacted(open, triangles, origins, joins);
    }

    private static Mesh Compacted(Mesh open, int[] triangles, Origin[] origins, List<(int A, int B)> joins)
    {
        var parent = new int[open.VertexCount];
        for (var v = 0; v < parent.Length; v++)
            parent[v] = v;
        int Root(int v)
        {
            while (parent[v] != v)
                v = parent[v] = parent[parent[v]];
            return v;
        }

        foreach (var (a, b) in joins)
        {
            var (ra, rb) = (Root(a), Root(b));
            parent[Math.Max(ra, rb)] = Math.Min(ra, rb);
        }

        var index = new int[parent.Length];
        var positions = new List<float>(3 * parent.Length);
        for (var v = 0; v < index.Length; v++)
        {
            if (parent[v] != v)
                continue;
            index[v] = positions.Count / 3;
            positions.AddRange(open.Positions.Slice(3 * v, 3));
        }

        for (var h = 0; h < triangles.Length; h++)
            triangles[h] = index[Root(triangles[h])];
        return new(open.OriginMm, [.. positions], triangles, origins);
    }

    private static void RequireClosed(Mesh open, (int From, int To)[] rim)
    {
        var balance = new Dictionary<int, int>();
        foreach (var (from, to) in rim)
        {
            balance[from] = balance.GetValueOrDefault(from) + 1;
            balance[to] = balance.GetValueOrDefault(to) - 1;
        }

        foreach (var (from, to) in rim)
            foreach (var vertex in (ReadOnlySpan<int>)[from, to])
                if (balance[vertex] != 0)
                    throw new CheckFailedException(
                        "cap of a cut",
                        "a surface that is closed where the plane passes",
                        "an open border at " + Placement.Text(open.Vertex(vertex)) + " mm; close it first or cut without a cap");
    }

    private static CheckFailedException Crossing(Mesh open, (int From, int To)[] rim) => new(
        "cap of a cut",
        "a section that does not cross or touch itself",
        "a section that does near " + Placement.Text(open.Vertex(rim[0].From)) + " mm; repair the surface first or move the plane a little");

    private static int LargestAxis(Vec3 n)
    {
        var (x, y, z) = (Math.Abs(n.X), Math.Abs(n.Y), Math.Abs(n.Z));
        return x >= y && x >= z ? 0 : y >= z ? 1 : 2;
    }

    private static (List<int> Triangles, List<(int, int)> Joins)? TryClose(Mesh open, (int From, int To)[] rim, int dropAxis, bool swap, RunContext run)
    {
        var cap = new CutCap(open, rim, dropAxis, swap);
        return !cap.Twisted && cap.Triangulate(run) is { } triangles ? (triangles, cap._joins) : null;
    }

    private bool TryAddEdge(int from, int to)
    {
        var (a, b) = (_pointOf[from], _pointOf[to]);
        if (a == b || !_edges.TryAdd((a, b), (from, to)))
            return false;
        _winding[(a, b)] = _winding.GetValueOrDefault((a, b)) + 1;
        _winding[(b, a)] = _winding.GetValueOrDefault((b, a)) - 1;
        return true;
    }

    private List<int>? Triangulate(RunContext run)
    {
        var plane = new ConstrainedTriangulation(_u, _v, run);
        var at = 0;
        foreach (var (a, b) in _edges.Keys.Order())
        {
            if ((at++ & 0xFF) == 0)
                run.ThrowIfCancelled();
            if (!plane.TryFix(a, b))
                return null;
        }

        var inside = WindingNumbers(plane);
        int least = 0, most = 0;
        foreach (var winding in inside)
            (least, most) = (Math.Min(least, winding), Math.Max(most, winding));
        // A body that is inside out winds the other way round; both ways at once means overlap.
        if (most > 1 || least < -1 || (most == 1 && least == -1))
            return null;
        return Emit(plane, inside, most == 1 ? 1 : -1);
    }

    private int[] WindingNumbers(ConstrainedTriangulation plane)
    {
        var winding = new int[plane.Triangles];
        var seen = new bool[plane.Triangles];
        var stack = new Stack<int>();
        // A triangle at a corner of the enclosing one lies outside of everything.
        var first = plane.Leaving(plane.Count) / 3;
        seen[first] = true;
        stack.Push(first);
        while (stack.TryPop(out var t))
            for (var h = 3 * t; h < (3 * t) + 3; h++)
            {
                var across = plane.Opposite(h);
                if (across < 0 || seen[across / 3])
                    continue;
                // Into the triangle left of the half-edge across.
                winding[across / 3] = winding[t] + _winding.GetValueOrDefault((plane.From(across), plane.From(h)));
                seen[across / 3] = true;
                stack.Push(across / 3);
            }

        return winding;
    }

    private List<int> Emit(ConstrainedTriangulation plane, int[] inside, int sign)
    {
        var triangles = new List<int>();
        for (var t = 0; t < inside.Length; t++)
        {
            if (inside[t] != sign)
            {
                JoinStrips(plane, t);
                continue;
            }

            int a = Vertex(plane, 3 * t, sign), b = Vertex(plane, (3 * t) + 1, sign), c = Vertex(plane, (3 * t) + 2, sign);
            triangles.AddRange(sign > 0 ? [a, b, c] : [a, c, b]);
        }

        return triangles;
    }

    /// <summary>Where the rim runs forth and back along an edge with no cap on either side, the two ways are one.</summary>
    private void JoinStrips(ConstrainedTriangulation plane, int t)
    {
        for (var h = 3 * t; h < (3 * t) + 3; h++)
        {
            var (a, b) = (plane.From(h), plane.From(ConstrainedTriangulation.Next(h)));
            if (_edges.TryGetValue((a, b), out var forth) && _edges.TryGetValue((b, a), out var back))
                _joins.AddRange([(forth.From, back.To), (forth.To, back.From)]);
        }
    }

    /// <summary>The mesh vertex that a corner stands for: the one on the rim edges that bound the sector it lies in.</summary>
    private int Vertex(ConstrainedTriangulation plane, int corner, int sign)
    {
        // Counter-clockwise to the edge that ends the sector, clockwise to the one that begins it.
        var end = corner;
        int vertex;
        while (!TryBound(plane.From(ConstrainedTriangulation.Previous(end)), plane.From(end), sign, out vertex))
            end = plane.Opposite(ConstrainedTriangulation.Previous(end));
        if (_copies[plane.From(corner)] == 1)
            return vertex;
        var begin = corner;
        int other;
        while (!TryBound(plane.From(begin), plane.From(ConstrainedTriangulation.Next(begin)), sign, out other))
            begin = ConstrainedTriangulation.Next(plane.Opposite(begin));
        if (vertex != other)
            _joins.Add((vertex, other));
        return vertex;

        // A cap that is wound the other way round lies to the right of the rim's edges.
        bool TryBound(int from, int to, int turn, out int bound)
        {
            var found = turn > 0
                ? _edges.TryGetValue((from, to), out var edge)
                : _edges.TryGetValue((to, from), out edge);
            var atFrom = (from == plane.From(corner)) == (turn > 0);
            bound = atFrom ? edge.From : edge.To;
            return found;
        }
    }
}
