using AnatomyPrep.Core.Meshes;
using OpenCvSharp;

namespace AnatomyPrep.Imaging.Pictures;

internal enum Align
{
    Left,
    Center,
    Right,
}

/// <summary>An 8-bit colour picture that is drawn on and saved as PNG; pixel (0, 0) is at the top left.</summary>
/// <remarks>
/// Text and filled shapes by OpenCV, whose drawing is integer arithmetic; its encoder writes only the size, the pixels
/// and the end, no times and no texts, with the classic zlib, so the same picture is the same file.
/// </remarks>
internal sealed unsafe class Canvas : IDisposable
{
    private const HersheyFonts Font = HersheyFonts.HersheyDuplex;

    // Height of a capital letter of this font at scale 1.
    private const double CapitalPixels = 21;

    private readonly Mat _pixels;

    static Canvas() => Cv2.SetNumThreads(1);

    internal Canvas(int width, int height, Rgb background)
    {
        _pixels = new Mat(height, width, MatType.CV_8UC3, Color(background));
        Width = width;
        Height = height;
    }

    internal int Width { get; }

    internal int Height { get; }

    internal Rgb this[int x, int y]
    {
        get
        {
            ArgumentOutOfRangeException.ThrowIfGreaterThanOrEqual((uint)x, (uint)Width, nameof(x));
            ArgumentOutOfRangeException.ThrowIfGreaterThanOrEqual((uint)y, (uint)Height, nameof(y));
            var at = Row(y) + (3 * x);
            return new(at[2], at[1], at[0]);
        }
    }

    /// <summary>Blue, green, red of every pixel of a row.</summary>
    internal byte* Row(int y) => (byte*)_pixels.Ptr(y);

    internal void Put(int x, int y, Rgb colour)
    {
        var at = Row(y) + (3 * x);
        (at[0], at[1], at[2]) = (colour.Blue, colour.Green, colour.Red);
    }

    /// <summary>Mixes in a colour; <paramref name="share"/> from 0 (nothing) to 255 (all of it).</summary>
    internal void Blend(int x, int y, Rgb colour, int share)
    {
        var at = Row(y) + (3 * x);
        at[0] = Mix(at[0], colour.Blue, share);
        at[1] = Mix(at[1], colour.Green, share);
        at[2] = Mix(at[2], colour.Red, share);
    }

    internal void Fill(int x, int y, int width, int height, Rgb colour) =>
        Cv2.Rectangle(_pixels, new Rect(x, y, width, height), Color(colour), thickness: -1);

    internal void Line(int x0, int y0, int x1, int y1, Rgb colour, int thickness) =>
        Cv2.Line(_pixels, new Point(x0, y0), new Point(x1, y1), Color(colour), thickness, LineTypes.AntiAlias);

    /// <summary>Draws ASCII text; <paramref name="x"/> is its left end, middle or right end, <paramref name="baseline"/> the foot of its capitals.</summary>
    internal void Text(string text, int x, int baseline, int capitalPixels, Rgb colour, Align align = Align.Left)
    {
        var width = TextWidth(text, capitalPixels);
        x -= align switch
        {
            Align.Left => 0,
            Align.Center => width / 2,
            _ => width,
        };
        Cv2.PutText(_pixels, text, new Point(x, baseline), Font, capitalPixels / CapitalPixels, Color(colour), Thickness(capitalPixels), LineTypes.AntiAlias);
    }

    internal static int TextWidth(string text, int capitalPixels) =>
        Cv2.GetTextSize(text, Font, capitalPixels / CapitalPixels, Thickness(capitalPixels), out _).Width;

    internal byte[] EncodePng()
    {
        // Measured on a preview sheet: level 6 takes 2.7 times as long for files 5 % smaller.
        Cv2.ImEncode(
            ".png",
            _pixels,
            out var bytes,
            new ImageEncodingParam(ImwriteFlags.PngCompression, 4),
            new ImageEncodingParam(ImwriteFlags.PngStrategy, 0));
        return bytes;
    }

    internal void SavePng(string path) => File.WriteAllBytes(path, EncodePng());

    public void Dispose() => _pixels.Dispose();

    private static byte Mix(byte below, byte above, int share) => (byte)(((below * (255 - share)) + (above * share) + 127) / 255);

    private static int Thickness(int capitalPixels) => capitalPixels >= 20 ? 2 : 1;

    private static Scalar Color(Rgb colour) => new(colour.Blue, colour.Green, colour.Red);
}
