using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>A PDF about a run, dated by it, so that the same content gives the same bytes.</summary>
internal static class RunPaper
{
    /// <summary>Writes the PDF. The stream need not be seekable and stays open.</summary>
    /// <param name="keywords">The code that the paper carries.</param>
    public static void Write(Stream output, RunFacts run, string title, string keywords, Action<SKDocument> draw)
    {
        var made = run.FinishedAt.UtcDateTime;
        using var document = SKDocument.CreatePdf(output, new SKDocumentPdfMetadata
        {
            Title = title,
            Subject = EducationAndPlanning.Warning,
            Creator = $"{run.Software.Name} {run.Software.Version}",
            Keywords = keywords,
            Creation = made,
            Modified = made,
            RasterDpi = 300,
            EncodingQuality = 101,
        });
        draw(document);
        document.Close();
    }

    /// <summary>The same on pages that say how many there are: a first pass counts them on a canvas that draws nothing.</summary>
    /// <exception cref="BadInputException">A picture cannot be decoded.</exception>
    public static void WritePages(Stream output, RunFacts run, string title, string keywords, ReportFonts fonts, Action<ReportPages> fill)
    {
        using var nothing = new SKNoDrawCanvas((int)ReportPages.Width, (int)ReportPages.Height);
        var pageCount = Pass(() => nothing, () => { }, 0);
        Write(output, run, title, keywords, document => Pass(() => document.BeginPage(ReportPages.Width, ReportPages.Height), document.EndPage, pageCount));

        int Pass(Func<SKCanvas> beginPage, Action endPage, int count)
        {
            using var pages = new ReportPages(beginPage, endPage, fonts, title, run.RunId, count);
            fill(pages);
            pages.End();
            return pages.Page;
        }
    }
}
