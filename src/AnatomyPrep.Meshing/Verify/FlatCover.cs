using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Whether a surface, seen along a triangle's normal, covers that triangle at small heights. Not thread-safe.</summary>
/// <remarks>
/// From a triangle of the surface the cover grows over edges to every neighbour whose projection meets σ, the triangle. Its
/// border projects to the outside of σ, so the number of sheets over a point of σ, counted by their sides, is the same for all of
/// σ (the degree of the projection). If it is not nought at one point, every point of σ has a point of the surface straight above or
/// below, and what of the cover lies over σ, found by clipping, tells how far at most.
/// Gives up, which says nothing, where more than <see cref="Most"/> triangles meet σ, at edges without exactly two triangles, and
/// where a height exceeds the limit.
/// </remarks>
internal sealed class FlatCover(Mesh mesh, EdgeTable edges, double limitMm)
{
    private const int Most = 96;

    // Projections nearer to each other than this share of the size count as meeting: too large a cover is no harm.
    private const double Contact = 1e-9;

    private readonly int[] _cover = new int[Most];
    private readonly Vec3[] _corners = new Vec3[3 * Most];
    private readonly Vec3[] _clip = new Vec3[8];
    private readonly Vec3[] _clipped = new Vec3[8];

    private Vec3 _origin, _right, _up, _normal;
    private double _bx, _cx, _cy, _contact;
    private int _count;

    /// <param name="start">A triangle of the surface near the middle of a, b, c.</param>
    internal bool Covers(in Vec3 a, in Vec3 b, in Vec3 c, int start)
    {
        if (!SetFrame(a, b, c))
            return false;
        _count = 0;
        if (!TryAdd(start))
            return false;
        for (var i = 0; i < _count; i++)
            for (var h = 3 * _cover[i]; h < (3 * _cover[i]) + 3; h++)
            {
                var opposite = edges.Opposite[h];
                if (opposite < 0)
                {
                    if (Meets(_corners[(3 * i) + (h % 3)], _corners[(3 * i) + ((h + 1) % 3)], _corners[(3 * i) + (h % 3)]))
                        return false;
                }
                else if (!_cover.AsSpan(0, _count).Contains(opposite / 3) && !TryAdd(opposite / 3))
                {
                    return false;
                }
            }

        return Degree(0.4, 0.35) != 0 && HeightsHold();
    }

    /// <summary>The triangle's plane: a at the origin, b on the x axis.</summary>
    private bool SetFrame(in Vec3 a, in Vec3 b, in Vec3 c)
    {
        var normal = Vec3.Cross(b - a, c - a);
        var longest = Math.Max((b - a).LengthSquared, (c - a).LengthSquared);
        if (!(normal.LengthSquared > 1e-16 * longest * longest))
            return false;
        _origin = a;
        _normal = normal.Normalized();
        _right = (b - a).Normalized();
        _up = Vec3.Cross(_normal, _right);
        _bx = (b - a).Length;
        (_cx, _cy) = (Vec3.Dot(c - a, _right), Vec3.Dot(c - a, _up));
        _contact = Contact * Math.Sqrt(longest);
        return true;
    }

    /// <summary>Adds a triangle that meets σ; false where there is no more room.</summary>
    private bool TryAdd(int triangle)
    {
        var (i, j, k) = mesh.Triangle(triangle);
        Vec3 p = Project(mesh.Local(i)), q = Project(mesh.Local(j)), r = Project(mesh.Local(k));
        if (!Meets(p, q, r))
            return true;
        if (_count == Most)
            return false;
        _cover[_count] = triangle;
        (_corners[3 * _count], _corners[(3 * _count) + 1], _corners[(3 * _count) + 2]) = (p, q, r);
        _count++;
        return true;
    }

    private Vec3 Project(in Vec3 p)
    {
        var d = p - _origin;
        return new(Vec3.Dot(d, _right), Vec3.Dot(d, _up), Vec3.Dot(d, _normal));
    }

    /// <summary>Whether no line through a side of either triangle parts their projections.</summary>
    private bool Meets(in Vec3 p, in Vec3 q, in Vec3 r)
    {
        Vec3 a = Vec3.Zero, b = new(_bx, 0, 0), c = new(_cx, _cy, 0);
        return !(Parts(a, b, p, q, r) || Parts(b, c, p, q, r) || Parts(c, a, p, q, r)
            || PartsEither(p, q, r, a, b, c) || PartsEither(q, r, p, a, b, c) || PartsEither(r, p, q, a, b, c));
    }

    /// <summary>All of p, q, r lie to the right of the line from u to v, which has σ on its left.</summary>
    private bool Parts(in Vec3 u, in Vec3 v, in Vec3 p, in Vec3 q, in Vec3 r)
    {
        var reach = Margin(u, v);
        return Side(u, v, p) < -reach && Side(u, v, q) < -reach && Side(u, v, r) < -reach;
    }

    /// <summary>σ lies on the side of the line through u and v that w does not lie on.</summary>
    private bool PartsEither(in Vec3 u, in Vec3 v, in Vec3 w, in Vec3 a, in Vec3 b, in Vec3 c)
    {
        var reach = Margin(u, v);
        double own = Side(u, v, w), sa = Side(u, v, a), sb = Side(u, v, b), sc = Side(u, v, c);
        return (own <= reach && sa > reach && sb > reach && sc > reach) || (own >= -reach && sa < -reach && sb < -reach && sc < -reach);
    }

    private double Margin(in Vec3 u, in Vec3 v) => _contact * (Math.Abs(v.X - u.X) + Math.Abs(v.Y - u.Y));

    private static double Side(in Vec3 u, in Vec3 v, in Vec3 p) => ((v.X - u.X) * (p.Y - u.Y)) - ((v.Y - u.Y) * (p.X - u.X));

    /// <summary>Sheets over one point of σ, those that face it counted against the others; 0 too where the point is too near to an edge.</summary>
    private int Degree(double ofB, double ofC)
    {
        Vec3 point = new((ofB * _bx) + (ofC * _cx), ofC * _cy, 0);
        var degree = 0;
        for (var i = 0; i < 3 * _count; i += 3)
        {
            double s = Side(_corners[i], _corners[i + 1], point), t = Side(_corners[i + 1], _corners[i + 2], point), u = Side(_corners[i + 2], _corners[i], point);
            var margin = _contact * _bx;
            if (s > margin && t > margin && u > margin)
                degree++;
            else if (s < -margin && t < -margin && u < -margin)
                degree--;
            else if (!(Math.Min(s, Math.Min(t, u)) < -margin && Math.Max(s, Math.Max(t, u)) > margin))
                return ofB == 0.4 ? Degree(0.31, 0.33) : 0;
        }

        return degree;
    }

    private bool HeightsHold()
    {
        for (var i = 0; i < 3 * _count; i += 3)
        {
            if (Low(_corners[i]) && Low(_corners[i + 1]) && Low(_corners[i + 2]))
                continue;
            (_clip[0], _clip[1], _clip[2]) = (_corners[i], _corners[i + 1], _corners[i + 2]);
            var left = Clip(3, _clip, _clipped, 0, 1, 0);
            left = Clip(left, _clipped, _clip, -_cy, _cx - _bx, _cy * _bx);
            left = Clip(left, _clip, _clipped, _cy, -_cx, 0);
            foreach (ref readonly var p in _clipped.AsSpan(0, left))
                if (!Low(p))
                    return false;
        }

        return true;
    }

    private bool Low(in Vec3 p) => Math.Abs(p.Z) <= limitMm;

    /// <summary>Keeps what of a polygon lies where x·nx + y·ny + d is not negative (Sutherland and Hodgman, CACM 17(1), 1974).</summary>
    private static int Clip(int count, Vec3[] from, Vec3[] to, double nx, double ny, double d)
    {
        var kept = 0;
        for (var i = 0; i < count; i++)
        {
            Vec3 p = from[i], q = from[i + 1 == count ? 0 : i + 1];
            double atP = (p.X * nx) + (p.Y * ny) + d, atQ = (q.X * nx) + (q.Y * ny) + d;
            if (atP >= 0)
                to[kept++] = p;
            if (atP >= 0 != atQ >= 0)
                to[kept++] = p + ((q - p) * (atP / (atP - atQ)));
        }

        return kept;
    }
}
