using System.Numerics;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Cuts one nearly flat polygon of four or more corners into triangles that keep its corners and its side.</summary>
/// <remarks>
/// Method: the polygon is seen along its Newell normal (I. Sutherland, R. Sproull, R. Schumacker, "A Characterization of Ten
///   Hidden-Surface Algorithms", Computing Surveys 1974). A quadrilateral is cut along the shorter of the diagonals that
///   turn no triangle over; a strictly convex polygon becomes a fan; any other loses one ear after the other (G. Meisters,
///   "Polygons have ears", American Mathematical Monthly 1975).
/// Gives: n - 2 triangles, every edge of the polygon in exactly one of them. Where no ear is left (the polygon crosses
///   itself, or is far from flat) the rest becomes a fan, and the caller is told.
/// Cost: O(n), and O(n²) for one that is not convex, which is why such a one may have <see cref="MostCorners"/> at most.
/// </remarks>
internal sealed class PolygonTriangulation(Func<int, Vec3> position)
{
    internal const int MostCorners = 4096;

    private Vector2D[] _flat = new Vector2D[16];
    private int[] _next = new int[16];
    private int[] _previous = new int[16];

    /// <summary>Appends the triangles of the polygon; false when some of them may overlap.</summary>
    internal bool Cut(ByteSource source, int face, ReadOnlySpan<int> polygon, List<int> triangles)
    {
        var normal = NewellNormal(polygon);
        if (polygon.Length == 4)
            return CutQuadrilateral(polygon, normal, triangles);
        Flatten(polygon, normal);
        if (IsStrictlyConvex(polygon.Length))
        {
            for (var i = 2; i < polygon.Length; i++)
                Append(polygon, 0, i - 1, i, triangles);
            return true;
        }

        if (polygon.Length > MostCorners)
            throw source.Bad(
                FormattableString.Invariant($"face {face}"),
                FormattableString.Invariant($"{polygon.Length} corners that are not convex, at most {MostCorners} can be cut"),
                "Export the file again with triangles only.");
        return CutEars(polygon, triangles);
    }

    private static void Append(ReadOnlySpan<int> polygon, int a, int b, int c, List<int> triangles)
    {
        triangles.Add(polygon[a]);
        triangles.Add(polygon[b]);
        triangles.Add(polygon[c]);
    }

    private Vec3 NewellNormal(ReadOnlySpan<int> polygon)
    {
        // About the first corner, so that a small polygon far from zero loses no digits.
        var origin = position(polygon[0]);
        var sum = Vec3.Zero;
        var from = position(polygon[^1]) - origin;
        foreach (var v in polygon)
        {
            var to = position(v) - origin;
            sum += Vec3.Cross(from, to);
            from = to;
        }

        return sum;
    }

    private bool CutQuadrilateral(ReadOnlySpan<int> q, Vec3 normal, List<int> triangles)
    {
        Vec3 a = position(q[0]), b = position(q[1]), c = position(q[2]), d = position(q[3]);
        bool Faces(Vec3 p, Vec3 r, Vec3 s) => Vec3.Dot(Vec3.Cross(r - p, s - p), normal) > 0;
        var first = Faces(a, b, c) && Faces(a, c, d);
        var second = Faces(b, c, d) && Faces(b, d, a);
        if (second && (!first || (d - b).LengthSquared < (c - a).LengthSquared))
        {
            Append(q, 1, 2, 3, triangles);
            Append(q, 1, 3, 0, triangles);
        }
        else
        {
            Append(q, 0, 1, 2, triangles);
            Append(q, 0, 2, 3, triangles);
        }

        return first || second;
    }

    // Drops the axis along which the normal is longest, keeping the polygon counter-clockwise.
    private void Flatten(ReadOnlySpan<int> polygon, Vec3 normal)
    {
        if (_flat.Length < polygon.Length)
        {
            var room = (int)BitOperations.RoundUpToPowerOf2((uint)polygon.Length);
            _flat = new Vector2D[room];
            _next = new int[room];
            _previous = new int[room];
        }

        double x = Math.Abs(normal.X), y = Math.Abs(normal.Y), z = Math.Abs(normal.Z);
        var axis = x >= y && x >= z ? 0 : y >= z ? 1 : 2;
        var (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        if (normal[axis] < 0)
            (u, v) = (v, u);
        var origin = position(polygon[0]);
        for (var i = 0; i < polygon.Length; i++)
        {
            var p = position(polygon[i]) - origin;
            _flat[i] = new(p[u], p[v]);
        }
    }

    // Every turn to the left, and once around only: the direction changes between up and down exactly twice.
    private bool IsStrictlyConvex(int count)
    {
        var turns = 0;
        var wasUp = IsUp(_flat[count - 1], _flat[0]);
        for (var i = 0; i < count; i++)
        {
            var (a, b, c) = (_flat[i], _flat[(i + 1) % count], _flat[(i + 2) % count]);
            if (!(Vector2D.Cross(a, b, c) > 0))
                return false;
            var up = IsUp(a, b);
            turns += up != wasUp ? 1 : 0;
            wasUp = up;
        }

        return turns == 2;
    }

    private static bool IsUp(Vector2D from, Vector2D to) => to.Y > from.Y || (to.Y == from.Y && to.X > from.X);

    private bool CutEars(ReadOnlySpan<int> polygon, List<int> triangles)
    {
        var left = polygon.Length;
        for (var i = 0; i < left; i++)
        {
            _next[i] = i + 1 == left ? 0 : i + 1;
            _previous[i] = i == 0 ? left - 1 : i - 1;
        }

        // Ears with area first; where none is left, corners on a straight line may go, as triangles without area.
        var at = 0;
        for (var strict = true; left > 3;)
        {
            var ear = FindEar(at, left, strict);
            if (ear >= 0)
            {
                Append(polygon, _previous[ear], ear, _next[ear], triangles);
                _next[_previous[ear]] = _next[ear];
                _previous[_next[ear]] = _previous[ear];
                at = _next[ear];
                left--;
                strict = true;
            }
            else if (strict)
                strict = false;
            else
                break;
        }

        // The last triangle, or a fan over what has no ear.
        var whole = left == 3 && Vector2D.Cross(_flat[_previous[at]], _flat[at], _flat[_next[at]]) >= 0;
        for (var b = _next[at]; _next[b] != at; b = _next[b])
            Append(polygon, at, b, _next[b], triangles);
        return whole;
    }

    private int FindEar(int start, int left, bool strict)
    {
        var at = start;
        for (var tried = 0; tried < left; tried++, at = _next[at])
        {
            var turn = Vector2D.Cross(_flat[_previous[at]], _flat[at], _flat[_next[at]]);
            if ((strict ? turn > 0 : turn == 0) && IsEmpty(at))
                return at;
        }

        return -1;
    }

    // No other corner in the ear or on its edges; corners at the place of one of its own do not count.
    private bool IsEmpty(int ear)
    {
        var (a, b, c) = (_flat[_previous[ear]], _flat[ear], _flat[_next[ear]]);
        for (var i = _next[_next[ear]]; i != _previous[ear]; i = _next[i])
        {
            var p = _flat[i];
            if (p != a && p != b && p != c && Vector2D.Cross(a, b, p) >= 0 && Vector2D.Cross(b, c, p) >= 0 && Vector2D.Cross(c, a, p) >= 0)
                return false;
        }

        return true;
    }

    private readonly record struct Vector2D(double X, double Y)
    {
        internal static double Cross(Vector2D a, Vector2D b, Vector2D c) => ((b.X - a.X) * (c.Y - a.Y)) - ((b.Y - a.Y) * (c.X - a.X));
    }
}
