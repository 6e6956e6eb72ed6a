using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>A row of the sheet.</summary>
/// <param name="Axis">x, y or z.</param>
public sealed record CaliperLine(string Name, string Axis, double JawMm);

/// <summary>What a caliper sheet is made from.</summary>
/// <param name="Sheet">Code that the readings must name.</param>
/// <param name="Model">File of the run that the part was printed from.</param>
/// <param name="ToleranceMm">For the purpose.</param>
public sealed record CaliperSheetContent(
    RunFacts Run, RunCode Code, string Sheet, string Model, double ToleranceMm, IReadOnlyList<CaliperLine> Lines, IReadOnlyList<ReportPicture> Pictures);

/// <summary>The sheet to take to the bench: which distances to measure on a printed part, where, and room to write them down.</summary>
/// <remarks>It does not say what the model measures there: who knows what should come out reads it. Same content, same bytes.</remarks>
public static class CaliperSheet
{
    private const float CodeSide = 84;

    /// <summary>Writes the PDF. The stream need not be seekable and stays open.</summary>
    /// <param name="fontFolder">Folder with the DejaVu fonts.</param>
    /// <exception cref="BadInputException">A font is missing or a picture cannot be decoded.</exception>
    public static void Write(Stream output, CaliperSheetContent content, string fontFolder = ReportFonts.DefaultFolder)
    {
        using var fonts = ReportFonts.Load(fontFolder);
        RunPaper.WritePages(output, content.Run, Title(content), content.Sheet, fonts, pages => Fill(content, fonts, pages));
    }

    private static string Title(CaliperSheetContent content) => $"Caliper sheet: {content.Run.Request.Anatomy}";

    private static void Fill(CaliperSheetContent content, ReportFonts fonts, ReportPages pages)
    {
        const float textWidth = ReportPages.Inner - CodeSide - 12;
        var top = pages.Y;
        CodeSquare.Draw(pages.Canvas, content.Code.Text, ReportPages.Margin + ReportPages.Inner - CodeSide + 8, top - 8, CodeSide);
        pages.Paragraph(Title(content), pages.Title, textWidth);
        pages.Space(4);
        pages.Facts(
            [
                ("Sheet", content.Sheet),
                ("Model id", $"{ModelWords.ModelId(content.Run)} ({content.Model})"),
                ("Side, scale", $"{ModelWords.Side(content.Run.Request.Side)}, {ReportText.Scale(ModelWords.Scale(content.Run))}"),
                ("Tolerance", $"{ReportText.Number(content.ToleranceMm, 3)} mm ({ReportText.Word(content.Run.Request.Purpose).ToLowerInvariant()})"),
            ],
            textWidth);
        pages.Y = Math.Max(pages.Y, top + CodeSide - 8);
        pages.Space(4);
        pages.Paragraph(
            "Clean the part; take supports off where the jaws lie. Lay the middle of the jaws on the marked places, turn and tilt the caliper a little until the "
            + "reading is smallest, and write millimetres with two decimals. Read every distance twice, the second time after all others. A bar on the pictures is "
            + "a jaw; a ring is a place on the far side.", pages.Body);
        pages.Space(8);
        using var row = new TextStyle(fonts.Bold, 11.5f, new SKColor(0x1A, 0x1A, 0x1A));
        pages.Table(
            ["Distance", "Along", "Jaws at least", "Reading 1 (mm)", "Reading 2 (mm)", "Remark"], [0.11f, 0.09f, 0.14f, 0.2f, 0.2f, 0.26f],
            content.Lines.Select(l => (IReadOnlyList<Cell>)[
                new(l.Name, row), new(l.Axis, pages.Body), new($"{ReportText.Number(l.JawMm, 0)} mm", pages.Body), new("", row), new("", row), new("", row)]));
        pages.Space(10);
        pages.Facts([("Caliper (code)", "........................................"), ("Calibrated until", "........................................")]);
        pages.Space(6);
        pages.SignatureBox(new("Measured", "I took these readings on the part with the model id above, with a calibrated caliper, before I knew what the model measures."));
        pages.Section("Where", 200);
        pages.Pictures(content.Pictures);
    }
}
