using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Draws a distance over a view of a model: the line, a bar across each end as the jaws of a caliper lie, and its name.</summary>
/// <remarks>An end that the model hides in this view has no bar but a small ring: the place is behind.</remarks>
internal static class MarkPen
{
    private const int BarPixels = 9;
    private const int RingPixels = 4;
    private const int LetterPixels = 15;
    private const double HiddenFromMm = 1;

    private static readonly Rgb s_ink = new(176, 18, 96);

    /// <param name="number">Of the mark on its picture; names of several stand at different places along their lines.</param>
    internal static void Draw(Canvas canvas, PreviewPanel panel, DepthRaster raster, PictureMark mark, int number, Rgb paper)
    {
        var (x0, y0) = Place(panel, mark.FromMm);
        var (x1, y1) = Place(panel, mark.ToMm);
        Line(canvas, x0, y0, x1, y1, paper);
        var length = Math.Sqrt(((x1 - x0) * (x1 - x0)) + ((y1 - y0) * (y1 - y0)));
        // Across the line; a line that is seen along itself has no direction.
        var (dx, dy) = length > 1 ? (-(y1 - y0) / length, (x1 - x0) / length) : (1.0, 0.0);
        End(canvas, panel, raster, mark.FromMm, dx, dy, paper);
        End(canvas, panel, raster, mark.ToMm, dx, dy, paper);
        // Beside the line, not at its middle, where lines cross.
        var part = 0.15 + (0.14 * (number % 6));
        Name(canvas, mark.Name, x0 + ((x1 - x0) * part) + (dx * 16), y0 + ((y1 - y0) * part) + (dy * 16), paper);
    }

    private static void End(Canvas canvas, PreviewPanel panel, DepthRaster raster, Vec3 atMm, double dx, double dy, Rgb paper)
    {
        var (x, y) = Place(panel, atMm);
        if (!IsHidden(panel, raster, atMm))
        {
            Line(canvas, x - (dx * BarPixels), y - (dy * BarPixels), x + (dx * BarPixels), y + (dy * BarPixels), paper);
            return;
        }

        for (var corner = 0; corner < 8; corner++)
        {
            var (s, c) = Math.SinCos(corner * Math.PI / 4);
            var (t, d) = Math.SinCos((corner + 1) * Math.PI / 4);
            canvas.Line(Round(x + (c * RingPixels)), Round(y + (s * RingPixels)), Round(x + (d * RingPixels)), Round(y + (t * RingPixels)), s_ink, 2);
        }
    }

    private static bool IsHidden(PreviewPanel panel, DepthRaster raster, Vec3 atMm)
    {
        var frame = panel.Frame;
        var offset = atMm - frame.CenterMm;
        int column = (int)((frame.Width / 2.0) + (Vec3.Dot(offset, frame.View.Right) * frame.PixelsPerMm)), row = (int)((frame.Height / 2.0) - (Vec3.Dot(offset, frame.View.Up) * frame.PixelsPerMm));
        return column >= 0 && column < frame.Width && row >= 0 && row < frame.Height
            && raster.DepthMm[(row * frame.Width) + column] > Vec3.Dot(offset, frame.View.Toward) + HiddenFromMm;
    }

    private static (double X, double Y) Place(PreviewPanel panel, Vec3 atMm)
    {
        var frame = panel.Frame;
        var offset = atMm - frame.CenterMm;
        var scale = frame.PixelsPerMm * panel.Width / frame.Width;
        return (panel.Left + (panel.Width / 2.0) + (Vec3.Dot(offset, frame.View.Right) * scale), panel.Top + (panel.Height / 2.0) - (Vec3.Dot(offset, frame.View.Up) * scale));
    }

    private static void Line(Canvas canvas, double x0, double y0, double x1, double y1, Rgb paper)
    {
        canvas.Line(Round(x0), Round(y0), Round(x1), Round(y1), paper, 4);
        canvas.Line(Round(x0), Round(y0), Round(x1), Round(y1), s_ink, 2);
    }

    private static void Name(Canvas canvas, string name, double x, double y, Rgb paper)
    {
        int left = Round(x), foot = Round(y) + (LetterPixels / 2);
        var width = Canvas.TextWidth(name, LetterPixels);
        int fromX = Math.Max(0, left - (width / 2) - 2), fromY = Math.Max(0, foot - LetterPixels - 2);
        canvas.Fill(fromX, fromY, Math.Min(width + 4, canvas.Width - fromX), Math.Min(LetterPixels + 5, canvas.Height - fromY), paper);
        canvas.Text(name, left, foot, LetterPixels, s_ink, Align.Center);
    }

    private static int Round(double value) => (int)Math.Round(value);
}
