using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shell;

/// <summary>How thick the wall of a finished solid is, by rays that know nothing of how it was made.</summary>
/// <param name="MinimumMm">The thinnest found.</param>
/// <param name="MaximumMm">The thickest found.</param>
/// <param name="ShareWithin">Share of the measured area within 5 % of the wanted thickness.</param>
/// <param name="ShareMissed">Share of the area whose rays leave through something else than the other wall (the rim, at the border).</param>
public sealed record WallThickness(double MinimumMm, double P01Mm, double MedianMm, double P99Mm, double MaximumMm, double ShareWithin, double ShareMissed)
{
    /// <summary>Share of the thickness that counts as reached: 3.00 ± 0.15 mm.</summary>
    public const double Tolerance = 0.05;

    private const int Rays = 50_000;

    /// <summary>
    /// From points spread evenly over one wall, straight into the material, to where the ray leaves it through the other wall.
    /// </summary>
    /// <param name="from">Marks the triangles of the wall to start at.</param>
    /// <param name="to">Marks the triangles of the other wall.</param>
    /// <returns>Null when no ray reaches the other wall.</returns>
    internal static WallThickness? Measure(Mesh solid, bool[] from, bool[] to, double wantedMm, RunContext run)
    {
        var wall = Subset(solid, from);
        var points = SurfaceSamples.Spread(wall, Rays, run, out var on);
        var tree = TriangleTree.Build(solid, run);
        var lengths = new double[points.Length];
        Partition.Ranges(run, points.Length, 1024, (_, first, end) =>
        {
            for (var i = first; i < end; i++)
            {
                var (a, b, c) = wall.Triangle(on[i]);
                var p = wall.Local(a);
                var inward = Vec3.Cross(wall.Local(c) - p, wall.Local(b) - p);

                // The point lies on its triangle only up to rounding, so what is nearer than a micrometre is that triangle or its neighbour.
                lengths[i] = tree.FirstHit(points[i], inward, 1e-3, double.PositiveInfinity, out var hit) && to[hit.Triangle] ? hit.DistanceMm : double.NaN;
            }
        });
        var measured = lengths.Where(l => !double.IsNaN(l)).Order().ToArray();
        if (measured.Length == 0)
            return null;
        double Rank(double share) => measured[Math.Clamp((int)Math.Ceiling(share * measured.Length) - 1, 0, measured.Length - 1)];
        var within = measured.Count(l => Math.Abs(l - wantedMm) <= Tolerance * wantedMm);
        return new(measured[0], Rank(0.01), Rank(0.5), Rank(0.99), measured[^1], (double)within / measured.Length, 1 - ((double)measured.Length / lengths.Length));
    }

    internal void AddTo(IDictionary<string, double> measures)
    {
        measures["wallMinMm"] = MinimumMm;
        measures["wallP01Mm"] = P01Mm;
        measures["wallMedianMm"] = MedianMm;
        measures["wallP99Mm"] = P99Mm;
        measures["wallMaxMm"] = MaximumMm;
        measures["wallShareWithin5Percent"] = ShareWithin;
        measures["wallShareMissed"] = ShareMissed;
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
}
