using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A round length in millimetres that fits a picture.</summary>
internal static class ScaleBar
{
    private const int TextPixels = 13;

    /// <summary>A bar with its length beside it; <paramref name="y"/> is the bar's middle.</summary>
    internal static void Draw(Canvas canvas, int x, int y, double pixelsPerMm, double atMostPixels, Rgb ink)
    {
        var lengthMm = LengthMm(atMostPixels / pixelsPerMm);
        var pixels = (int)Math.Round(lengthMm * pixelsPerMm);
        canvas.Fill(x, y - 1, pixels, 3, ink);
        canvas.Fill(x, y - 6, 2, 13, ink);
        canvas.Fill(x + pixels - 2, y - 6, 2, 13, ink);
        canvas.Text(FormattableString.Invariant($"{lengthMm:0.####} mm"), x + pixels + 12, y + (TextPixels / 2), TextPixels, ink);
    }

    /// <summary>The largest 1, 2 or 5 times a power of ten that is at most <paramref name="atMostMm"/>.</summary>
    internal static double LengthMm(double atMostMm)
    {
        var power = Math.Pow(10, Math.Floor(Math.Log10(atMostMm)));
        double[] steps = [5, 2, 1, 0.5];
        foreach (var step in steps)
            if (step * power <= atMostMm)
                return step * power;
        return power / 2;
    }
}
