using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Which colour stands for what, in rows that fit a width.</summary>
internal sealed class Legend
{
    private const int TextPixels = 13;
    private const int SwatchPixels = 26;
    private const int GapPixels = 10;
    private const int BetweenPixels = 28;

    private readonly List<(string Word, Rgb Colour, int X, int Row)> _entries = [];

    internal Legend(IEnumerable<(string Word, Rgb Colour)> entries, int width)
    {
        var x = 0;
        foreach (var (word, colour) in entries)
        {
            var wide = SwatchPixels + GapPixels + Canvas.TextWidth(word, TextPixels);
            if (x > 0 && x + wide > width)
                (x, Rows) = (0, Rows + 1);
            _entries.Add((word, colour, x, Rows - 1));
            x += wide + BetweenPixels;
        }
    }

    internal int Rows { get; private set; } = 1;

    /// <param name="y">Middle of the first row.</param>
    internal void Draw(Canvas canvas, int left, int y, int rowPixels, Rgb ink)
    {
        foreach (var (word, colour, x, row) in _entries)
        {
            var middle = y + (row * rowPixels);
            canvas.Fill(left + x, middle - 4, SwatchPixels, 9, colour);
            canvas.Text(word, left + x + SwatchPixels + GapPixels, middle + (TextPixels / 2), TextPixels, ink);
        }
    }
}
