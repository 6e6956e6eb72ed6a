using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>How thick the wall of a finished solid is, from its triangles alone: nothing of how it was made is used.</summary>
/// <remarks>
/// At points spread evenly over the offset wall, two ways. Distance: to the nearest point of the other wall; what a wall of even
/// thickness means, and never more than what a calliper reads. Ray: straight into the material to where it leaves through the
/// other wall; longer where either wall is rough or bends.
/// </remarks>
/// <param name="ThinnestAtMm">Where the smallest distance was found.</param>
/// <param name="ShareWithin">Share of the area whose distance is within <see cref="Tolerance"/> of the wanted thickness.</param>
/// <param name="RayShareWithin">The same of rays, of those that reach the other wall.</param>
/// <param name="RayShareMissed">Share of the rays that leave through something else, such as the rim.</param>
public sealed record WallThickness(
    double MinimumMm, double MedianMm, double MaximumMm, Vec3 ThinnestAtMm, double ShareWithin, double RayMedianMm, double RayShareWithin, double RayShareMissed)
{
    /// <summary>Part of the thickness that counts as reached: 3.00 ± 0.15 mm.</summary>
    public const double Tolerance = 0.05;

    private const int FewestPoints = 4_000;
    private const int MostPoints = 50_000;

    /// <param name="from">Marks the triangles of the offset wall.</param>
    /// <param name="to">Marks the triangles of the other wall.</param>
    /// <returns>Null when either wall has no area or no ray reaches the other.</returns>
    internal static WallThickness? Measure(Mesh solid, bool[] from, bool[] to, double wantedMm, RunContext run)
    {
        Mesh wall = Subset(solid, from), other = Subset(solid, to);
        var points = SurfaceSamples.Spread(wall, Math.Clamp(wall.TriangleCount / 4, FewestPoints, MostPoints), run, out var on);
        if (points.Length == 0 || other.TriangleCount == 0)
            return null;
        var nearest = TriangleTree.Build(other, run).Nearest(points, run);
        var rays = Rays(solid, wall, to, points, on, run);
        var reached = rays.Where(l => !double.IsNaN(l)).Order().ToArray();
        if (reached.Length == 0)
            return null;
        var thinnest = 0;
        for (var i = 1; i < nearest.Length; i++)
            if (nearest[i].DistanceMm < nearest[thinnest].DistanceMm)
                thinnest = i;
        var sorted = nearest.Select(n => n.DistanceMm).Order().ToArray();
        return new(
            sorted[0],
            sorted[sorted.Length / 2],
            sorted[^1],
            points[thinnest],
            ShareNear(sorted, wantedMm),
            reached[reached.Length / 2],
            ShareNear(reached, wantedMm),
            1 - ((double)reached.Length / rays.Length));
    }

    internal void AddTo(IDictionary<string, double> measures)
    {
        measures["wallMinMm"] = MinimumMm;
        measures["wallMedianMm"] = MedianMm;
        measures["wallMaxMm"] = MaximumMm;
        measures["wallShareWithin5Percent"] = ShareWithin;
        measures["wallRayMedianMm"] = RayMedianMm;
        measures["wallRayShareWithin5Percent"] = RayShareWithin;
        measures["wallRayShareMissed"] = RayShareMissed;
    }

    /// <summary>The marked triangles, on the vertices of the whole.</summary>
    internal static Mesh Subset(Mesh solid, bool[] keep)
    {
        var triangles = new List<int>();
        for (var t = 0; t < keep.Length; t++)
            if (keep[t])
                triangles.AddRange(solid.Triangles.Slice(3 * t, 3));
        return new(solid.OriginMm, solid.PositionArray, [.. triangles]);
    }

    private static double[] Rays(Mesh solid, Mesh wall, bool[] to, Vec3[] points, int[] on, RunContext run)
    {
        var tree = TriangleTree.Build(solid, run);
        var lengths = new double[points.Length];
        Partition.Ranges(run, points.Length, 1024, (_, first, end) =>
        {
            for (var i = first; i < end; i++)
            {
                var (a, b, c) = wall.Triangle(on[i]);
                var p = wall.Local(a);
                var inward = Vec3.Cross(wall.Local(c) - p, wall.Local(b) - p);

                // The point lies on its triangle up to rounding: what is nearer than a micrometre is that triangle.
                lengths[i] = tree.FirstHit(points[i], inward, 1e-3, double.PositiveInfinity, out var hit) && to[hit.Triangle] ? hit.DistanceMm : double.NaN;
            }
        });
        return lengths;
    }

    private static double ShareNear(double[] values, double wantedMm) =>
        (double)values.Count(v => Math.Abs(v - wantedMm) <= Tolerance * wantedMm) / values.Length;
}
