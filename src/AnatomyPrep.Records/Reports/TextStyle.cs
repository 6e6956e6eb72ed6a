using System.Globalization;
using System.Text;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>A font at one size, and how it breaks text into lines. Lengths are points.</summary>
internal sealed class TextStyle : IDisposable
{
    private readonly SKPaint _paint;

    public TextStyle(SKTypeface face, float size, SKColor color)
    {
        Font = new SKFont(face, size) { Subpixel = true, Hinting = SKFontHinting.None, Edging = SKFontEdging.Antialias };
        _paint = new SKPaint { Color = color, IsAntialias = true };
        LineHeight = size * 1.32f;
        Ascent = size * 0.98f;
    }

    public SKFont Font { get; }

    public float LineHeight { get; }

    /// <summary>From the top of a line to its baseline.</summary>
    public float Ascent { get; }

    /// <summary>Draws one line with its top at y.</summary>
    public void Draw(SKCanvas canvas, string line, float x, float y, SKTextAlign align = SKTextAlign.Left) =>
        canvas.DrawText(line, x, y + Ascent, align, Font, _paint);

    public float Width(string text) => Font.MeasureText(text);

    /// <summary>Lines that each fit the width: broken at spaces, and inside words that are wider than a line.</summary>
    public List<string> Break(string text, float width)
    {
        var lines = new List<string>();
        foreach (var paragraph in Printable(text).Split('\n'))
            BreakParagraph(lines, paragraph, width);
        return lines;
    }

    /// <summary>One line of at most this width; what is cut off is marked.</summary>
    public string Shorten(string text, float width)
    {
        var first = Break(text, width);
        return first.Count == 1 ? first[0] : Break(text, width - Width(" …"))[0] + " …";
    }

    public void Dispose()
    {
        Font.Dispose();
        _paint.Dispose();
    }

    private void BreakParagraph(List<string> lines, string paragraph, float width)
    {
        // Null before the first word: leading spaces are words without letters and stay, as indentation must.
        string? line = null;
        foreach (var word in paragraph.Split(' '))
        {
            var longer = line is null ? word : line + " " + word;
            if (Width(longer) <= width)
            {
                line = longer;
                continue;
            }

            if (line is not null)
                lines.Add(line);
            line = BreakWord(lines, word, width);
        }

        lines.Add(line ?? "");
    }

    /// <summary>Adds full lines of a word that is too wide, and gives what remains of it. At least one sign a line; after a hyphen where there is one.</summary>
    private string BreakWord(List<string> lines, string word, float width)
    {
        var line = new StringBuilder();
        var signs = StringInfo.GetTextElementEnumerator(word);
        while (signs.MoveNext())
        {
            var sign = signs.GetTextElement();
            if (line.Length > 0 && Width(line + sign) > width)
            {
                var text = line.ToString();
                var keep = text.LastIndexOf('-') + 1;
                if (keep == 0)
                    keep = text.Length;
                lines.Add(text[..keep]);
                line.Clear().Append(text, keep, text.Length - keep);
            }

            line.Append(sign);
        }

        return line.ToString();
    }

    /// <summary>Text with nothing the font cannot show: a sign without glyph becomes its code point, so that no text is lost.</summary>
    private string Printable(string text)
    {
        var result = new StringBuilder(text.Length);
        foreach (var rune in text.Replace("\r\n", "\n", StringComparison.Ordinal).EnumerateRunes())
        {
            if (rune.Value == '\n')
                result.Append('\n');
            else if (rune.Value == '\t')
                result.Append("    ");
            else if (Rune.IsControl(rune) || Font.GetGlyph(rune.Value) == 0)
                result.Append(CultureInfo.InvariantCulture, $"U+{rune.Value:X4}");
            else
                result.Append(rune.ToString());
        }

        return result.ToString();
    }
}
