using QRCoder;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>The square code on paper: QR code (ISO/IEC 18004), error correction M, quiet zone of four modules.</summary>
internal static class CodeSquare
{
    /// <summary>Draws the code, quiet zone included, into a square. Lengths are points.</summary>
    public static void Draw(SKCanvas canvas, string text, float x, float y, float side)
    {
        using var code = QRCodeGenerator.GenerateQrCode(text, QRCodeGenerator.ECCLevel.M);
        var modules = code.ModuleMatrix;
        var size = side / modules.Count;
        using var dark = new SKPaint { Color = SKColors.Black, IsAntialias = false, Style = SKPaintStyle.Fill };
        for (var row = 0; row < modules.Count; row++)
        {
            // Dark runs as one rectangle each: no hairlines between modules when the page is rendered.
            for (var from = 0; from < modules.Count;)
            {
                var to = from;
                while (to < modules.Count && modules[row][to])
                    to++;
                if (to > from)
                    canvas.DrawRect(x + (from * size), y + (row * size), (to - from) * size, size, dark);
                from = to + 1;
            }
        }
    }
}
