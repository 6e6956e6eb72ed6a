using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Measures of one triangle.</summary>
internal static class TriangleShape
{
    /// <summary>Smallest height: twice the area over the longest edge; 0 when all corners coincide.</summary>
    public static double HeightMm(Vec3 a, Vec3 b, Vec3 c)
    {
        Vec3 ab = b - a, ac = c - a;
        var longest = Math.Sqrt(Math.Max((c - b).LengthSquared, Math.Max(ab.LengthSquared, ac.LengthSquared)));
        return longest > 0 ? Vec3.Cross(ab, ac).Length / longest : 0;
    }

    public static Vec3 Normal(Vec3 a, Vec3 b, Vec3 c) => Vec3.Cross(b - a, c - a).Normalized();

    /// <summary>Distance from a point to the triangle, edges and corners included.</summary>
    /// <remarks>Ericson, Real-Time Collision Detection (2005), 5.1.5: by Voronoi region, barycentric inside.</remarks>
    public static double DistanceMm(Vec3 p, Vec3 a, Vec3 b, Vec3 c) => Vec3.Distance(p, Closest(p, a, b, c));

    public static Vec3 Closest(Vec3 p, Vec3 a, Vec3 b, Vec3 c)
    {
        Vec3 ab = b - a, ac = c - a, ap = p - a;
        double d1 = Vec3.Dot(ab, ap), d2 = Vec3.Dot(ac, ap);
        if (d1 <= 0 && d2 <= 0)
            return a;
        var bp = p - b;
        double d3 = Vec3.Dot(ab, bp), d4 = Vec3.Dot(ac, bp);
        if (d3 >= 0 && d4 <= d3)
            return b;
        var cp = p - c;
        double d5 = Vec3.Dot(ab, cp), d6 = Vec3.Dot(ac, cp);
        if (d6 >= 0 && d5 <= d6)
            return c;
        var vc = (d1 * d4) - (d3 * d2);
        if (vc <= 0 && d1 >= 0 && d3 <= 0)
            return a + (ab * (d1 / (d1 - d3)));
        var vb = (d5 * d2) - (d1 * d6);
        if (vb <= 0 && d2 >= 0 && d6 <= 0)
            return a + (ac * (d2 / (d2 - d6)));
        var va = (d3 * d6) - (d5 * d4);
        if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0)
            return b + ((c - b) * ((d4 - d3) / (d4 - d3 + (d5 - d6))));
        var sum = va + vb + vc;
        return sum > 0 ? a + (ab * (vb / sum)) + (ac * (vc / sum)) : a;
    }

    /// <summary>Distance from a point to a segment.</summary>
    public static double DistanceMm(Vec3 p, Vec3 a, Vec3 b)
    {
        var ab = b - a;
        var length = ab.LengthSquared;
        var t = length > 0 ? Math.Clamp(Vec3.Dot(p - a, ab) / length, 0, 1) : 0;
        return Vec3.Distance(p, a + (ab * t));
    }
}
