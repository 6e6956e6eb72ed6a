using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>What needs support when a model lies in a given way.</summary>
/// <remarks>
/// A triangle overhangs when the angle between its normal and straight down is smaller than the limit by more than
/// <see cref="ToleranceDeg"/>, so that a surface exactly at the limit does not; triangles that lie on the bed do not either.
/// Contact is the sum of such triangles' areas: exact. Support fills the space straight below them, down to the first surface or
/// the bed, as columns of one pixel: each column's height is exact, its ground is a midpoint rule. <see cref="Measure"/> does it
/// at two pixel sizes and gives the difference as the error of the coarser, twice that of the finer.
/// Stability: the convex hull of everything that stands on the bed, model and support, against the middle of the material.
/// Cost: O(triangles) a direction, 10 to 20 ms for a million on one thread.
/// </remarks>
public static class SupportNeed
{
    /// <summary>Rounding of float32 normals is far below, that of drawn models at a limit of 45° mostly too.</summary>
    public const double ToleranceDeg = 0.02;

    /// <summary>A triangle this near to the bed lies on it.</summary>
    public const double BedMm = 0.02;

    /// <summary>Support of one orientation at a pixel size, and what the pixel's size may have changed.</summary>
    /// <param name="limitDeg">See <see cref="PrintProfile.OverhangLimitDeg"/>.</param>
    /// <returns>The orientation without shadow, kept area and score; the volume's error in mm³.</returns>
    /// <exception cref="OperationCanceledException">Asked twice.</exception>
    public static (Orientation Lies, double ErrorMm3) Measure(Mesh mesh, Vec3 up, double limitDeg, double pixelMm, RunContext run)
    {
        var faces = FaceTable.Of(mesh, run);
        var raster = new ColumnRaster();
        var scratch = new float[mesh.TriangleCount];
        raster.Cast(mesh, UpFrame.Of(up), pixelMm * 2, run);
        var coarse = Of(mesh, faces, raster, scratch, limitDeg, null, null);
        raster.Cast(mesh, UpFrame.Of(up), pixelMm, run);
        var fine = Of(mesh, faces, raster, scratch, limitDeg, null, null);
        return (fine, Math.Abs(fine.SupportMm3 - coarse.SupportMm3));
    }

    /// <summary>Which triangles overhang, of a model that lies with <paramref name="up"/> upward.</summary>
    public static bool[] Overhanging(Mesh mesh, Vec3 up, double limitDeg, RunContext run)
    {
        up = up.Normalized();
        var faces = FaceTable.Of(mesh, run);
        var along = new float[mesh.TriangleCount];
        faces.Along(up, along);
        var heights = new float[mesh.VertexCount];
        var lowest = float.PositiveInfinity;
        for (var v = 0; v < heights.Length; v++)
        {
            heights[v] = (float)Vec3.Dot(mesh.Local(v), up);
            lowest = Math.Min(lowest, heights[v]);
        }

        var limit = Limit(limitDeg);
        var over = new bool[mesh.TriangleCount];
        for (var t = 0; t < over.Length; t++)
            over[t] = along[t] < limit && !OnBed(mesh, heights, lowest, t);
        return over;
    }

    /// <param name="along">Scratch, one a triangle; holds the cosine between normal and up afterwards.</param>
    /// <param name="shadowed">Triangles that no tool reaches; null counts none.</param>
    /// <param name="kept">Triangles that shall stay free; null counts none.</param>
    internal static Orientation Of(Mesh mesh, FaceTable faces, ColumnRaster raster, float[] along, double limitDeg, bool[]? shadowed, bool[]? kept)
    {
        faces.Along(raster.Frame.Up, along);
        var limit = Limit(limitDeg);
        double contact = 0, inShadow = 0, onKept = 0;
        for (var t = 0; t < along.Length; t++)
        {
            if (along[t] >= limit || OnBed(mesh, raster.Heights, raster.LowestMm, t))
                continue;
            contact += faces.AreaMm2[t];
            if (shadowed is not null && shadowed[t])
                inShadow += faces.AreaMm2[t];
            if (kept is not null && kept[t])
                onKept += faces.AreaMm2[t];
        }

        var (support, standing, topple) = Columns(raster, along, limit, faces.Centroid);
        return new(raster.Frame.Up, contact, support, standing, raster.HighestMm - (double)raster.LowestMm, topple, inShadow, onKept, 0);
    }

    /// <summary>The cosine between normal and up below which a triangle overhangs; below −1 where none does.</summary>
    internal static float Limit(double limitDeg) => limitDeg <= 0 ? -2 : (float)-Math.Cos((limitDeg - ToleranceDeg) * Math.PI / 180);

    private static bool OnBed(Mesh mesh, ReadOnlySpan<float> heights, float lowest, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return Math.Max(heights[a], Math.Max(heights[b], heights[c])) - lowest <= BedMm;
    }

    private static (double Mm3, double StandingMm3, double ToppleDeg) Columns(ColumnRaster raster, float[] along, float limit, Vec3 centroid)
    {
        double length = 0, standing = 0;
        var bed = raster.LowestMm;
        var foot = new Foot();
        for (var row = 0; row < raster.Depth; row++)
            for (var column = 0; column < raster.Width; column++)
            {
                var inside = 0;
                var top = bed;
                var onBed = true;
                foreach (var crossing in raster.At((row * raster.Width) + column))
                {
                    if (!crossing.Entering)
                    {
                        inside--;
                        (top, onBed) = (crossing.HeightMm, false);
                        continue;
                    }

                    if (inside++ > 0)
                        continue;
                    var over = along[crossing.Triangle] < limit;
                    if (over)
                    {
                        length += crossing.HeightMm - (double)top;
                        if (!onBed)
                            standing += crossing.HeightMm - (double)top;
                    }

                    if (onBed && (over || crossing.HeightMm - bed <= BedMm))
                        foot.Add(column, row);
                }
            }

        var ground = raster.PixelMm * raster.PixelMm;
        var right = (Vec3.Dot(centroid, raster.Frame.Right) - raster.CornerRightMm) / raster.PixelMm;
        var back = (Vec3.Dot(centroid, raster.Frame.Back) - raster.CornerBackMm) / raster.PixelMm;
        var above = (Vec3.Dot(centroid, raster.Frame.Up) - bed) / raster.PixelMm;
        return (length * ground, standing * ground, foot.ToppleDeg(right, back, above));
    }

    /// <summary>Convex hull of the pixels that something stands on (A. Andrew's monotone chain, 1979).</summary>
    private sealed class Foot
    {
        private readonly List<(double X, double Y)> _points = [];
        private int _row = -1;

        /// <summary>Pixels come row by row, from left to right: only the first and last of a row matter.</summary>
        public void Add(int column, int row)
        {
            if (row != _row)
            {
                _row = row;
                _points.Add((column, row));
                _points.Add((column, row + 1));
                _points.Add((column + 1, row));
                _points.Add((column + 1, row + 1));
                return;
            }

            _points[^2] = (column + 1, row);
            _points[^1] = (column + 1, row + 1);
        }

        public double ToppleDeg(double x, double y, double height)
        {
            var hull = Hull();
            if (hull.Count < 3)
                return 0;
            var least = double.PositiveInfinity;
            for (var i = 0; i < hull.Count; i++)
            {
                var (a, b) = (hull[i], hull[(i + 1) % hull.Count]);
                double dx = b.X - a.X, dy = b.Y - a.Y;
                least = Math.Min(least, ((dx * (y - a.Y)) - (dy * (x - a.X))) / Math.Sqrt((dx * dx) + (dy * dy)));
            }

            return least <= 0 ? 0 : Math.Atan2(least, Math.Max(height, 1e-9)) * 180 / Math.PI;
        }

        private List<(double X, double Y)> Hull()
        {
            _points.Sort();
            var hull = new List<(double X, double Y)>();
            for (var pass = 0; pass < 2; pass++)
            {
                var first = hull.Count;
                foreach (var p in _points)
                {
                    while (hull.Count - first >= 2 && Turn(hull[^2], hull[^1], p) <= 0)
                        hull.RemoveAt(hull.Count - 1);
                    hull.Add(p);
                }

                if (hull.Count > 0)
                    hull.RemoveAt(hull.Count - 1);
                _points.Reverse();
            }

            return hull;
        }

        private static double Turn((double X, double Y) a, (double X, double Y) b, (double X, double Y) c) =>
            ((b.X - a.X) * (c.Y - a.Y)) - ((b.Y - a.Y) * (c.X - a.X));
    }
}
