using System.Globalization;

namespace AnatomyPrep.Meshing.Marking;

/// <summary>Letters as strokes of a pen, drawn for this program: capitals, digits, hyphen, point, slash, space.</summary>
/// <remarks>
/// Units: capitals are <see cref="CapHeight"/> high and stand on y = 0; x runs in reading direction. Corners are cut rather than
/// round, so a few straight segments make a letter that stays legible when printed small. Zero has a stroke through it and one has a
/// foot, so that they are not taken for O and I.
/// </remarks>
internal static class Glyphs
{
    public const double CapHeight = 6;

    /// <summary>Free space between neighbouring letters, from stroke middle to stroke middle.</summary>
    public const double Gap = 1.9;

    private const double SpaceWidth = 2;

    private static readonly SortedDictionary<char, (double X, double Y)[][]> s_strokes = new()
    {
        ['A'] = Draw("0,0 2,6 4,0; .67,2 3.33,2"),
        ['B'] = Draw("0,0 0,6 3,6 4,5.2 4,3.9 3,3.1 0,3.1; 3,3.1 4,2.3 4,.8 3,0 0,0"),
        ['C'] = Draw("4,5 3,6 1,6 0,5 0,1 1,0 3,0 4,1"),
        ['D'] = Draw("0,0 0,6 2.5,6 4,4.5 4,1.5 2.5,0 0,0"),
        ['E'] = Draw("3.7,6 0,6 0,0 3.7,0; 0,3.1 3,3.1"),
        ['F'] = Draw("3.7,6 0,6 0,0; 0,3.1 3,3.1"),
        ['G'] = Draw("4,5 3,6 1,6 0,5 0,1 1,0 3,0 4,1 4,3 1.9,3"),
        ['H'] = Draw("0,0 0,6; 4,0 4,6; 0,3.1 4,3.1"),
        ['I'] = Draw("0,0 2,0; 0,6 2,6; 1,0 1,6"),
        ['J'] = Draw("0,1 1,0 2.2,0 3.2,1 3.2,6 1.5,6"),
        ['K'] = Draw("0,0 0,6; 4,6 0,2.4; 1.4,3.66 4,0"),
        ['L'] = Draw("0,6 0,0 3.7,0"),
        ['M'] = Draw("0,0 0,6 2.5,2.4 5,6 5,0"),
        ['N'] = Draw("0,0 0,6 4,0 4,6"),
        ['O'] = Draw("1.1,0 0,1.1 0,4.9 1.1,6 2.9,6 4,4.9 4,1.1 2.9,0 1.1,0"),
        ['P'] = Draw("0,0 0,6 3,6 4,5.1 4,3.7 3,2.8 0,2.8"),
        ['Q'] = Draw("1.1,0 0,1.1 0,4.9 1.1,6 2.9,6 4,4.9 4,1.1 2.9,0 1.1,0; 1.2,2.8 4.2,-.2"),
        ['R'] = Draw("0,0 0,6 3,6 4,5.1 4,3.7 3,2.8 0,2.8; 2,2.8 4,0"),
        ['S'] = Draw("4,5 3,6 1,6 0,5.1 0,4 1,3.1 3,3.1 4,2.2 4,.9 3,0 1,0 0,1"),
        ['T'] = Draw("0,6 4,6; 2,6 2,0"),
        ['U'] = Draw("0,6 0,1.1 1.1,0 2.9,0 4,1.1 4,6"),
        ['V'] = Draw("0,6 2,0 4,6"),
        ['W'] = Draw("0,6 1.2,0 2.5,4.2 3.8,0 5,6"),
        ['X'] = Draw("0,0 4,6; 0,6 4,0"),
        ['Y'] = Draw("0,6 2,3 4,6; 2,3 2,0"),
        ['Z'] = Draw("0,6 4,6 0,0 4,0"),
        ['0'] = Draw("1.1,0 0,1.1 0,4.9 1.1,6 2.9,6 4,4.9 4,1.1 2.9,0 1.1,0; .9,1.6 3.1,4.4"),
        ['1'] = Draw("0,4.5 1.6,6 1.6,0; 0,0 3.2,0"),
        ['2'] = Draw("0,4.9 1.1,6 2.9,6 4,4.9 4,4 0,0 4,0"),
        ['3'] = Draw("0,5.1 1,6 3,6 4,5.2 4,3.9 3,3.1 1.6,3.1; 3,3.1 4,2.3 4,.9 3,0 1,0 0,.9"),
        ['4'] = Draw("3,0 3,6 0,1.9 4,1.9"),
        ['5'] = Draw("3.7,6 .2,6 0,3.5 2.8,3.5 4,2.5 4,1 3,0 1,0 0,.9"),
        ['6'] = Draw("3.8,5.2 3,6 1.1,6 0,4.9 0,1 1,0 3,0 4,1 4,2.5 3,3.5 1,3.5 0,2.5"),
        ['7'] = Draw("0,6 4,6 1.5,0"),
        ['8'] = Draw("1.2,3.1 .4,3.9 .4,5.2 1.2,6 2.8,6 3.6,5.2 3.6,3.9 2.8,3.1 1.2,3.1 0,2.1 0,1 1,0 3,0 4,1 4,2.1 2.8,3.1"),
        ['9'] = Draw(".2,.8 1,0 2.9,0 4,1.1 4,5 3,6 1,6 0,5 0,3.5 1,2.5 3,2.5 4,3.5"),
        ['-'] = Draw("0,3 2.6,3"),
        ['.'] = Draw("0,0"),
        ['/'] = Draw("0,0 3,6"),
        [' '] = [],
    };

    /// <summary>The characters that can be drawn, besides small letters, which become capitals.</summary>
    public static string Known => string.Concat(s_strokes.Keys.Order());

    /// <summary>The first character that cannot be drawn, or null.</summary>
    public static char? FirstUnknown(string text)
    {
        foreach (var c in text)
            if (!s_strokes.ContainsKey(char.ToUpperInvariant(c)))
                return c;
        return null;
    }

    /// <summary>Strokes of a line of text that begins at x = 0, and where its last letter ends.</summary>
    public static (List<(double X, double Y)[]> Strokes, double Width) Write(string text)
    {
        List<(double X, double Y)[]> strokes = [];
        double x = 0, end = 0;
        foreach (var c in text)
        {
            var glyph = s_strokes[char.ToUpperInvariant(c)];
            var width = glyph.Length == 0 ? SpaceWidth : glyph.Max(s => s.Max(p => p.X));
            foreach (var stroke in glyph)
                strokes.Add([.. stroke.Select(p => (p.X + x, p.Y))]);
            if (glyph.Length > 0)
                end = x + width;
            x += width + Gap;
        }

        return (strokes, end);
    }

    private static (double X, double Y)[][] Draw(string strokes) =>
        [.. strokes.Split("; ").Select(s => s.Split(' ').Select(Point).ToArray())];

    private static (double X, double Y) Point(string text)
    {
        var comma = text.IndexOf(',', StringComparison.Ordinal);
        return (Number(text[..comma]), Number(text[(comma + 1)..]));
    }

    private static double Number(string text) => double.Parse(text, NumberStyles.Float, CultureInfo.InvariantCulture);
}
