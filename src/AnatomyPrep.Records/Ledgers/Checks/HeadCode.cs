using QRCoder;

namespace AnatomyPrep.Records.Ledgers.Checks;

/// <summary>A head as a square code on paper: a copy that nobody rewrites.</summary>
/// <remarks>QR code (ISO/IEC 18004), error correction L: the text of a head has some 900 characters.</remarks>
public static class HeadCode
{
    private const int PixelsPerModule = 6;

    public static byte[] Png(string text)
    {
        using var code = QRCodeGenerator.GenerateQrCode(text, QRCodeGenerator.ECCLevel.L);
        using var picture = new PngByteQRCode(code);
        return picture.GetGraphic(PixelsPerModule);
    }
}
