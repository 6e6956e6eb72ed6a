using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Volume of a solid that has no closed form, with a measure of its own error.</summary>
/// <remarks>
/// Method: octree over the bounds; a cell whose centre is further from the boundary than its corners is settled at once
/// (distances are 1-Lipschitz), the others are halved down to <c>cellMm</c>, where the share inside is taken as for a
/// plane across the axes, clamp(1/2 − d / cell, 0, 1). That averages the parallel volumes over one cell: too much by
/// M cell² / 12, with M the integral of the mean curvature. So the value at half the cell is carried on to cell 0
/// (L. F. Richardson, 1911). The grid stands askew, so that no face or axis of a solid runs along it and the errors of
/// single cells, about 0.05 cell³ each, are independent. Gives: the volume, and as its uncertainty the step taken by the
/// extrapolation plus twice the standard deviation from N boundary cells, 0.2 cell³ √N.
/// Cost: about 10 distances per mm² of surface at cell 1. Same bytes on any thread count: roots are summed in order.
/// </remarks>
public static class VolumeIntegral
{
    private const double LeastRootMm = 24;
    private static readonly Affine3 s_askew = Affine3.Rotate(new Vec3(0.37, 0.83, -0.51), 0.7321);

    /// <summary>Volume of {distance ≤ offset}.</summary>
    public static (double VolumeMm3, double UncertaintyMm3) Of(Solid solid, double offsetMm, double cellMm, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(cellMm);
        if (!solid.BoundsMm.Min.IsFinite || !solid.BoundsMm.Max.IsFinite)
            throw new ArgumentException("An unbounded solid has no volume.", nameof(solid));
        var askew = new Placed(solid, s_askew);
        var box = askew.BoundsMm.Grown(offsetMm + cellMm);
        var (coarse, _) = Sum(askew, offsetMm, box, cellMm, run);
        var (fine, boundaryCells) = Sum(askew, offsetMm, box, cellMm / 2, run);
        var step = (fine - coarse) / 3;
        return (fine + step, Math.Abs(step) + (0.2 * Math.Pow(cellMm / 2, 3) * Math.Sqrt(boundaryCells)));
    }

    private static (double VolumeMm3, long BoundaryCells) Sum(Solid solid, double offset, Box3 box, double cell, RunContext run)
    {
        var depth = Math.Max(0, (int)Math.Ceiling(Math.Log2(LeastRootMm / cell)));
        var root = cell * (1 << depth);
        int nx = Count(box.Size.X), ny = Count(box.Size.Y), nz = Count(box.Size.Z);
        var parts = new double[checked(nx * ny * nz)];
        var boundary = new long[parts.Length];
        Partition.For(run, parts.Length, i =>
        {
            run.ThrowIfCancelled();
            var at = new Vec3(i % nx, i / nx % ny, i / nx / ny);
            parts[i] = Cell(solid, offset, box.Min + ((at + new Vec3(0.5, 0.5, 0.5)) * root), root, depth, ref boundary[i]);
        });
        return (parts.Sum(), boundary.Sum());

        int Count(double size) => (int)Math.Ceiling(size / root);
    }

    private static double Cell(Solid solid, double offset, Vec3 center, double size, int depth, ref long boundaryCells)
    {
        var reach = size * (Math.Sqrt(3) / 2);
        var d = (depth == 0 ? solid.DistanceMm(center) : solid.DistanceMm(center, reach, out solid)) - offset;
        if (d >= reach)
            return 0;
        if (d <= -reach)
            return size * size * size;
        if (depth == 0)
        {
            boundaryCells++;
            return size * size * size * Math.Clamp(0.5 - (d / size), 0, 1);
        }

        double sum = 0, quarter = size / 4;
        for (var corner = 0; corner < 8; corner++)
            sum += Cell(
                solid,
                offset,
                center + new Vec3((corner & 1) == 0 ? -quarter : quarter, (corner & 2) == 0 ? -quarter : quarter, (corner & 4) == 0 ? -quarter : quarter),
                size / 2,
                depth - 1,
                ref boundaryCells);
        return sum;
    }
}
