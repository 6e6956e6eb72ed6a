using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Triangles over points of a plane that hold given segments as edges and are Delaunay apart from them.</summary>
/// <remarks>
/// Method: incremental insertion with Lawson's flips (Lawson, "Software for C1 surface interpolation", 1977) inside one
///   large triangle; segments by flipping the edges they cross (Sloan, "A fast algorithm for generating constrained
///   Delaunay triangulations", Computers and Structures 47(3), 1993). All sides and circles by <see cref="ExactPredicates"/>,
///   so it ends and is right on any input.
/// Shapes: half-edge h = 3t + c as in a mesh; triangles counter-clockwise; corners of the large triangle are points
///   Count, Count + 1 and Count + 2.
/// Cost: O(n log n) on the sections seen, O(n²) at worst; about 100 bytes a point.
/// </remarks>
internal sealed class ConstrainedTriangulation
{
    private readonly double[] _x;
    private readonly double[] _y;
    private readonly List<int> _from = [];
    private readonly List<int> _opposite = [];
    private readonly List<bool> _isFixed = [];
    private readonly int[] _at;
    private readonly Stack<int> _suspects = new();

    /// <param name="x">Distinct points.</param>
    internal ConstrainedTriangulation(ReadOnlySpan<double> x, ReadOnlySpan<double> y, RunContext run)
    {
        Count = x.Length;
        (_x, _y) = (new double[Count + 3], new double[Count + 3]);
        x.CopyTo(_x);
        y.CopyTo(_y);
        _at = new int[Count + 3];
        Enclose();
        var order = InsertionOrder();
        var near = 0;
        for (var i = 0; i < order.Length; i++)
        {
            if ((i & 0x3FF) == 0)
                run.ThrowIfCancelled();
            near = Insert(order[i], near);
        }
    }

    /// <summary>Points given.</summary>
    internal int Count { get; }

    internal int Triangles => _from.Count / 3;

    /// <summary>The point a half-edge leaves.</summary>
    internal int From(int h) => _from[h];

    /// <summary>The half-edge on the other side; -1 along the large triangle.</summary>
    internal int Opposite(int h) => _opposite[h];

    /// <summary>A half-edge that leaves a point.</summary>
    internal int Leaving(int point) => _at[point];

    internal static int Next(int h) => h % 3 == 2 ? h - 2 : h + 1;

    internal static int Previous(int h) => h % 3 == 0 ? h + 2 : h - 1;

    /// <summary>Makes a segment an edge; false where it meets another segment or a point on its way.</summary>
    internal bool TryFix(int a, int b)
    {
        // By end points: a flip gives half-edges other edges.
        var crossed = new Queue<(int, int)>();
        var h = FirstCrossed(a, b, out var edge);
        if (edge >= 0)
        {
            Fix(edge);
            return true;
        }

        if (h < 0 || !CollectCrossed(a, b, h, crossed))
            return false;
        Uncross(a, b, crossed);
        var fixedEdge = Find(a, b);
        if (fixedEdge < 0)
            return false;
        Fix(fixedEdge);
        Legalize();
        return true;
    }

    private void Enclose()
    {
        double x0 = double.PositiveInfinity, y0 = x0, x1 = double.NegativeInfinity, y1 = x1;
        for (var i = 0; i < Count; i++)
        {
            x0 = Math.Min(x0, _x[i]);
            x1 = Math.Max(x1, _x[i]);
            y0 = Math.Min(y0, _y[i]);
            y1 = Math.Max(y1, _y[i]);
        }

        var reach = Count == 0 ? 1 : 64 * Math.Max(1e-6, Math.Max(x1 - x0, y1 - y0));
        double cx = Count == 0 ? 0 : (x0 + x1) / 2, cy = Count == 0 ? 0 : (y0 + y1) / 2;
        (_x[Count], _y[Count]) = (cx - (2 * reach), cy - reach);
        (_x[Count + 1], _y[Count + 1]) = (cx + (2 * reach), cy - reach);
        (_x[Count + 2], _y[Count + 2]) = (cx, cy + (2 * reach));
        AddTriangle(Count, Count + 1, Count + 2);
    }

    /// <summary>Strips in x, up and down in turn, so that each point lies near the one before it.</summary>
    private int[] InsertionOrder()
    {
        var order = new int[Count];
        for (var i = 0; i < Count; i++)
            order[i] = i;
        if (Count == 0)
            return order;
        double low = double.PositiveInfinity, high = double.NegativeInfinity;
        for (var i = 0; i < Count; i++)
        {
            low = Math.Min(low, _x[i]);
            high = Math.Max(high, _x[i]);
        }

        var strips = Math.Max(1, (int)Math.Sqrt(Count / 2.0));
        var scale = high > low ? strips / (high - low) : 0;
        int Strip(int i) => Math.Min(strips - 1, (int)((_x[i] - low) * scale));
        Array.Sort(order, (i, j) =>
        {
            var (si, sj) = (Strip(i), Strip(j));
            if (si != sj)
                return si.CompareTo(sj);
            var byY = _y[i].CompareTo(_y[j]);
            if (byY == 0)
                byY = _x[i].CompareTo(_x[j]);
            if (byY == 0)
                byY = i.CompareTo(j);
            return si % 2 == 0 ? byY : -byY;
        });
        return order;
    }

    private int AddTriangle(int a, int b, int c)
    {
        var h = _from.Count;
        _from.AddRange([a, b, c]);
        _opposite.AddRange([-1, -1, -1]);
        _isFixed.AddRange([false, false, false]);
        (_at[a], _at[b], _at[c]) = (h, h + 1, h + 2);
        return h;
    }

    private void Link(int h, int opposite, bool isFixed = false)
    {
        _opposite[h] = opposite;
        _isFixed[h] = isFixed;
        if (opposite < 0)
            return;
        _opposite[opposite] = h;
        _isFixed[opposite] = isFixed;
    }

    private int Side(int a, int b, int p) => ExactPredicates.Orient2D(_x[a], _y[a], _x[b], _y[b], _x[p], _y[p]);

    /// <summary>Inserts a point and returns a half-edge at it.</summary>
    private int Insert(int p, int near)
    {
        var h = 3 * (near / 3);
        // Visibility walk: in a Delaunay triangulation it cannot go round in circles.
        for (var step = 0; step < 3;)
        {
            if (Side(_from[h], _from[Next(h)], p) < 0)
            {
                h = Next(_opposite[h]);
                step = 0;
            }
            else
            {
                h = Next(h);
                step++;
            }
        }

        for (var i = 0; i < 3; i++, h = Next(h))
            if (Side(_from[h], _from[Next(h)], p) == 0)
            {
                SplitEdge(h, p);
                Legalize();
                return _at[p];
            }

        SplitTriangle(h, p);
        Legalize();
        return _at[p];
    }

    private void SplitTriangle(int h0, int p)
    {
        int h1 = Next(h0), h2 = Next(h1);
        int a = _from[h0], b = _from[h1], c = _from[h2];
        int o1 = _opposite[h1], o2 = _opposite[h2];
        // h0's triangle becomes a, b, p; two new ones are b, c, p and c, a, p.
        var k = AddTriangle(b, c, p);
        var m = AddTriangle(c, a, p);
        _from[h2] = p;
        Link(k, o1);
        Link(m, o2);
        Link(h1, k + 2);
        Link(k + 1, m + 2);
        Link(m + 1, h2);
        (_at[a], _at[b], _at[c], _at[p]) = (h0, h1, k + 1, h2);
        Suspect(h0, k, m);
    }

    private void SplitEdge(int h0, int p)
    {
        int h1 = Next(h0), h2 = Next(h1), g0 = _opposite[h0];
        int a = _from[h0], b = _from[h1], c = _from[h2];
        var o1 = _opposite[h1];
        // The triangle a, b, c becomes a, p, c and p, b, c; the one across likewise.
        var k = AddTriangle(p, b, c);
        _from[h1] = p;
        Link(k + 1, o1);
        Link(h1, k + 2);
        (_at[a], _at[b], _at[c], _at[p]) = (h0, k + 1, h2, h1);
        if (g0 < 0)
        {
            Link(h0, -1);
            Link(k, -1);
            Suspect(h2, k + 1);
            return;
        }

        int g1 = Next(g0), g2 = Next(g1);
        var d = _from[g2];
        var u2 = _opposite[g2];
        // b, a, d becomes p, a, d (kept in g's slots) and b, p, d.
        _from[g0] = p;
        var m = AddTriangle(b, p, d);
        Link(m + 2, u2);
        Link(m + 1, g2);
        Link(h0, g0);
        Link(k, m);
        (_at[a], _at[b], _at[d], _at[p]) = (h0, k + 1, g2, h1);
        Suspect(h2, k + 1, g1, m + 2);
    }

    private void Suspect(params ReadOnlySpan<int> halfEdges)
    {
        foreach (var h in halfEdges)
            _suspects.Push(h);
    }

    private void Legalize()
    {
        while (_suspects.TryPop(out var h))
        {
            var g = _opposite[h];
            if (g < 0 || _isFixed[h])
                continue;
            int a = _from[h], b = _from[Next(h)], c = _from[Previous(h)], d = _from[Previous(g)];
            if (ExactPredicates.InCircle(_x[a], _y[a], _x[b], _y[b], _x[c], _y[c], _x[d], _y[d]) <= 0)
                continue;
            Flip(h);
            Suspect(Next(h), Previous(h), Next(g), Previous(g));
        }
    }

    /// <summary>Replaces edge a–b of triangles a, b, c and b, a, d by c–d.</summary>
    private void Flip(int h0)
    {
        int h1 = Next(h0), h2 = Next(h1), g0 = _opposite[h0], g1 = Next(g0), g2 = Next(g1);
        int a = _from[h0], b = _from[g0], c = _from[h2], d = _from[g2];
        var (oh1, oh2, og1, og2) = (_opposite[h1], _opposite[h2], _opposite[g1], _opposite[g2]);
        var (fh1, fh2, fg1, fg2) = (_isFixed[h1], _isFixed[h2], _isFixed[g1], _isFixed[g2]);
        (_from[h0], _from[h1], _from[h2]) = (d, c, a);
        (_from[g0], _from[g1], _from[g2]) = (c, d, b);
        Link(h0, g0);
        Link(h1, oh2, fh2);
        Link(h2, og1, fg1);
        Link(g1, og2, fg2);
        Link(g2, oh1, fh1);
        (_at[a], _at[b], _at[c], _at[d]) = (h2, g2, h1, h0);
    }

    private void Fix(int h)
    {
        _isFixed[h] = true;
        if (_opposite[h] >= 0)
            _isFixed[_opposite[h]] = true;
    }

    /// <summary>Half-edges that leave a point, counter-clockwise; complete because points lie inside the large triangle.</summary>
    private IEnumerable<int> Around(int point)
    {
        var first = _at[point];
        var h = first;
        do
        {
            yield return h;
            h = _opposite[Previous(h)];
        }
        while (h >= 0 && h != first);
    }

    private int Find(int a, int b)
    {
        foreach (var h in Around(a))
            if (_from[Next(h)] == b)
                return h;
        return -1;
    }

    /// <summary>The edge opposite a that the segment leaves through, or -1; <paramref name="edge"/> when it is an edge already.</summary>
    private int FirstCrossed(int a, int b, out int edge)
    {
        edge = Find(a, b);
        if (edge >= 0)
            return -1;
        foreach (var h in Around(a))
        {
            var (left, right) = (Side(a, b, _from[Previous(h)]), Side(a, b, _from[Next(h)]));
            if (right < 0 && left > 0)
                return Next(h);
        }

        return -1;
    }

    private bool CollectCrossed(int a, int b, int h, Queue<(int From, int To)> crossed)
    {
        while (true)
        {
            if (_isFixed[h])
                return false;
            crossed.Enqueue((_from[h], _from[Next(h)]));
            var g = _opposite[h];
            var tip = _from[Previous(g)];
            if (tip == b)
                return true;
            var side = Side(a, b, tip);
            if (side == 0)
                return false;
            // g runs from the left end to the right end of the crossed edge.
            h = side > 0 ? Next(g) : Previous(g);
        }
    }

    private void Uncross(int a, int b, Queue<(int From, int To)> crossed)
    {
        var made = new List<(int From, int To)>();
        while (crossed.TryDequeue(out var edge))
        {
            var h = Find(edge.From, edge.To);
            int r = _from[Previous(h)], s = _from[Previous(_opposite[h])];
            if (Side(s, r, edge.From) * Side(s, r, edge.To) >= 0)
            {
                // Not convex yet: a flip of a neighbour makes it so.
                crossed.Enqueue(edge);
                continue;
            }

            Flip(h);
            if (r == a || r == b || s == a || s == b || Side(a, b, r) * Side(a, b, s) > 0)
                made.Add((s, r));
            else
                crossed.Enqueue((s, r));
        }

        foreach (var (from, to) in made)
            if (Find(from, to) is >= 0 and var h)
                Suspect(h);
    }
}
