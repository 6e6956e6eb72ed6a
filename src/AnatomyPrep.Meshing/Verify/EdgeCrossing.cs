using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Whether two touching triangles touch where the surface of one passes through the other's.</summary>
/// <remarks>
/// Two surfaces that meet along a piece of line pass through each other there when, going once around the line, their sheets
/// take turns. Three cases by what lies along the line: inside and inside (two triangles crossing, found before), edge and
/// inside, edge and edge; the latter two are decided here from the triangles at both sides of the edges, by signs of exact
/// predicates. In single points surfaces can only touch: what is left of one around the point lies wholly on one side.
/// An edge that has not exactly two triangles, rightly turned, has no two sides and passes through nothing; it is counted as a
/// fault of its own.
/// </remarks>
internal static class EdgeCrossing
{
    internal static bool PassesThrough(Mesh mesh, EdgeTable edges, int first, int second)
    {
        for (var c = 0; c < 3; c++)
        {
            if (EdgeThroughFace(mesh, edges, (3 * first) + c, second) || EdgeThroughFace(mesh, edges, (3 * second) + c, first))
                return true;
            for (var d = 0; d < 3; d++)
                if (EdgeThroughEdge(mesh, edges, (3 * first) + c, (3 * second) + d))
                    return true;
        }

        return false;
    }

    /// <summary>The edge runs through the inside of the face, within its plane, and its triangles lie on different sides of it.</summary>
    private static bool EdgeThroughFace(Mesh mesh, EdgeTable edges, int halfEdge, int face)
    {
        var opposite = edges.Opposite[halfEdge];
        if (opposite < 0)
            return false;
        var (a, b, c) = Corners(mesh, face);
        var plane = new ExactPlane(a, b, c);
        Vec3 from = Start(mesh, halfEdge), to = End(mesh, halfEdge);
        return plane.Side(from) == 0 && plane.Side(to) == 0
            && plane.Side(Apex(mesh, halfEdge)) * plane.Side(Apex(mesh, opposite)) < 0
            && RunsInside(from, to, a, b, c);
    }

    /// <summary>Whether an open piece of line and the inside of a triangle of its plane have points in common.</summary>
    private static bool RunsInside(in Vec3 from, in Vec3 to, in Vec3 a, in Vec3 b, in Vec3 c)
    {
        var axis = TriangleTriangle.PlaneAxis(a, b, c, out var turn);
        int sa = ExactPredicates.Orient2D(from, to, a, axis), sb = ExactPredicates.Orient2D(from, to, b, axis), sc = ExactPredicates.Orient2D(from, to, c, axis);
        return Math.Min(Math.Min(sa, sb), sc) < 0 && Math.Max(Math.Max(sa, sb), sc) > 0
            && Reaches(a, b, from, to, axis, turn) && Reaches(b, c, from, to, axis, turn) && Reaches(c, a, from, to, axis, turn);
    }

    private static bool Reaches(in Vec3 u, in Vec3 v, in Vec3 from, in Vec3 to, int axis, int turn) =>
        turn * ExactPredicates.Orient2D(u, v, from, axis) > 0 || turn * ExactPredicates.Orient2D(u, v, to, axis) > 0;

    /// <summary>Two edges lie along each other, and around them the sheets of both surfaces take turns.</summary>
    private static bool EdgeThroughEdge(Mesh mesh, EdgeTable edges, int first, int second)
    {
        int firstOpposite = edges.Opposite[first], secondOpposite = edges.Opposite[second];
        if (firstOpposite < 0 || secondOpposite < 0 || firstOpposite == second)
            return false;
        Vec3 u = Start(mesh, first), v = End(mesh, first);
        if (!LieAlong(u, v, Start(mesh, second), End(mesh, second)))
            return false;
        Vec3 a = Apex(mesh, first), b = Apex(mesh, firstOpposite), p = Apex(mesh, second), q = Apex(mesh, secondOpposite);
        if (OnLine(u, v, a) || OnLine(u, v, b) || OnLine(u, v, p) || OnLine(u, v, q))
            return false;
        return Sector(u, v, a, b, p) * Sector(u, v, a, b, q) < 0;
    }

    private static bool OnLine(in Vec3 u, in Vec3 v, in Vec3 x) => ExactPredicates.Collinear(u, v, x);

    /// <summary>Two pieces of line on one line with more than a point in common.</summary>
    private static bool LieAlong(in Vec3 u, in Vec3 v, in Vec3 p, in Vec3 q)
    {
        if (!ExactPredicates.Collinear(u, v, p) || !ExactPredicates.Collinear(u, v, q))
            return false;
        var axis = u.X != v.X ? 0 : u.Y != v.Y ? 1 : 2;
        return Math.Max(Math.Min(u[axis], v[axis]), Math.Min(p[axis], q[axis])) < Math.Min(Math.Max(u[axis], v[axis]), Math.Max(p[axis], q[axis]));
    }

    /// <summary>
    /// Going around the line u v from sheet a: +1 when sheet x comes before sheet b, −1 when after, 0 when x lies on a or b.
    /// </summary>
    private static int Sector(in Vec3 u, in Vec3 v, in Vec3 a, in Vec3 b, in Vec3 x)
    {
        int quarterB = Quarter(u, v, a, b), quarterX = Quarter(u, v, a, x);
        if (quarterB == 0 || quarterX == 0)
            return 0;
        return quarterX != quarterB ? Math.Sign(quarterB - quarterX) : quarterX == 2 ? 0 : ExactPredicates.Orient3D(u, v, x, b);
    }

    /// <summary>Where x lies going around from a: 0 on a, 1 in the first half turn, 2 straight across, 3 in the second half turn.</summary>
    private static int Quarter(in Vec3 u, in Vec3 v, in Vec3 a, in Vec3 x)
    {
        var turn = ExactPredicates.Orient3D(u, v, a, x);
        return turn > 0 ? 1 : turn < 0 ? 3 : SameSide(u, v, a, x) ? 0 : 2;
    }

    /// <summary>Of two points in one plane with the line, neither on it.</summary>
    private static bool SameSide(in Vec3 u, in Vec3 v, in Vec3 a, in Vec3 x)
    {
        var axis = TriangleTriangle.PlaneAxis(u, v, a, out var turn);
        return ExactPredicates.Orient2D(u, v, x, axis) == turn;
    }

    private static Vec3 Start(Mesh mesh, int halfEdge) => mesh.Local(mesh.Triangles[halfEdge]);

    private static Vec3 End(Mesh mesh, int halfEdge) => mesh.Local(mesh.Triangles[EdgeTable.Next(halfEdge)]);

    private static Vec3 Apex(Mesh mesh, int halfEdge) => mesh.Local(mesh.Triangles[EdgeTable.Previous(halfEdge)]);

    private static (Vec3 A, Vec3 B, Vec3 C) Corners(Mesh mesh, int triangle)
    {
        var (a, b, c) = mesh.Triangle(triangle);
        return (mesh.Local(a), mesh.Local(b), mesh.Local(c));
    }
}
