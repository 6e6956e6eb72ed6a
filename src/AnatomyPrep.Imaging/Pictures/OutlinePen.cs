using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Draws lines of an even width at sub-pixel positions.</summary>
/// <remarks>
/// A pixel is covered by clamp(w/2 + 1/2 - d, 0, 1), d the distance of its centre from the nearest segment: a box filter
/// along the line's normal. The nearest segment counts, not the sum, so a curve of many short pieces is as even as one of
/// few long ones. Written here because OpenCV's lines blend once per piece and thicken at every joint.
/// Cost: O(covered pixels); memory one byte a pixel.
/// </remarks>
internal sealed class OutlinePen(int width, int height)
{
    private readonly byte[] _coverage = new byte[width * height];

    internal void Segment(double x0, double y0, double x1, double y1, double widthPixels)
    {
        var reach = (widthPixels / 2) + 0.5;
        double dx = x1 - x0, dy = y1 - y0, lengthSquared = (dx * dx) + (dy * dy);
        var lastRow = Last(Math.Max(y0, y1) + reach, height);
        for (var row = First(Math.Min(y0, y1) - reach); row <= lastRow; row++)
        {
            var y = row + 0.5;
            var (low, high) = Stretch(x0, dx, (y - reach - y0) / dy, (y + reach - y0) / dy);
            var lastColumn = Last(high + reach, width);
            for (var column = First(low - reach); column <= lastColumn; column++)
            {
                double px = column + 0.5 - x0, py = y - y0;
                var along = lengthSquared > 0 ? Math.Clamp(((px * dx) + (py * dy)) / lengthSquared, 0, 1) : 0;
                double ox = px - (along * dx), oy = py - (along * dy);
                var share = Math.Clamp(reach - Math.Sqrt((ox * ox) + (oy * oy)), 0, 1);
                ref var covered = ref _coverage[(row * width) + column];
                covered = Math.Max(covered, (byte)Math.Round(share * 255));
            }
        }
    }

    /// <summary>Puts the drawn lines onto a canvas at (left, top) and starts anew.</summary>
    /// <param name="strength">0 to 255: how much of the colour a fully covered pixel takes.</param>
    internal void Ink(Canvas canvas, int left, int top, Rgb colour, int strength)
    {
        for (var row = 0; row < height; row++)
            for (var column = 0; column < width; column++)
                if (_coverage[(row * width) + column] is > 0 and var share)
                    canvas.Blend(left + column, top + row, colour, share * strength / 255);
        Array.Clear(_coverage);
    }

    /// <summary>x range of the part of a segment between two parameters, which may be infinite or NaN where it runs level.</summary>
    private static (double Low, double High) Stretch(double x0, double dx, double t0, double t1)
    {
        var (from, to) = t0 <= t1 ? (t0, t1) : (t1, t0);
        if (double.IsNaN(from) || double.IsNaN(to))
            (from, to) = (0, 1);
        double a = x0 + (dx * Math.Clamp(from, 0, 1)), b = x0 + (dx * Math.Clamp(to, 0, 1));
        return (Math.Min(a, b), Math.Max(a, b));
    }

    private static int First(double at) => (int)Math.Max(0, Math.Floor(at));

    private static int Last(double at, int count) => (int)Math.Min(count - 1, Math.Floor(at));
}
