using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Spatial;

/// <summary>The part of a triangle a nearest point lies on.</summary>
public enum TriangleFeature : byte
{
    Face = 0,

    /// <summary>Between corners 0 and 1, 1 and 2, 2 and 0.</summary>
    Edge01 = 1,
    Edge12 = 2,
    Edge20 = 3,

    Corner0 = 4,
    Corner1 = 5,
    Corner2 = 6,
}

/// <summary>Point of a triangle nearest to a point.</summary>
/// <remarks>
/// Method: C. Ericson, "Real-Time Collision Detection" (2005), 5.1.5: which of the seven regions of the triangle's plane the
///   foot falls into. Differs: the barycentric numerators are products with the normal instead of differences of products of
///   dot products, which loses 1/sine instead of 1/sine² on thin triangles; one thinner than 1e-8 of its length is treated as
///   its three edges.
/// Error of the distance: 2^-53 of the extent over the triangle's thinness (height over longest edge), at most 2e-8 of the extent.
/// </remarks>
internal static class PointTriangle
{
    private const double ThinSquared = 1e-16;

    internal static double SquaredDistance(in Vec3 p, in Vec3 a, in Vec3 b, in Vec3 c) => (p - Nearest(p, a, b, c, out _)).LengthSquared;

    internal static Vec3 Nearest(in Vec3 p, in Vec3 a, in Vec3 b, in Vec3 c, out TriangleFeature feature)
    {
        Vec3 ab = b - a, ac = c - a, ap = p - a;
        double d1 = Vec3.Dot(ab, ap), d2 = Vec3.Dot(ac, ap);
        if (d1 <= 0 && d2 <= 0)
        {
            feature = TriangleFeature.Corner0;
            return a;
        }

        var bp = p - b;
        double d3 = Vec3.Dot(ab, bp), d4 = Vec3.Dot(ac, bp);
        if (d3 >= 0 && d4 <= d3)
        {
            feature = TriangleFeature.Corner1;
            return b;
        }

        var cp = p - c;
        double d5 = Vec3.Dot(ab, cp), d6 = Vec3.Dot(ac, cp);
        if (d6 >= 0 && d5 <= d6)
        {
            feature = TriangleFeature.Corner2;
            return c;
        }

        var n = Vec3.Cross(ab, ac);
        var bc = c - b;
        var vc = Vec3.Dot(n, Vec3.Cross(ab, ap));
        var vb = Vec3.Dot(n, Vec3.Cross(ap, ac));
        var va = Vec3.Dot(n, Vec3.Cross(bc, bp));
        var longest = Math.Max(ab.LengthSquared, Math.Max(ac.LengthSquared, bc.LengthSquared));
        if (!(n.LengthSquared > ThinSquared * longest * longest))
            return NearestOfEdges(p, a, b, c, out feature);
        if (vc <= 0 && d1 >= 0 && d3 <= 0)
        {
            feature = TriangleFeature.Edge01;
            return a + (ab * (d1 / (d1 - d3)));
        }

        if (vb <= 0 && d2 >= 0 && d6 <= 0)
        {
            feature = TriangleFeature.Edge20;
            return a + (ac * (d2 / (d2 - d6)));
        }

        if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0)
        {
            feature = TriangleFeature.Edge12;
            return b + (bc * ((d4 - d3) / (d4 - d3 + (d5 - d6))));
        }

        feature = TriangleFeature.Face;
        var all = va + vb + vc;
        return a + (ab * (vb / all)) + (ac * (vc / all));
    }

    private static Vec3 NearestOfEdges(in Vec3 p, in Vec3 a, in Vec3 b, in Vec3 c, out TriangleFeature feature)
    {
        var best = NearestOfEdge(p, a, b, TriangleFeature.Edge01, TriangleFeature.Corner0, TriangleFeature.Corner1, out feature);
        var second = NearestOfEdge(p, b, c, TriangleFeature.Edge12, TriangleFeature.Corner1, TriangleFeature.Corner2, out var onSecond);
        if ((p - second).LengthSquared < (p - best).LengthSquared)
            (best, feature) = (second, onSecond);
        var third = NearestOfEdge(p, c, a, TriangleFeature.Edge20, TriangleFeature.Corner2, TriangleFeature.Corner0, out var onThird);
        if ((p - third).LengthSquared < (p - best).LengthSquared)
            (best, feature) = (third, onThird);
        return best;
    }

    private static Vec3 NearestOfEdge(
        in Vec3 p, in Vec3 from, in Vec3 to, TriangleFeature edge, TriangleFeature first, TriangleFeature last, out TriangleFeature feature)
    {
        var along = to - from;
        var foot = Vec3.Dot(p - from, along);
        var whole = along.LengthSquared;
        feature = !(foot > 0) ? first : foot >= whole ? last : edge;
        return feature == edge ? from + (along * (foot / whole)) : feature == first ? from : to;
    }
}
