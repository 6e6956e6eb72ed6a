using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.Tests.Imaging.Pictures;

/// <summary>What is written somewhere on a canvas, cut to its own bounds, so that it can be compared with a text drawn alone.</summary>
internal static class Ink
{
    /// <summary>Pixels that differ from the paper, row by row, within a block; empty when there are none.</summary>
    internal static string In(Canvas canvas, int left, int top, int width, int height)
    {
        var paper = canvas[0, 0];
        int x0 = int.MaxValue, x1 = -1, y0 = int.MaxValue, y1 = -1;
        for (var y = Math.Max(0, top); y < Math.Min(canvas.Height, top + height); y++)
        {
            for (var x = Math.Max(0, left); x < Math.Min(canvas.Width, left + width); x++)
            {
                if (canvas[x, y] == paper)
                    continue;
                (x0, x1) = (Math.Min(x0, x), Math.Max(x1, x));
                (y0, y1) = (Math.Min(y0, y), Math.Max(y1, y));
            }
        }

        var rows = new List<string>();
        for (var y = y0; y <= y1; y++)
            rows.Add(string.Concat(Enumerable.Range(x0, x1 - x0 + 1).Select(x => Share(canvas[x, y], paper))));
        return string.Join('\n', rows);
    }

    /// <summary>The same of a text drawn alone.</summary>
    internal static string Of(string text, int capitalPixels, Rgb ink, Rgb paper)
    {
        using var canvas = new Canvas(Canvas.TextWidth(text, capitalPixels) + 40, 80, paper);
        canvas.Text(text, 20, 50, capitalPixels, ink);
        return In(canvas, 0, 0, canvas.Width, canvas.Height);
    }

    private static char Share(Rgb pixel, Rgb paper)
    {
        var difference = Math.Abs(pixel.Red - paper.Red) + Math.Abs(pixel.Green - paper.Green) + Math.Abs(pixel.Blue - paper.Blue);
        return " .:-=+*#%@"[Math.Min(9, (difference + 67) / 68)];
    }
}
