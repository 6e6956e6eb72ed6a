using System.Runtime.CompilerServices;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Squared distance from a point to a triangle.</summary>
/// <remarks>Regions of the plane by dot products (Ericson, "Real-Time Collision Detection", 2005, section 5.1.5). A triangle
/// without area counts as its longest edges.</remarks>
internal static class PointTriangle
{
    /// <param name="t">Nine numbers: three corners.</param>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static double SquaredDistance(double px, double py, double pz, ReadOnlySpan<double> t) =>
        SquaredDistance(px, py, pz, t[0], t[1], t[2], t[3], t[4], t[5], t[6], t[7], t[8]);

    internal static double SquaredDistance(
        double px, double py, double pz, double ax, double ay, double az, double bx, double by, double bz, double cx, double cy, double cz)
    {
        double abx = bx - ax, aby = by - ay, abz = bz - az;
        double acx = cx - ax, acy = cy - ay, acz = cz - az;
        double apx = px - ax, apy = py - ay, apz = pz - az;
        var d1 = Dot(abx, aby, abz, apx, apy, apz);
        var d2 = Dot(acx, acy, acz, apx, apy, apz);
        if (d1 <= 0 && d2 <= 0)
            return Dot(apx, apy, apz, apx, apy, apz);
        double bpx = px - bx, bpy = py - by, bpz = pz - bz;
        var d3 = Dot(abx, aby, abz, bpx, bpy, bpz);
        var d4 = Dot(acx, acy, acz, bpx, bpy, bpz);
        if (d3 >= 0 && d4 <= d3)
            return Dot(bpx, bpy, bpz, bpx, bpy, bpz);
        var vc = (d1 * d4) - (d3 * d2);
        if (vc <= 0 && d1 >= 0 && d3 <= 0)
            return Off(apx, apy, apz, abx, aby, abz, Share(d1, d1 - d3));
        double cpx = px - cx, cpy = py - cy, cpz = pz - cz;
        var d5 = Dot(abx, aby, abz, cpx, cpy, cpz);
        var d6 = Dot(acx, acy, acz, cpx, cpy, cpz);
        if (d6 >= 0 && d5 <= d6)
            return Dot(cpx, cpy, cpz, cpx, cpy, cpz);
        var vb = (d5 * d2) - (d1 * d6);
        if (vb <= 0 && d2 >= 0 && d6 <= 0)
            return Off(apx, apy, apz, acx, acy, acz, Share(d2, d2 - d6));
        var va = (d3 * d6) - (d5 * d4);
        if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0)
            return Off(bpx, bpy, bpz, cx - bx, cy - by, cz - bz, Share(d4 - d3, (d4 - d3) + (d5 - d6)));
        double nx = (aby * acz) - (abz * acy), ny = (abz * acx) - (abx * acz), nz = (abx * acy) - (aby * acx);
        var along = Dot(nx, ny, nz, apx, apy, apz);
        return along * along / Dot(nx, ny, nz, nx, ny, nz);
    }

    private static double Share(double part, double whole) => whole > 0 ? part / whole : 0;

    private static double Off(double px, double py, double pz, double dx, double dy, double dz, double share)
    {
        double x = px - (share * dx), y = py - (share * dy), z = pz - (share * dz);
        return Dot(x, y, z, x, y, z);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static double Dot(double ax, double ay, double az, double bx, double by, double bz) => (ax * bx) + (ay * by) + (az * bz);
}
