using System.Runtime.CompilerServices;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Spatial;

/// <summary>A ray that meets triangles so that none is missed and none counted twice where triangles join.</summary>
/// <remarks>
/// Method: S. Woop, C. Benthin, I. Wald, "Watertight Ray/Triangle Intersection", JCGT 2(1) (2013): the ray is sheared onto an
///   axis, so that each corner has one projected place whatever triangle it is asked for. Differs: the signs of the three edge
///   functions are exact, and a ray that meets an edge or a corner counts as moved by an infinitely small step, the same for
///   all triangles (H. Edelsbrunner and E. Mücke, "Simulation of Simplicity", ACM TOG 9 (1990)). On a closed surface the signed
///   crossings of the whole line therefore always add up to zero.
/// Distance in double; on a triangle seen edge-on it lies between the least and the largest of its corners.
/// </remarks>
internal readonly struct RayTriangle
{
    private readonly Vec3 _origin;
    private readonly int _x;
    private readonly int _y;
    private readonly int _z;
    private readonly double _shearX;
    private readonly double _shearY;
    private readonly double _scale;

    /// <param name="direction">A unit vector.</param>
    internal RayTriangle(in Vec3 origin, in Vec3 direction)
    {
        double x = Math.Abs(direction.X), y = Math.Abs(direction.Y), z = Math.Abs(direction.Z);
        _origin = origin;
        _z = x >= y && x >= z ? 0 : y >= z ? 1 : 2;
        _x = (_z + 1) % 3;
        _y = (_z + 2) % 3;
        if (direction[_z] < 0)
            (_x, _y) = (_y, _x);
        _scale = 1 / direction[_z];
        _shearX = direction[_x] * _scale;
        _shearY = direction[_y] * _scale;
    }

    /// <returns>Whether the line meets the triangle, at any distance.</returns>
    internal bool Meets(in Vec3 a, in Vec3 b, in Vec3 c, out double distance, out bool entering)
    {
        distance = 0;
        entering = false;
        Place pa = Project(a), pb = Project(b), pc = Project(c);
        var sideC = Side(pa, pb);
        if (sideC == 0 || Side(pb, pc) != sideC || Side(pc, pa) != sideC)
            return false;
        entering = sideC < 0;

        // What rounding gave the wrong sign counts as nothing.
        var wa = Math.Max(0, sideC * ((pb.X * pc.Y) - (pb.Y * pc.X)));
        var wb = Math.Max(0, sideC * ((pc.X * pa.Y) - (pc.Y * pa.X)));
        var wc = Math.Max(0, sideC * ((pa.X * pb.Y) - (pa.Y * pb.X)));
        var all = wa + wb + wc;
        distance = all > 0
            ? ((wa * pa.Along) + (wb * pb.Along) + (wc * pc.Along)) / all
            : (pa.Along + pb.Along + pc.Along) / 3;
        return true;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Place Project(in Vec3 corner)
    {
        var d = corner - _origin;
        var z = d[_z];
        return new(d[_x] - (_shearX * z), d[_y] - (_shearY * z), z * _scale);
    }

    /// <summary>Side of the edge from u to v on which the ray passes: never 0 unless both project to the same place.</summary>
    private static int Side(in Place u, in Place v)
    {
        var side = ExactPredicates.Orient2D(0, 0, u.X, u.Y, v.X, v.Y);
        if (side != 0)
            return side;
        return u.Y != v.Y ? (u.Y > v.Y ? 1 : -1) : v.X.CompareTo(u.X);
    }

    private readonly record struct Place(double X, double Y, double Along);
}
