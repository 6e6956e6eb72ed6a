using System.Numerics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>A solid as cubes, upright along a direction, with air all round.</summary>
/// <remarks>
/// A cube is material when its centre is (<see cref="ColumnRaster"/>; whatever is inside at least one shell). x runs fastest, then y,
/// then z upward. 1 byte a cube. Lengths measured on it are uncertain by one cube.
/// </remarks>
internal sealed class SolidVoxels
{
    // As far as clearances are told apart, so that the outside is a room whatever shape the solid has.
    private const int Border = Clearances.Farthest + 1;

    private readonly Vec3 _originMm;
    private readonly UpFrame _frame;
    private readonly double _right;
    private readonly double _back;
    private readonly double _bottom;

    private SolidVoxels(Mesh mesh, ColumnRaster raster, int nz, double bottom)
    {
        (_originMm, _frame, CellMm) = (mesh.OriginMm, raster.Frame, raster.PixelMm);
        (_right, _back, _bottom) = (raster.CornerRightMm, raster.CornerBackMm, bottom);
        (Nx, Ny, Nz) = (raster.Width, raster.Depth, nz);
        Inside = new byte[checked(Nx * Ny * Nz)];
    }

    public double CellMm { get; }

    public int Nx { get; }

    public int Ny { get; }

    public int Nz { get; }

    /// <summary>1 for material, 0 for air.</summary>
    public byte[] Inside { get; }

    public double CellMm3 => CellMm * CellMm * CellMm;

    public int Slice => Nx * Ny;

    /// <summary>The wanted cell, or the smallest that keeps the cubes within a number.</summary>
    public static double CellFor(Mesh mesh, double wantedMm, double mostCells)
    {
        var size = mesh.BoundsMm().Size;
        double cell = wantedMm;
        double Cells(double c) => ((size.X / c) + (2 * Border)) * ((size.Y / c) + (2 * Border)) * ((size.Z / c) + (2 * Border));
        while (Cells(cell) > mostCells)
            cell *= 1.05;
        return cell;
    }

    /// <exception cref="OperationCanceledException">Asked before it begins.</exception>
    public static SolidVoxels Of(Mesh mesh, Vec3 up, double cellMm, RunContext run)
    {
        var raster = new ColumnRaster();
        raster.Cast(mesh, UpFrame.Of(up), cellMm, run, border: Border);
        var nz = (int)Math.Ceiling((raster.HighestMm - (double)raster.LowestMm) / cellMm) + (2 * Border);
        var voxels = new SolidVoxels(mesh, raster, nz, raster.LowestMm - (Border * cellMm));
        for (var pixel = 0; pixel < voxels.Slice; pixel++)
        {
            var inside = 0;
            double from = 0;
            foreach (var crossing in raster.At(pixel))
            {
                if (crossing.Entering && inside++ == 0)
                    from = crossing.HeightMm;
                else if (!crossing.Entering && --inside == 0)
                    voxels.Fill(pixel, from, crossing.HeightMm);
            }
        }

        return voxels;
    }

    /// <summary>Middle of a cube in patient millimetres.</summary>
    public Vec3 At(int cell)
    {
        var (x, y, z) = (cell % Nx, cell / Nx % Ny, cell / Slice);
        return At(x, y, z);
    }

    public Vec3 At(double x, double y, double z) =>
        _originMm + _frame.ToLocal(_right + ((x + 0.5) * CellMm), _back + ((y + 0.5) * CellMm), _bottom + ((z + 0.5) * CellMm));

    /// <summary>Cube coordinates of a point; its middle is a whole number.</summary>
    public (double X, double Y, double Z) Place(Vec3 mm)
    {
        var p = mm - _originMm;
        return (((Vec3.Dot(p, _frame.Right) - _right) / CellMm) - 0.5, ((Vec3.Dot(p, _frame.Back) - _back) / CellMm) - 0.5, ((Vec3.Dot(p, _frame.Up) - _bottom) / CellMm) - 0.5);
    }

    /// <summary>A copy with a round hole bored through it.</summary>
    public byte[] Bored(byte[] inside, Vec3 fromMm, Vec3 toMm, double radiusMm)
    {
        var bored = (byte[])inside.Clone();
        var (ax, ay, az) = Place(fromMm);
        var (bx, by, bz) = Place(toMm);
        Vec3 a = new(ax, ay, az), along = new Vec3(bx, by, bz) - a;
        var length = Math.Max(1e-9, along.Length);
        var unit = along / length;
        var r = radiusMm / CellMm;
        int Low(double p, double q) => (int)Math.Floor(Math.Min(p, q) - r);
        int High(double p, double q, int n) => Math.Min(n - 1, (int)Math.Ceiling(Math.Max(p, q) + r));
        for (var z = Math.Max(0, Low(az, bz)); z <= High(az, bz, Nz); z++)
            for (var y = Math.Max(0, Low(ay, by)); y <= High(ay, by, Ny); y++)
                for (var x = Math.Max(0, Low(ax, bx)); x <= High(ax, bx, Nx); x++)
                {
                    var d = new Vec3(x, y, z) - a;
                    var t = Vec3.Dot(d, unit);
                    if (t >= 0 && t <= length && (d - (unit * t)).LengthSquared <= r * r)
                        bored[(z * Slice) + (y * Nx) + x] = 0;
                }

        return bored;
    }

    private void Fill(int pixel, double fromMm, double toMm)
    {
        var first = (int)Math.Ceiling(((fromMm - _bottom) / CellMm) - 0.5);
        var end = (int)Math.Ceiling(((toMm - _bottom) / CellMm) - 0.5);
        for (var z = Math.Max(0, first); z < Math.Min(Nz, end); z++)
            Inside[(z * Slice) + pixel] = 1;
    }
}
