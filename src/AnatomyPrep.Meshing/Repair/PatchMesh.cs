using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>
/// The triangles that fill one hole, with who lies across each edge. Vertices 0 … rim-1 are the rim and never move or go;
/// later ones are new.
/// </summary>
/// <remarks>Half-edge h = 3t + c as in <see cref="Mesh"/>; a rim edge has no partner (-1).</remarks>
internal sealed class PatchMesh
{
    // Between a flat quad's two diagonals the cotangents sum to 0; rounding must not turn an edge back and forth.
    private const double FlipMargin = 1e-9;

    private readonly List<int> _corners = [];
    private readonly List<int> _opposite = [];
    private readonly Func<int, int, bool> _isForbidden;

    /// <param name="isForbidden">Rim pairs i &lt; k that the surface already joins elsewhere.</param>
    public PatchMesh(Vec3[] rim, List<(int A, int B, int C)> triangles, Func<int, int, bool> isForbidden)
    {
        RimCount = rim.Length;
        Points = [.. rim];
        _isForbidden = isForbidden;
        foreach (var (a, b, c) in triangles)
            _corners.AddRange([a, b, c]);
        _opposite.AddRange(EdgeTable.Build(_corners.ToArray(), rim.Length).OppositeArray.Select(o => Math.Max(o, -1)));
    }

    public int RimCount { get; }

    public List<Vec3> Points { get; }

    public int TriangleCount => _corners.Count / 3;

    public (int A, int B, int C) Triangle(int t) => (_corners[3 * t], _corners[(3 * t) + 1], _corners[(3 * t) + 2]);

    public int Corner(int h) => _corners[h];

    public int Opposite(int h) => _opposite[h];

    public double AreaMm2()
    {
        double sum = 0;
        for (var t = 0; t < TriangleCount; t++)
            sum += Cross(t).Length / 2;
        return sum;
    }

    /// <summary>Puts a vertex into the middle of a triangle.</summary>
    public int Split(int t)
    {
        var (a, b, c) = Triangle(t);
        int ab = _opposite[3 * t], bc = _opposite[(3 * t) + 1], ca = _opposite[(3 * t) + 2];
        var v = Points.Count;
        Points.Add((Points[a] + Points[b] + Points[c]) / 3);
        var u = TriangleCount;
        _corners.AddRange([b, c, v, c, a, v]);
        _opposite.AddRange([-1, -1, -1, -1, -1, -1]);
        _corners[(3 * t) + 2] = v;
        Join(3 * t, ab);
        Join(3 * u, bc);
        Join(3 * (u + 1), ca);
        Join((3 * t) + 1, (3 * u) + 2);
        Join((3 * u) + 1, (3 * (u + 1)) + 2);
        Join((3 * (u + 1)) + 1, (3 * t) + 2);
        return v;
    }

    /// <summary>
    /// Turns edges until each is the better diagonal (opposite angles sum to at most 180 degrees), or the count of turns
    /// reaches 20 a triangle, which a curved quad could otherwise exceed for ever.
    /// </summary>
    /// <param name="smallestDot">Edges whose two normals have a smaller dot product are kept.</param>
    public void Relax(IEnumerable<int> halfEdges, double smallestDot)
    {
        var open = new Queue<int>(halfEdges);
        var turnsLeft = 20L * TriangleCount;
        while (turnsLeft > 0 && open.TryDequeue(out var h))
        {
            var o = _opposite[h];
            if (o < 0 || !ShouldTurn(h, o, smallestDot))
                continue;
            turnsLeft--;
            Turn(h, o);
            foreach (var t in (int[])[h / 3, o / 3])
                for (var g = 3 * t; g < (3 * t) + 3; g++)
                    if (_opposite[g] >= 0)
                        open.Enqueue(g);
        }
    }

    public IEnumerable<int> AllHalfEdges() => Enumerable.Range(0, _corners.Count);

    private bool ShouldTurn(int h, int o, double smallestDot)
    {
        int a = _corners[h], b = _corners[o], c = _corners[EdgeTable.Previous(h)], d = _corners[EdgeTable.Previous(o)];
        if (c == d || CotangentAt(c, a, b) + CotangentAt(d, b, a) >= -FlipMargin)
            return false;
        Vec3 n = Cross(h / 3), m = Cross(o / 3);
        // A triangle without area bends nowhere.
        if (n != Vec3.Zero && m != Vec3.Zero && Vec3.Dot(n.Normalized(), m.Normalized()) < smallestDot)
            return false;
        // The new pair must face where the old pair faced.
        Vec3 pa = Points[a], pb = Points[b], pc = Points[c], pd = Points[d];
        var face = n + m;
        if (Vec3.Dot(face, Vec3.Cross(pd - pa, pc - pa)) <= 0 || Vec3.Dot(face, Vec3.Cross(pc - pb, pd - pb)) <= 0)
            return false;
        return !AreJoined(c, d, EdgeTable.Previous(h));
    }

    private bool AreJoined(int c, int d, int cornerAtC)
    {
        if (c < RimCount && d < RimCount)
        {
            var (low, high) = (Math.Min(c, d), Math.Max(c, d));
            if (high - low == 1 || high - low == RimCount - 1 || _isForbidden(low, high))
                return true;
        }

        return Reaches(cornerAtC, d, forward: true) || Reaches(cornerAtC, d, forward: false);
    }

    // Walks around the vertex at the corner, up to the rim or once round.
    private bool Reaches(int corner, int d, bool forward)
    {
        var at = corner;
        do
        {
            if (_corners[EdgeTable.Next(at)] == d || _corners[EdgeTable.Previous(at)] == d)
                return true;
            var across = _opposite[forward ? EdgeTable.Previous(at) : at];
            if (across < 0)
                return false;
            at = forward ? across : EdgeTable.Next(across);
        }
        while (at != corner);
        return false;
    }

    private void Turn(int h, int o)
    {
        int hn = EdgeTable.Next(h), on = EdgeTable.Next(o);
        int c = _corners[EdgeTable.Previous(h)], d = _corners[EdgeTable.Previous(o)];
        int bc = _opposite[hn], ad = _opposite[on];
        // Triangle of h: a b c becomes a d c; triangle of o: b a d becomes b c d. Corner a stays at h, b at o.
        _corners[hn] = d;
        _corners[on] = c;
        Join(h, ad);
        Join(o, bc);
        Join(hn, on);
    }

    private void Join(int h, int o)
    {
        _opposite[h] = o;
        if (o >= 0)
            _opposite[o] = h;
    }

    private double CotangentAt(int apex, int u, int v)
    {
        Vec3 p = Points[u] - Points[apex], q = Points[v] - Points[apex];
        var sine = Vec3.Cross(p, q).Length;
        return sine > 0 ? Vec3.Dot(p, q) / sine : double.NegativeInfinity;
    }

    private Vec3 Cross(int t)
    {
        var (a, b, c) = Triangle(t);
        var p = Points[a];
        return Vec3.Cross(Points[b] - p, Points[c] - p);
    }
}
