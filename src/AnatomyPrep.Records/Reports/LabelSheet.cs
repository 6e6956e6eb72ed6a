using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>Labels for the bag a model is handed over in: eight on an A4 page, with lines to cut along.</summary>
/// <remarks>
/// A label says what must not get lost between the printer and the person: side in letters to be read across a table, anatomy,
///   scale, what else changes the meaning, date of the run, model id, the code of the report, and what the model is for. A run with several
///   structures has one label for all and one for each. The labels are repeated until the last page is full.
/// Same content, same bytes. Text that a label has no room for is cut short with a mark; the code leads to the whole.
/// </remarks>
public static class LabelSheet
{
    // 99 by 67 mm, in points.
    private const float LabelWidth = 280.6f;
    private const float LabelHeight = 189.9f;
    private const int Columns = 2;
    private const int Rows = 4;
    private const float Left = (ReportPages.Width - (Columns * LabelWidth)) / 2;
    private const float Top = (ReportPages.Height - (Rows * LabelHeight)) / 2;
    private const float Padding = 10;
    private const float Inner = LabelWidth - (2 * Padding);
    private const float LettersSide = 80;
    private const float CodeSide = 92;
    private const float Gap = 7;

    private static readonly SKColor s_ink = new(0x1A, 0x1A, 0x1A);
    private static readonly SKColor s_red = new(0xA8, 0x12, 0x12);
    private static readonly SKColor s_grey = new(0x55, 0x55, 0x55);

    private sealed record Label(string Anatomy, Side? Side);

    /// <summary>Writes the PDF. The stream need not be seekable and stays open.</summary>
    /// <param name="fontFolder">Folder with the DejaVu fonts.</param>
    /// <exception cref="BadInputException">A font is missing.</exception>
    public static void Write(Stream output, RunFacts facts, RunCode code, string fontFolder = ReportFonts.DefaultFolder)
    {
        using var fonts = ReportFonts.Load(fontFolder);
        RunPaper.Write(output, facts, $"Labels: {facts.Request.Anatomy}", code.Text, document => Draw(document, fonts, facts, code));
    }

    private static void Draw(SKDocument document, ReportFonts fonts, RunFacts facts, RunCode code)
    {
        Label[] labels = [new(facts.Request.Anatomy, facts.Request.Side), .. (facts.Structures ?? []).Select(s => new Label(s.Name, s.Side))];
        const int perPage = Columns * Rows;
        for (var page = 0; page * perPage < labels.Length; page++)
        {
            var canvas = document.BeginPage(ReportPages.Width, ReportPages.Height);
            CutLines(canvas);
            for (var i = 0; i < perPage; i++)
                Draw(canvas, fonts, facts, code, labels[((page * perPage) + i) % labels.Length], Left + (i % Columns * LabelWidth), Top + (i / Columns * LabelHeight));
            document.EndPage();
        }
    }

    private static void CutLines(SKCanvas canvas)
    {
        using var dash = SKPathEffect.CreateDash([4, 3], 0);
        using var line = new SKPaint { Color = s_grey, StrokeWidth = 0.5f, Style = SKPaintStyle.Stroke, PathEffect = dash };
        for (var c = 0; c <= Columns; c++)
            canvas.DrawLine(Left + (c * LabelWidth), Top - 8, Left + (c * LabelWidth), Top + (Rows * LabelHeight) + 8, line);
        for (var r = 0; r <= Rows; r++)
            canvas.DrawLine(Left - 8, Top + (r * LabelHeight), Left + (Columns * LabelWidth) + 8, Top + (r * LabelHeight), line);
    }

    private static void Draw(SKCanvas canvas, ReportFonts fonts, RunFacts facts, RunCode code, Label label, float left, float top)
    {
        var (x, y) = (left + Padding, top + Padding);
        y += Fitted(canvas, fonts.Bold, label.Anatomy, x, y, Inner, [15, 12.5f, 10.5f, 9]) + 4;
        using var frame = new SKPaint { Color = s_ink, StrokeWidth = 1.4f, Style = SKPaintStyle.Stroke };
        canvas.DrawRect(x, y, LettersSide, LettersSide, frame);
        Letters(canvas, fonts.Bold, ModelWords.SideLetters(label.Side), x, y);
        using (var small = new TextStyle(fonts.Bold, 7.2f, s_ink))
            small.Draw(canvas, label.Side is null ? "no side" : ModelWords.Side(label.Side), x, y + LettersSide + 2);
        CodeSquare.Draw(canvas, code.Text, x + Inner - CodeSide + 4, y - 4, CodeSide);
        Facts(canvas, fonts, facts, x + LettersSide + Gap, y, Inner - LettersSide - CodeSide - Gap);
        Foot(canvas, fonts, facts, x, top + LabelHeight - Padding);
    }

    private static void Facts(SKCanvas canvas, ReportFonts fonts, RunFacts facts, float x, float y, float width)
    {
        using var name = new TextStyle(fonts.Regular, 6.6f, s_grey);
        using var value = new TextStyle(fonts.Bold, 8.4f, s_ink);
        var scale = ModelWords.Scale(facts);
        (string Name, string Value)[] lines =
        [
            ("Scale", scale == 1 ? "1 : 1" : $"{ReportText.Number(scale, 4)} : 1"),
            ("Date of run", facts.FinishedAt.UtcDateTime.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture)),
            ("Model id", ModelWords.ModelId(facts)),
        ];
        foreach (var (label, text) in lines)
        {
            name.Draw(canvas, label, x, y);
            y += name.LineHeight;
            foreach (var line in value.Break(text, width))
            {
                value.Draw(canvas, line, x, y);
                y += value.LineHeight;
            }

            y += 3;
        }
    }

    // From the bottom up: the warning, and above it what changes the meaning.
    private static void Foot(SKCanvas canvas, ReportFonts fonts, RunFacts facts, float x, float bottom)
    {
        using var warning = new TextStyle(fonts.Bold, 8.4f, s_red);
        var lines = warning.Break(EducationAndPlanning.Warning, Inner);
        var y = bottom - (lines.Count * warning.LineHeight);
        for (var i = 0; i < lines.Count; i++)
            warning.Draw(canvas, lines[i], x, y + (i * warning.LineHeight));
        var banners = string.Join("  ", ModelWords.Banners(facts).Select(b => b.Split(':')[0]));
        if (banners.Length > 0)
            Fitted(canvas, fonts.Bold, banners, x, y - 15, Inner, [10.5f, 9, 7.4f], mostLines: 1, s_red);
    }

    private static void Letters(SKCanvas canvas, SKTypeface face, string letters, float x, float y)
    {
        using var probe = new TextStyle(face, 64, s_ink);
        using var style = new TextStyle(face, Math.Min(64, 64 * (LettersSide - 10) / probe.Width(letters)), s_ink);
        // Capitals of DejaVu are 0.73 of the size high: that is what stands in the middle of the box.
        var capital = style.Font.Size * 0.73f;
        style.Draw(canvas, letters, x + (LettersSide / 2), y + ((LettersSide + capital) / 2) - style.Ascent, SKTextAlign.Center);
    }

    /// <summary>Draws a text in the largest size that fits; in the smallest, cut short, where none does. Gives its height.</summary>
    private static float Fitted(SKCanvas canvas, SKTypeface face, string text, float x, float y, float width, float[] sizes, int mostLines = 2, SKColor? colour = null)
    {
        foreach (var size in sizes)
        {
            using var style = new TextStyle(face, size, colour ?? s_ink);
            var lines = style.Break(text, width);
            if (lines.Count > mostLines && size != sizes[^1])
                continue;
            var shown = lines.Count <= mostLines ? lines : [.. lines.Take(mostLines - 1), style.Shorten(string.Join(' ', lines.Skip(mostLines - 1)), width)];
            for (var i = 0; i < shown.Count; i++)
                style.Draw(canvas, shown[i], x, y + (i * style.LineHeight));
            return shown.Count * style.LineHeight;
        }

        return 0;
    }
}
