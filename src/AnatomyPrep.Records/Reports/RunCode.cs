using QRCoder;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>The square code that leads from paper to the record.</summary>
/// <remarks>
/// QR code (ISO/IEC 18004), error correction M, quiet zone of four modules. It holds the run id and not the hash of the record:
/// the report is one of the files the record signs, so it is finished before the record is.
/// </remarks>
internal static class RunCode
{
    public const string Prefix = "anatomyprep-run:";

    public static string Text(string runId) => Prefix + runId;

    /// <summary>Draws the code, quiet zone included, into a square. Lengths are points.</summary>
    public static void Draw(SKCanvas canvas, string runId, float x, float y, float side)
    {
        using var code = QRCodeGenerator.GenerateQrCode(Text(runId), QRCodeGenerator.ECCLevel.M);
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
