using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Points spread evenly over a surface, always the same ones.</summary>
/// <remarks>
/// Method: the area summed over the triangles in their order is cut into equal parts, and each part gives the point at its
///   middle (stratified sampling along the area), placed within its triangle by the R2 sequence (M. Roberts, "The Unreasonable
///   Effectiveness of Quasirandom Sequences", 2018), folded at the diagonal, which keeps it uniform. Every triangle with area a
///   gets the number of points a·n/A rounded down or up: no random numbers, less scatter than random points.
/// Blocks of fixed size, so the same points on any number of threads. O(triangles + points), 24 bytes a point.
/// </remarks>
public static class SurfaceSamples
{
    private const int BlockTriangles = 1 << 14;

    // Powers of the inverse of the plastic number, the real root of x³ = x + 1.
    private const double StepU = 0.7548776662466927;
    private const double StepV = 0.5698402909980532;

    /// <returns>No points when the surface has no area.</returns>
    public static Vec3[] Spread(Mesh mesh, int points, RunContext run) => Spread(mesh, points, run, out _);

    /// <param name="triangles">The triangle each point lies on.</param>
    internal static Vec3[] Spread(Mesh mesh, int points, RunContext run, out int[] triangles)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(points);
        triangles = [];
        var blocks = Partition.Pieces(mesh.TriangleCount, BlockTriangles);
        var upTo = new double[blocks + 1];
        Partition.Ranges(run, mesh.TriangleCount, BlockTriangles, (block, from, to) =>
        {
            double sum = 0;
            for (var t = from; t < to; t++)
                sum += MeshMeasures.TriangleAreaMm2(mesh, t);
            upTo[block + 1] = sum;
        });
        for (var block = 0; block < blocks; block++)
            upTo[block + 1] += upTo[block];
        var whole = upTo[blocks];
        if (!(whole > 0))
            return [];

        var samples = new Vec3[points];
        var on = triangles = new int[points];
        Partition.Ranges(run, mesh.TriangleCount, BlockTriangles, (block, from, to) =>
        {
            int first = FirstFrom(upTo[block], whole, points), last = block == blocks - 1 ? points : FirstFrom(upTo[block + 1], whole, points);
            var t = from;
            var end = upTo[block] + MeshMeasures.TriangleAreaMm2(mesh, t);
            for (var k = first; k < last; k++)
            {
                var at = (k + 0.5) / points * whole;
                while (end <= at && t < to - 1)
                    end += MeshMeasures.TriangleAreaMm2(mesh, ++t);
                samples[k] = Within(mesh, t, k);
                on[k] = t;
            }
        });
        return samples;
    }

    /// <summary>First point whose place along the area is not before the given one.</summary>
    private static int FirstFrom(double area, double whole, int points) =>
        (int)Math.Clamp(Math.Ceiling((area / whole * points) - 0.5), 0, points);

    private static Vec3 Within(Mesh mesh, int triangle, int k)
    {
        double u = (0.5 + (StepU * k)) % 1, v = (0.5 + (StepV * k)) % 1;
        if (u + v > 1)
            (u, v) = (1 - u, 1 - v);
        var (a, b, c) = mesh.Triangle(triangle);
        var p = mesh.Local(a);
        return p + ((mesh.Local(b) - p) * u) + ((mesh.Local(c) - p) * v) + mesh.OriginMm;
    }
}
