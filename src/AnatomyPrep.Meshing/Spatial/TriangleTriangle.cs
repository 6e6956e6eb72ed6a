using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Spatial;

/// <summary>Whether and how two triangles meet, exactly.</summary>
/// <remarks>
/// Method: O. Devillers and P. Guigue, "Faster Triangle-Triangle Intersection Tests", INRIA RR-4488 (2002): the order of four
///   points on the common line of both planes comes from orientation predicates alone, nothing is constructed. Differs:
///   strict and weak comparisons are kept apart, which tells crossing from touching, and corners or edges shared by index are
///   taken out of the contact. Coplanar triangles by separating edges in the projection that drops an axis.
/// Guarantee: the answer of exact arithmetic on the given coordinates, whatever their position; symmetric in the triangles, and
///   the same for every rotation and orientation of either.
/// A triangle whose corners lie on one line has no inside and no plane; the answer for it is <see cref="Contact.None"/>. Count
///   such triangles apart (<see cref="ExactPredicates.Collinear"/>).
/// Cost: 15 to 60 ns when the predicates' filter decides.
/// </remarks>
public static class TriangleTriangle
{
    /// <summary>Two triangles that share no corner by index. Equal coordinates are contact.</summary>
    public static Contact Classify(in Vec3 a0, in Vec3 a1, in Vec3 a2, in Vec3 b0, in Vec3 b1, in Vec3 b2) =>
        Separate(a0, a1, a2, b0, b1, b2, sharedCorner: false);

    /// <summary>Two triangles a0 a1 a2 and a0 b1 b2 of one surface that share the corner a0 by index.</summary>
    public static Contact ClassifySharingCorner(in Vec3 a0, in Vec3 a1, in Vec3 a2, in Vec3 b1, in Vec3 b2) =>
        Separate(a0, a1, a2, a0, b1, b2, sharedCorner: true);

    /// <summary>Two triangles u v a and u v b of one surface that share the edge u v by index: they overlap or do not meet further.</summary>
    public static Contact ClassifySharingEdge(in Vec3 u, in Vec3 v, in Vec3 a, in Vec3 b)
    {
        if (ExactPredicates.Orient3D(u, v, a, b) != 0)
            return Contact.None;
        for (var axis = 2; axis >= 0; axis--)
        {
            var sideA = ExactPredicates.Orient2D(u, v, a, axis);
            if (sideA != 0)
                return ExactPredicates.Orient2D(u, v, b, axis) == sideA ? Contact.Overlap : Contact.None;
        }

        return Contact.None;
    }

    /// <summary>Two triangles of one mesh, with what they share by index taken into account.</summary>
    public static Contact Classify(Mesh mesh, int first, int second)
    {
        var f = mesh.Triangles.Slice(3 * first, 3);
        var s = mesh.Triangles.Slice(3 * second, 3);
        if (Repeats(f) || Repeats(s))
            return Contact.None;

        // Places of the shared corners, added up: with one it is the place, with two it leaves 3 minus the place of the third.
        int shared = 0, placeF = 0, placeS = 0;
        for (var i = 0; i < 3; i++)
        {
            var j = f[i] == s[0] ? 0 : f[i] == s[1] ? 1 : f[i] == s[2] ? 2 : -1;
            if (j < 0)
                continue;
            shared++;
            placeF += i;
            placeS += j;
        }

        if (shared == 0)
            return Classify(mesh.Local(f[0]), mesh.Local(f[1]), mesh.Local(f[2]), mesh.Local(s[0]), mesh.Local(s[1]), mesh.Local(s[2]));
        if (shared == 3)
            return ExactPredicates.Collinear(mesh.Local(f[0]), mesh.Local(f[1]), mesh.Local(f[2])) ? Contact.None : Contact.Overlap;
        if (shared == 2)
            (placeF, placeS) = (3 - placeF, 3 - placeS);
        Vec3 f0 = mesh.Local(f[placeF]), f1 = mesh.Local(f[(placeF + 1) % 3]), f2 = mesh.Local(f[(placeF + 2) % 3]);
        return shared == 1
            ? ClassifySharingCorner(f0, f1, f2, mesh.Local(s[(placeS + 1) % 3]), mesh.Local(s[(placeS + 2) % 3]))
            : ClassifySharingEdge(f1, f2, f0, mesh.Local(s[placeS]));
    }

    /// <summary>Whether a point lies on a triangle, border included; never on one without area.</summary>
    public static bool Contains(in Vec3 a, in Vec3 b, in Vec3 c, in Vec3 p)
    {
        if (ExactPredicates.Orient3D(a, b, c, p) != 0)
            return false;
        var axis = PlaneAxis(a, b, c, out var turn);
        return turn != 0 && Covers(p, a, b, c, axis, turn);
    }

    private static bool Repeats(ReadOnlySpan<int> corners) =>
        corners[0] == corners[1] || corners[1] == corners[2] || corners[2] == corners[0];

    private static Contact Separate(in Vec3 a0, in Vec3 a1, in Vec3 a2, in Vec3 b0, in Vec3 b1, in Vec3 b2, bool sharedCorner)
    {
        var planeB = new ExactPlane(b0, b1, b2);
        var s0 = sharedCorner ? 0 : planeB.Side(a0);
        var s1 = planeB.Side(a1);
        var s2 = planeB.Side(a2);
        var sideA = Sides(s0, s1, s2);
        if (sideA == Side.OffPlane || (sharedCorner && s1 * s2 > 0))
            return Contact.None;
        var planeA = new ExactPlane(a0, a1, a2);
        var t0 = sharedCorner ? 0 : planeA.Side(b0);
        var t1 = planeA.Side(b1);
        var t2 = planeA.Side(b2);
        var sideB = Sides(t0, t1, t2);
        if (sideB == Side.OffPlane || (sharedCorner && t1 * t2 > 0))
            return Contact.None;

        if (sideA == Side.InPlane && sideB == Side.InPlane)
            return Coplanar(a0, a1, a2, b0, b1, b2, sharedCorner);

        // Only one plane vanishes: that triangle lies on a line.
        if (sideA == Side.InPlane || sideB == Side.InPlane)
            return Contact.None;
        if (sideA == Side.Reaching)
            return Reaching(a0, a1, a2, s0, s1, s2, b0, b1, b2, sharedCorner);
        if (sideB == Side.Reaching)
            return Reaching(b0, b1, b2, t0, t1, t2, a0, a1, a2, sharedCorner);
        return Spanning(a0, a1, a2, s0, s1, s2, b0, b1, b2, t0, t1, t2, sharedCorner);
    }

    private static Side Sides(int s0, int s1, int s2)
    {
        var low = Math.Min(Math.Min(s0, s1), s2);
        var high = Math.Max(Math.Max(s0, s1), s2);
        if (low > 0 || high < 0)
            return Side.OffPlane;
        if (low == 0 && high == 0)
            return Side.InPlane;
        return low < 0 && high > 0 ? Side.Through : Side.Reaching;
    }

    /// <summary>Each triangle has corners strictly on both sides of the other's plane: compare the two pieces of the common line.</summary>
    private static Contact Spanning(
        Vec3 a0, Vec3 a1, Vec3 a2, int s0, int s1, int s2, Vec3 b0, Vec3 b1, Vec3 b2, int t0, int t1, int t2, bool sharedCorner)
    {
        // Turn each so that its first corner is alone on its side, then orient each so that the other's first corner is above it.
        var upA = Alone(ref a0, ref a1, ref a2, s0, s1, s2);
        var upB = Alone(ref b0, ref b1, ref b2, t0, t1, t2);
        if (upA < 0)
            (b1, b2) = (b2, b1);
        if (upB < 0)
            (a1, a2) = (a2, a1);

        // The line now meets a0a2 before a0a1, and b0b1 before b0b2.
        var first = ExactPredicates.Orient3D(a0, a1, b0, b1);
        if (first > 0)
            return Contact.None;
        var second = ExactPredicates.Orient3D(a0, a2, b0, b2);
        if (second < 0)
            return Contact.None;
        if (first < 0 && second > 0)
            return Contact.Crossing;
        return sharedCorner ? Contact.None : Contact.Touching;
    }

    /// <summary>Moves the corner that is strictly alone on its side to the front, keeping the cycle; returns its side.</summary>
    private static int Alone(ref Vec3 p, ref Vec3 q, ref Vec3 r, int sp, int sq, int sr)
    {
        var up = (sp > 0 ? 1 : 0) + (sq > 0 ? 1 : 0) + (sr > 0 ? 1 : 0);
        var side = up == 1 ? 1 : -1;
        if (sq == side)
            (p, q, r) = (q, r, p);
        else if (sr == side)
            (p, q, r) = (r, p, q);
        return side;
    }

    /// <summary>p q r reaches the plane of b from one side with one corner or one edge; contact is where that lies within b.</summary>
    private static Contact Reaching(Vec3 p, Vec3 q, Vec3 r, int sp, int sq, int sr, Vec3 b0, Vec3 b1, Vec3 b2, bool sharedCorner)
    {
        var axis = PlaneAxis(b0, b1, b2, out var turn);
        if (sharedCorner)
        {
            // p is the shared corner and in the plane; with one more, the edge from p must not run within b.
            if (sq != 0 && sr != 0)
                return Contact.None;
            var w = sq == 0 ? q : r;
            return turn * ExactPredicates.Orient2D(b0, b1, w, axis) >= 0 && turn * ExactPredicates.Orient2D(b0, w, b2, axis) >= 0
                ? Contact.Touching
                : Contact.None;
        }

        var zeros = (sp == 0 ? 1 : 0) + (sq == 0 ? 1 : 0) + (sr == 0 ? 1 : 0);
        var inPlane = sp == 0 ? p : sq == 0 ? q : r;
        if (zeros == 1)
            return Covers(inPlane, b0, b1, b2, axis, turn) ? Contact.Touching : Contact.None;
        var other = sr == 0 ? r : q;
        return Meets(inPlane, other, b0, b1, b2, axis, turn) ? Contact.Touching : Contact.None;
    }

    private static bool Covers(in Vec3 p, in Vec3 b0, in Vec3 b1, in Vec3 b2, int axis, int turn) =>
        turn * ExactPredicates.Orient2D(b0, b1, p, axis) >= 0 &&
        turn * ExactPredicates.Orient2D(b1, b2, p, axis) >= 0 &&
        turn * ExactPredicates.Orient2D(b2, b0, p, axis) >= 0;

    /// <summary>
    /// Whether a piece of line meets a triangle of its plane: no edge of the triangle and not the line itself separates them.
    /// (The difference set of both is a polygon whose sides are parallel to just these.)
    /// </summary>
    private static bool Meets(in Vec3 p, in Vec3 q, in Vec3 b0, in Vec3 b1, in Vec3 b2, int axis, int turn)
    {
        if (Outside(b0, b1, p, q, axis, turn) || Outside(b1, b2, p, q, axis, turn) || Outside(b2, b0, p, q, axis, turn))
            return false;
        var o0 = ExactPredicates.Orient2D(p, q, b0, axis);
        var o1 = ExactPredicates.Orient2D(p, q, b1, axis);
        var o2 = ExactPredicates.Orient2D(p, q, b2, axis);
        return Sides(o0, o1, o2) != Side.OffPlane;
    }

    private static bool Outside(in Vec3 from, in Vec3 to, in Vec3 p, in Vec3 q, int axis, int turn) =>
        turn * ExactPredicates.Orient2D(from, to, p, axis) < 0 && turn * ExactPredicates.Orient2D(from, to, q, axis) < 0;

    private static Contact Coplanar(in Vec3 a0, in Vec3 a1, in Vec3 a2, in Vec3 b0, in Vec3 b1, in Vec3 b2, bool sharedCorner)
    {
        var axis = PlaneAxis(a0, a1, a2, out var turnA);
        if (turnA == 0)
            return Contact.None;
        var turnB = ExactPredicates.Orient2D(b0, b1, b2, axis);
        if (turnB == 0)
            return Contact.None;

        var nearest = 1;
        nearest = Math.Min(nearest, Furthest(a0, a1, b0, b1, b2, axis, turnA));
        nearest = Math.Min(nearest, Furthest(a1, a2, b0, b1, b2, axis, turnA));
        nearest = Math.Min(nearest, Furthest(a2, a0, b0, b1, b2, axis, turnA));
        nearest = Math.Min(nearest, Furthest(b0, b1, a0, a1, a2, axis, turnB));
        nearest = Math.Min(nearest, Furthest(b1, b2, a0, a1, a2, axis, turnB));
        nearest = Math.Min(nearest, Furthest(b2, b0, a0, a1, a2, axis, turnB));
        if (nearest > 0)
            return Contact.Overlap;
        if (!sharedCorner)
            return nearest < 0 ? Contact.None : Contact.Touching;

        // Two wedges at a0 without common inside: they meet further only along edges that leave a0 in one direction.
        return Along(a0, a1, b1, axis) || Along(a0, a1, b2, axis) || Along(a0, a2, b1, axis) || Along(a0, a2, b2, axis)
            ? Contact.Touching
            : Contact.None;
    }

    /// <summary>Largest side of p, q, r against one edge, inside being +1: negative when the edge keeps them away.</summary>
    private static int Furthest(in Vec3 from, in Vec3 to, in Vec3 p, in Vec3 q, in Vec3 r, int axis, int turn)
    {
        var side = turn * ExactPredicates.Orient2D(from, to, p, axis);
        if (side < 1)
            side = Math.Max(side, turn * ExactPredicates.Orient2D(from, to, q, axis));
        if (side < 1)
            side = Math.Max(side, turn * ExactPredicates.Orient2D(from, to, r, axis));
        return side;
    }

    /// <summary>Whether p and q lie in the same direction from o. Comparisons of coordinates are exact.</summary>
    private static bool Along(in Vec3 o, in Vec3 p, in Vec3 q, int axis)
    {
        if (ExactPredicates.Orient2D(o, p, q, axis) != 0)
            return false;
        int i = (axis + 1) % 3, j = (axis + 2) % 3;
        var k = p[i] != o[i] ? i : j;
        return p[k] > o[k] == q[k] > o[k] && q[k] != o[k];
    }

    /// <summary>An axis along which the triangle keeps an area when projected, preferring the largest; turn 0 when there is none.</summary>
    internal static int PlaneAxis(in Vec3 p, in Vec3 q, in Vec3 r, out int turn)
    {
        var n = Vec3.Cross(q - p, r - p);
        double x = Math.Abs(n.X), y = Math.Abs(n.Y), z = Math.Abs(n.Z);
        var axis = x >= y && x >= z ? 0 : y >= z ? 1 : 2;
        turn = ExactPredicates.Orient2D(p, q, r, axis);
        for (var tries = 0; turn == 0 && tries < 2; tries++)
        {
            axis = (axis + 1) % 3;
            turn = ExactPredicates.Orient2D(p, q, r, axis);
        }

        return axis;
    }

    /// <summary>Where three corners lie against a plane.</summary>
    private enum Side
    {
        /// <summary>All strictly on one side.</summary>
        OffPlane,

        /// <summary>On one side, some in the plane.</summary>
        Reaching,

        /// <summary>Strictly on both sides.</summary>
        Through,

        /// <summary>All in the plane.</summary>
        InPlane,
    }
}
