using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>How open every seen point is: 1 on a free surface, less in pits and beside what stands in front.</summary>
/// <remarks>
/// Method: McGuire, Osman, Bukowski, Hennessy, "The Alchemy Screen-Space Ambient Obscurance Algorithm", High Performance
/// Graphics 2011, on the depth buffer of a parallel projection. Twelve points on a spiral around each pixel; the spiral is
/// turned by one of sixteen fixed angles in every 4 × 4 block, and a 4 × 4 mean over the same surface takes the pattern out.
/// A depth cue for the eye, not a measurement. Fixed pattern, no random numbers. Cost: O(pixels); memory 8 bytes a pixel.
/// </remarks>
internal static class Obscurance
{
    private const int Samples = 12;
    private const int Turns = 16;
    private const int BandRows = 32;
    private const float Strength = 1.5f;

    /// <summary>Share of light, 0 to 1, of every pixel.</summary>
    /// <param name="normals">Right, up, toward of every pixel's unit normal.</param>
    /// <param name="reachMm">How far around a point is looked.</param>
    internal static float[] Of(DepthRaster raster, float[] normals, double reachMm, RunContext run)
    {
        var frame = raster.Frame;
        var spirals = Spirals(Math.Max(2, reachMm * frame.PixelsPerMm));
        var open = new float[frame.Width * frame.Height];
        EachRow(run, frame, (row, column, pixel) => open[pixel] = Openness(raster, normals, spirals[((row & 3) * 4) + (column & 3)], row, column, (float)reachMm));
        var smooth = new float[open.Length];
        EachRow(run, frame, (row, column, pixel) => smooth[pixel] = Mean(raster, open, row, column, (float)reachMm / 8));
        return smooth;

        void EachRow(RunContext context, ViewFrame f, Action<int, int, int> draw) => Partition.Ranges(context, f.Height, BandRows, (_, from, to) =>
        {
            for (var row = from; row < to; row++)
                for (var column = 0; column < f.Width; column++)
                    if (raster.Triangle[(row * f.Width) + column] != DepthRaster.None)
                        draw(row, column, (row * f.Width) + column);
        });
    }

    private static float Openness(DepthRaster raster, float[] normals, (int X, int Y)[] spiral, int row, int column, float reachMm)
    {
        var frame = raster.Frame;
        var pixel = (row * frame.Width) + column;
        float nx = normals[3 * pixel], ny = normals[(3 * pixel) + 1], nz = normals[(3 * pixel) + 2];
        float depth = raster.DepthMm[pixel], mmPerPixel = (float)(1 / frame.PixelsPerMm), sum = 0;
        foreach (var (dx, dy) in spiral)
        {
            int x = column + dx, y = row + dy;
            if ((uint)x >= (uint)frame.Width || (uint)y >= (uint)frame.Height)
                continue;
            var there = raster.DepthMm[(y * frame.Width) + x];
            if (float.IsNegativeInfinity(there))
                continue;
            float vx = dx * mmPerPixel, vy = -dy * mmPerPixel, vz = there - depth;
            var above = (vx * nx) + (vy * ny) + (vz * nz) - (0.02f * reachMm);
            if (above > 0)
                sum += above / ((vx * vx) + (vy * vy) + (vz * vz) + (0.02f * reachMm * reachMm));
        }

        return Math.Clamp(1 - (Strength * reachMm * sum / Samples), 0, 1);
    }

    private static float Mean(DepthRaster raster, float[] open, int row, int column, float sameSurfaceMm)
    {
        var frame = raster.Frame;
        var depth = raster.DepthMm[(row * frame.Width) + column];
        float sum = 0, count = 0;
        for (var y = Math.Max(0, row - 1); y <= Math.Min(frame.Height - 1, row + 2); y++)
        {
            for (var x = Math.Max(0, column - 1); x <= Math.Min(frame.Width - 1, column + 2); x++)
            {
                var pixel = (y * frame.Width) + x;
                if (Math.Abs(raster.DepthMm[pixel] - depth) > sameSurfaceMm)
                    continue;
                sum += open[pixel];
                count++;
            }
        }

        return sum / count;
    }

    private static (int X, int Y)[][] Spirals(double reachPixels)
    {
        var spirals = new (int, int)[Turns][];
        for (var turn = 0; turn < Turns; turn++)
        {
            spirals[turn] = new (int, int)[Samples];
            for (var n = 0; n < Samples; n++)
            {
                // 7 of 16 steps apart, so that neighbouring pixels look in different directions; 2.4 rad is the golden angle.
                var (sin, cos) = Math.SinCos((turn * 7 % Turns * Math.Tau / Turns) + (n * 2.399963));
                var away = reachPixels * (n + 0.5) / Samples;
                spirals[turn][n] = ((int)Math.Round(cos * away), (int)Math.Round(sin * away));
            }
        }

        return spirals;
    }
}
