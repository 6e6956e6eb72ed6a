using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>One cell of a table.</summary>
internal sealed record Cell(string Text, TextStyle Style);

/// <summary>Fills A4 pages from top to bottom; starts the next one when something does not fit. Lengths are points.</summary>
/// <remarks>
/// Every page carries the warning at its top and bottom. A table row that is taller than what is left goes on over the page
/// break line by line, with the head of the table repeated, so that no text is lost however long it is.
/// </remarks>
internal sealed class ReportPages : IDisposable
{
    public const float Width = 595.28f;
    public const float Height = 841.89f;
    public const float Margin = 45;
    public const float Inner = Width - (2 * Margin);

    /// <summary>What a signature box takes, with the space under it.</summary>
    public const float SignatureHeight = 84;

    private const float Top = 72;
    private const float Bottom = Height - 60;
    private const float Padding = 4;
    private const float FactPadding = 1.6f;
    private const float PictureGap = 12;

    // Three rows of upright pictures with captions of two lines fill a page.
    private const float SmallPicture = 204;
    private const float LargePicture = 400;

    // Pictures of a row are made smaller by at most this so that one more fits.
    private const float MostShrunk = 0.85f;

    private static readonly SKColor s_ink = new(0x1A, 0x1A, 0x1A);
    private static readonly SKColor s_grey = new(0x55, 0x55, 0x55);
    private static readonly SKColor s_amber = new(0x8F, 0x55, 0x00);
    private static readonly SKColor s_red = new(0xA8, 0x12, 0x12);

    private static readonly SKSamplingOptions s_sampling = new(SKFilterMode.Linear);

    private readonly Func<SKCanvas> _beginPage;
    private readonly Action _endPage;
    private readonly string _title;
    private readonly string _runId;
    private readonly int _pageCount;
    private readonly SKPaint _rule = new() { Color = new SKColor(0xBB, 0xBB, 0xBB), StrokeWidth = 0.6f, Style = SKPaintStyle.Stroke };
    private readonly SKPaint _line = new() { Color = s_ink, StrokeWidth = 0.6f, Style = SKPaintStyle.Stroke };
    private readonly SKPaint _shade = new() { Color = new SKColor(0xEE, 0xF1, 0xF4), Style = SKPaintStyle.Fill };
    private SKCanvas? _canvas;

    /// <param name="pageCount">Shown as "page 1 of N"; known after a first pass.</param>
    public ReportPages(Func<SKCanvas> beginPage, Action endPage, ReportFonts fonts, string title, string runId, int pageCount)
    {
        (_beginPage, _endPage, _title, _runId, _pageCount) = (beginPage, endPage, title, runId, pageCount);
        Title = new TextStyle(fonts.Bold, 19, s_ink);
        Heading = new TextStyle(fonts.Bold, 12, s_ink);
        Body = new TextStyle(fonts.Regular, 8.8f, s_ink);
        Strong = new TextStyle(fonts.Bold, 8.8f, s_ink);
        Alarm = new TextStyle(fonts.Bold, 8.8f, s_red);
        Caution = new TextStyle(fonts.Bold, 8.8f, s_amber);
        Banner = new TextStyle(fonts.Bold, 13, s_red);
        Small = new TextStyle(fonts.Regular, 7.2f, s_grey);
        Warning = new TextStyle(fonts.Bold, 8.4f, s_red);
        Mono = new TextStyle(fonts.Mono, 7.6f, s_ink);
        NewPage();
    }

    public TextStyle Title { get; }

    public TextStyle Heading { get; }

    public TextStyle Body { get; }

    public TextStyle Strong { get; }

    public TextStyle Alarm { get; }

    public TextStyle Caution { get; }

    public TextStyle Banner { get; }

    public TextStyle Small { get; }

    public TextStyle Warning { get; }

    public TextStyle Mono { get; }

    public int Page { get; private set; }

    /// <summary>Top of what comes next.</summary>
    public float Y { get; set; }

    public SKCanvas Canvas => _canvas!;

    public void Space(float height) => Y += height;

    /// <summary>Starts a page unless this much is left.</summary>
    public void Need(float height)
    {
        if (Y + height > Bottom && Y > Top)
            NewPage();
    }

    /// <summary>A heading, kept together with as much of what follows it.</summary>
    public void Section(string text, float together = 60)
    {
        Need(Heading.LineHeight + together);
        if (Y > Top)
            Space(12);
        Heading.Draw(Canvas, text, Margin, Y);
        Y += Heading.LineHeight + 2;
        Canvas.DrawLine(Margin, Y, Margin + Inner, Y, _rule);
        Space(5);
    }

    public void Paragraph(string text, TextStyle style, float width = Inner)
    {
        foreach (var line in style.Break(text, width))
        {
            Need(style.LineHeight);
            style.Draw(Canvas, line, Margin, Y);
            Y += style.LineHeight;
        }
    }

    /// <summary>Label and value in two columns, a row each.</summary>
    public void Facts(IEnumerable<(string Label, string Value)> facts, float width = Inner)
    {
        float[] widths = [130, width - 130];
        foreach (var (label, value) in facts)
            Row([new Cell(label, Strong), new Cell(value, Body)], widths, FactPadding, () => { });
    }

    /// <summary>A table over the whole width; columns are shares of it.</summary>
    public void Table(IReadOnlyList<string> head, IReadOnlyList<float> shares, IEnumerable<IReadOnlyList<Cell>> rows)
    {
        var widths = shares.Select(s => s * Inner).ToArray();
        var names = head.Select((h, i) => Strong.Break(h, widths[i] - (2 * Padding))).ToArray();
        var headHeight = (names.Max(n => n.Count) * Strong.LineHeight) + (2 * Padding);
        void Head()
        {
            Canvas.DrawRect(Margin, Y, Inner, headHeight, _shade);
            DrawRowLines([.. head.Select(h => new Cell(h, Strong))], names, widths, 0, names.Max(n => n.Count), Strong.LineHeight, Padding);
        }

        Need(headHeight + 30);
        Head();
        foreach (var row in rows)
        {
            Row(row, widths, Padding, Head);
            Canvas.DrawLine(Margin, Y, Margin + Inner, Y, _rule);
        }
    }

    /// <summary>How tall a picture will stand, with its caption.</summary>
    /// <exception cref="BadInputException">It cannot be decoded.</exception>
    public float HeightOf(ReportPicture picture) => SizeOf(picture).Height + (2 * Small.LineHeight) + 12;

    /// <summary>Pictures with captions, as many in a row as fit, each scaled to fit and never distorted. A large one has a row of its own.</summary>
    /// <exception cref="BadInputException">A picture cannot be decoded.</exception>
    public void Pictures(IReadOnlyList<ReportPicture> pictures)
    {
        for (var i = 0; i < pictures.Count;)
        {
            var row = new List<(ReportPicture Picture, SKSize Size)>();
            var width = 0f;
            for (; i < pictures.Count; i++)
            {
                var size = SizeOf(pictures[i]);
                if (row.Count > 0 && (pictures[i].IsLarge || row[0].Picture.IsLarge || (width + size.Width) * MostShrunk > Inner - (row.Count * PictureGap)))
                    break;
                width += size.Width;
                row.Add((pictures[i], size));
            }

            var shrink = Math.Min(1, (Inner - ((row.Count - 1) * PictureGap)) / width);
            PictureRow([.. row.Select(r => (r.Picture, new SKSize(r.Size.Width * shrink, r.Size.Height * shrink)))]);
        }
    }

    /// <summary>One picture over the width, at most this tall, without a caption.</summary>
    /// <exception cref="BadInputException">It cannot be decoded.</exception>
    public void Lead(ReportPicture picture, float tallest)
    {
        using var image = Decode(picture);
        var scale = Math.Min(Inner / image.Width, tallest / image.Height);
        Need((image.Height * scale) + 8);
        Canvas.DrawImage(image, SKRect.Create(Margin, Y, image.Width * scale, image.Height * scale), s_sampling);
        Y += (image.Height * scale) + 8;
    }

    /// <summary>A box with lines to write on.</summary>
    public void SignatureBox(SignaturePlace place)
    {
        const float height = SignatureHeight - 8;
        const float line = height - 17;
        Need(SignatureHeight);
        Canvas.DrawRect(Margin, Y, Inner, height, _line);
        Strong.Draw(Canvas, Strong.Shorten(place.Role, Inner - 16), Margin + 8, Y + 6);
        // Two lines are what the box has room for.
        var meaning = Small.Break(place.Meaning, Inner - 16);
        for (var i = 0; i < Math.Min(2, meaning.Count); i++)
            Small.Draw(Canvas, meaning[i], Margin + 8, Y + 6 + Strong.LineHeight + (i * Small.LineHeight));
        (string Label, float From, float To)[] lines = [("Printed name", 8, 190), ("Date and time", 205, 315), ("Signature", 330, Inner - 8)];
        foreach (var (label, from, to) in lines)
        {
            Canvas.DrawLine(Margin + from, Y + line, Margin + to, Y + line, _line);
            Small.Draw(Canvas, label, Margin + from, Y + line + 3);
        }

        Y += SignatureHeight;
    }

    public void End() => _endPage();

    public void Dispose()
    {
        foreach (var style in new[] { Title, Heading, Body, Strong, Alarm, Caution, Banner, Small, Warning, Mono })
            style.Dispose();
        _rule.Dispose();
        _line.Dispose();
        _shade.Dispose();
    }

    private void NewPage()
    {
        if (Page > 0)
            _endPage();
        _canvas = _beginPage();
        Page++;
        Small.Draw(Canvas, Small.Shorten(_title, Inner), Margin, 30);
        Warning.Draw(Canvas, EducationAndPlanning.Warning, Margin, 42);
        Canvas.DrawLine(Margin, 60, Margin + Inner, 60, _rule);
        Canvas.DrawLine(Margin, Height - 50, Margin + Inner, Height - 50, _rule);
        Warning.Draw(Canvas, EducationAndPlanning.Warning, Margin, Height - 46);
        Small.Draw(Canvas, $"Run {_runId}", Margin, Height - 33);
        Small.Draw(Canvas, $"Page {Page} of {_pageCount}", Margin + Inner, Height - 33, SKTextAlign.Right);
        Y = Top;
    }

    /// <summary>Draws one row, over page breaks where it must.</summary>
    private void Row(IReadOnlyList<Cell> cells, float[] widths, float padding, Action head)
    {
        var lines = cells.Select((c, i) => c.Style.Break(c.Text, widths[i] - (2 * Padding))).ToArray();
        var lineHeight = cells.Max(c => c.Style.LineHeight);
        var count = lines.Max(l => l.Count);
        // A row that fits a page is kept whole unless that would leave most of this one empty.
        var height = (count * lineHeight) + (2 * padding);
        if (Y + height > Bottom && (height < (Bottom - Top) / 3 || Y + (3 * lineHeight) > Bottom))
        {
            NewPage();
            head();
        }

        for (var from = 0; from < count;)
        {
            var fit = Math.Max(1, (int)((Bottom - Y - (2 * padding)) / lineHeight));
            var to = Math.Min(count, from + fit);
            DrawRowLines(cells, lines, widths, from, to, lineHeight, padding);
            from = to;
            if (from < count)
            {
                NewPage();
                head();
            }
        }
    }

    private void DrawRowLines(
        IReadOnlyList<Cell> cells, List<string>[] lines, float[] widths, int from, int to, float lineHeight, float padding)
    {
        var x = Margin;
        for (var i = 0; i < cells.Count; x += widths[i++])
            for (var line = from; line < Math.Min(to, lines[i].Count); line++)
                cells[i].Style.Draw(Canvas, lines[i][line], x + Padding, Y + padding + ((line - from) * lineHeight));
        Y += ((to - from) * lineHeight) + (2 * padding);
    }

    private static SKSize SizeOf(ReportPicture picture)
    {
        using var image = Decode(picture);
        var scale = Math.Min((picture.IsLarge ? Inner : (Inner - PictureGap) / 2) / image.Width, (picture.IsLarge ? LargePicture : SmallPicture) / image.Height);
        return new(image.Width * scale, image.Height * scale);
    }

    private static SKImage Decode(ReportPicture picture) => SKImage.FromEncodedData(picture.Png)
        ?? throw new BadInputException("picture", picture.Caption, "not a readable PNG", "Make the picture again.");

    private void PictureRow(List<(ReportPicture Picture, SKSize Size)> row)
    {
        // A narrow picture lends its caption the width that the row leaves over.
        var spare = (Inner - ((row.Count - 1) * PictureGap) - row.Sum(r => r.Size.Width)) / row.Count;
        var captions = row.Select(r => Small.Break(r.Picture.Caption, r.Size.Width + spare)).ToList();
        var height = row.Max(r => r.Size.Height);
        var captionHeight = captions.Max(c => c.Count) * Small.LineHeight;
        Need(height + captionHeight + 12);
        var x = Margin;
        for (var i = 0; i < row.Count; i++)
        {
            using var image = Decode(row[i].Picture);
            Canvas.DrawImage(image, SKRect.Create(x, Y, row[i].Size.Width, row[i].Size.Height), s_sampling);
            for (var line = 0; line < captions[i].Count; line++)
                Small.Draw(Canvas, captions[i][line], x, Y + row[i].Size.Height + 3 + (line * Small.LineHeight));
            x += row[i].Size.Width + spare + PictureGap;
        }

        Y += height + captionHeight + 12;
    }
}
