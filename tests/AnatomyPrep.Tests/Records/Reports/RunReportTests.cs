using System.Text;
using System.Text.RegularExpressions;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Reports;
using AnatomyPrep.Records.Statements;
using SkiaSharp;

namespace AnatomyPrep.Tests.Records.Reports;

public sealed class RunReportTests
{
    private static readonly RunCode s_code = new(SampleRun.Facts().RunId, SampleRun.Sha256("files"));

    /// <summary>Long texts, many findings and steps, a word that fits no line, other scripts.</summary>
    private static readonly ReportContent s_long = Long();

    [Fact]
    [Trait("Kind", "Same")]
    public void The_same_content_gives_the_same_bytes()
    {
        var first = Pdf(s_long);
        Pdf(s_long).Should().Equal(first);
        Pdf(s_long with { Run = s_long.Run with { FinishedAt = SampleRun.Start.AddDays(1) } }).Should().NotEqual(first);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void The_warning_stands_at_the_top_and_the_bottom_of_every_page(bool isLong)
    {
        using var folder = new TestFolder();
        var content = isLong ? s_long : Short();
        File.WriteAllBytes(folder["report.pdf"], Pdf(content));
        var pages = Pages(folder);
        pages.Should().HaveCountGreaterThan(isLong ? 5 : 1);
        for (var i = 0; i < pages.Count; i++)
        {
            Regex.Count(pages[i], Regex.Escape(EducationAndPlanning.Warning)).Should().Be(2, "on page {0}", i + 1);
            pages[i].Should().Contain($"Page {i + 1} of {pages.Count}").And.Contain(content.Run.RunId);
        }
    }

    [Fact]
    public void The_code_leads_to_the_run()
    {
        using var folder = new TestFolder();
        File.WriteAllBytes(folder["report.pdf"], Pdf(Short()));
        Tool.Run(folder.Path, "pdftoppm", "-r", "110", "-f", "1", "-l", "1", "-png", "report.pdf", "page").ExitCode.Should().Be(0);
        Tool.Run(folder.Path, "zbarimg", "-q", "--raw", Directory.GetFiles(folder.Path, "page*.png").Single())
            .Output.Split('\n')[0].Should().Be($"anatomyprep-run:{SampleRun.Facts().RunId}:{SampleRun.Sha256("files")}");
    }

    [Fact]
    public void Every_fact_a_reader_needs_is_there()
    {
        using var folder = new TestFolder();
        File.WriteAllBytes(folder["report.pdf"], Pdf(Short()));
        var text = Squeezed(string.Join(' ', Pages(folder)));
        var facts = SampleRun.Facts();
        string[] expected =
        [
            "Education", "skull", "BOTH", "life size (1 : 1)", "dept-anatomy-07", "2026-03-20", "bone, version 1",
            "161 × 190 × 140.25 mm", "509,987.8 mm³", "201,234.5 mm², 500,000 triangles, 250,002 vertices", "Deviation p95 (mm)", "0.041",
            "Measured", "99.24 %", "0.76 %", "Caution", "body-cut-at-border; slice 3; at (-12.25, 40, 7.5) mm; triangles from 100, 25 of them",
            "Check that the part asked for is whole.", "-14°", "512 × 512 pixels", "-1024 to 3071 HU",
            "low (HU): 226", "volume: 510,000.3 to 509,987.8 mm³", "removed pieces: 7",
            "AnatomyPrep 0.1.0, revision 631981a", "2026-03-02T08:15:00.250Z (clock of the machine)", "SkiaSharp 4.155.0",
            "Prepared", "Reviewed", "Released", "Printed name", "Date and time", "Signature",
            "- threshold: { lowHu: 226, highHu: 3071 }", "Section, axial",
        ];
        foreach (var phrase in expected)
            text.Should().Contain(phrase);
        foreach (var hash in new[] { facts.Source.TreeSha256, facts.Plan.Sha256, facts.RunId, facts.Source.Pseudonyms!.Patient! })
            text.Should().Contain(hash);
    }

    [Fact]
    public void No_text_is_lost_however_long()
    {
        using var folder = new TestFolder();
        File.WriteAllBytes(folder["report.pdf"], Pdf(s_long));
        var text = string.Join(' ', Pages(folder));
        for (var i = 0; i < 60; i++)
            text.Should().Contain($"finding number {i} ");
        for (var i = 0; i < 900; i++)
            text.Should().Contain($"word{i}.");
        for (var i = 0; i < 200; i++)
            text.Should().Contain($"line {i} of the plan");
        text.Should().Contain("U+9AA8U+6A21U+578B");
        text.Count(c => c == 'Ж').Should().Be(70);
    }

    /// <summary>Nothing is drawn outside the frame between head and foot: rendered pages are white in the margins.</summary>
    [Fact]
    public void Nothing_runs_over_the_edge_of_a_page()
    {
        using var folder = new TestFolder();
        File.WriteAllBytes(folder["report.pdf"], Pdf(s_long));
        Tool.Run(folder.Path, "pdftoppm", "-r", "36", "-png", "report.pdf", "page").ExitCode.Should().Be(0);
        foreach (var file in Directory.GetFiles(folder.Path, "page*.png"))
        {
            using var page = SKBitmap.Decode(file);
            // Half of the 45 pt margin, at 36 dots per inch.
            var margin = 11;
            for (var y = 0; y < page.Height; y++)
            {
                for (var x = 0; x < margin; x++)
                {
                    page.GetPixel(x, y).Should().Be(SKColors.White);
                    page.GetPixel(page.Width - 1 - x, y).Should().Be(SKColors.White);
                }
            }
        }
    }

    /// <summary>
    /// Boxes of words as poppler finds them. A box is as tall as the font says, ascent to descent, 1.16 of the size for DejaVu, and lines are 1.32 apart: boxes of
    /// two lines do not touch. Half a point for rounding.
    /// </summary>
    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void No_two_words_overlap_and_none_leaves_the_page(bool isLong)
    {
        using var folder = new TestFolder();
        File.WriteAllBytes(folder["report.pdf"], Pdf(isLong ? s_long : Short()));
        var pages = WordBoxes.Of(folder.Path, "report.pdf");
        pages.Should().HaveCountGreaterThan(1);
        foreach (var words in pages)
        {
            words.Should().OnlyContain(w => w.Left >= 44.5 && w.Right <= 595.28 - 44.5 && w.Top >= 25 && w.Bottom <= 841.89 - 15);
            WordBoxes.Overlapping(words, 0.5).Should().BeEmpty();
        }
    }

    [Fact]
    public void Tolerances_check_for_printing_and_meanings_of_signatures_are_there()
    {
        using var folder = new TestFolder();
        var facts = SampleRun.Facts();
        facts = facts with
        {
            Steps =
            [
                .. facts.Steps,
                StepFacts.Of(new PlanStep("smooth", new Dictionary<string, object?>()), Stage.Shape, new StepEffect(10, 0.0125, 0.25)),
                StepFacts.Of(new PlanStep("lay", new Dictionary<string, object?>()), Stage.Prepare, new StepEffect(10, 80, 120)),
                StepFacts.Of(new PlanStep("check-print", new Dictionary<string, object?>()), Stage.Prepare, new StepEffect(Measures: new Dictionary<string, double>
                {
                    ["fitsBuildVolume"] = 1, ["wallLeastMm"] = 0.734, ["wallLimitMm"] = 1.2, ["closedVoids"] = 2, ["timeMin"] = 150, ["costEur"] = 41.4, ["layers"] = 702,
                })),
            ],
            Software = facts.Software with { Packages = [new("A.B.C", "1.0"), new("A.B.D", "1.0"), new("A.B.E", "2.0"), new("SkiaSharp", "4.155.0")] },
        };
        File.WriteAllBytes(folder["report.pdf"], Pdf(new ReportContent(facts, s_code, [])));
        var text = Squeezed(string.Join(' ', Pages(folder)));
        string[] expected =
        [
            "0.488 × 0.488 mm in the slice, 0.625 mm between slices", "Step smooth moved the surface by at most 0.25 mm, 0.0125 mm in the mean", "Deviation p95 (mm)", "The printed part not measured",
            "Fits the machine yes", "thinnest 0.73 mm", "below the 1.2 mm that the process needs", "2 closed voids", "2.5 h", "41 EUR", "702 layers",
            "A.B 1.0/2.0 (3), SkiaSharp 4.155.0", "I made this model by the plan", "I compared the outlines with the images", "release the model for the purpose", "0 that stop, 1 to accept by name before release, 1 notes",
        ];
        foreach (var phrase in expected)
            text.Should().Contain(phrase);
        text.Should().NotContain("Step lay moved");
    }

    [Fact]
    public void Landmarks_stand_as_tables_with_their_uncertainty()
    {
        using var folder = new TestFolder();
        var facts = SampleRun.Facts();
        File.WriteAllBytes(folder["report.pdf"], Pdf(new ReportContent(facts with { Measurements = facts.Measurements with { Landmarks = SampleRun.Landmarks() } }, s_code, [])));
        var text = Squeezed(string.Join(' ', Pages(folder)));
        string[] expected =
        [
            "Landmarks (5), distances and angles", "left to right 100.00 mm 99.90 mm -0.10 mm 0.41 mm 0.204, 0.000, 0.001 mm", "left, top, right 90.00° 89.94° -0.06° 1.04° 0.117, 0.000, 0.507°",
            "left 50.00, 0.00, 0.00 49.90, 0.00, 0.00 0.10 mm", "lost none; nearest 50.0 mm off none; nearest 50.0 mm off -", "left, right, top, front stand the OTHER way round on the model: it is a MIRROR IMAGE.",
            "thickness of 1.25 mm", "A difference over 0.5 mm and U is a finding.",
        ];
        foreach (var phrase in expected)
            text.Should().Contain(phrase);
        WordBoxes.Of(folder.Path, "report.pdf").Should().OnlyContain(words => WordBoxes.Overlapping(words, 0.5).Count == 0);
        File.WriteAllBytes(folder["report.pdf"], Pdf(Short()));
        string.Join(' ', Pages(folder)).Should().NotContain("Landmarks");
    }

    [Fact]
    public void What_changes_the_meaning_of_the_model_stands_on_the_first_page()
    {
        using var folder = new TestFolder();
        var facts = SampleRun.Facts();
        facts = facts with
        {
            Request = facts.Request with { Scale = 0.5 },
            Steps =
            [
                StepFacts.Of(new PlanStep("mirror", new Dictionary<string, object?>()), Stage.Shape, StepEffect.None),
                StepFacts.Of(new PlanStep("scale", new Dictionary<string, object?>()), Stage.Shape, new StepEffect(Measures: new Dictionary<string, double> { ["factor"] = 0.5 })),
            ],
            Measurements = facts.Measurements with { Mesh = facts.Measurements.Mesh with { Solid = false } },
        };
        File.WriteAllBytes(folder["report.pdf"], Pdf(new ReportContent(facts, s_code, [])));
        Pages(folder)[0].Should().Contain("MIRRORED").And.Contain("NOT LIFE SIZE: 0.25 of life size").And.Contain("NOT SOLID");
        File.WriteAllBytes(folder["report.pdf"], Pdf(Short()));
        Pages(folder)[0].Should().NotContain("MIRRORED").And.NotContain("NOT LIFE SIZE").And.NotContain("NOT SOLID");
    }

    [Fact]
    public void Stops_come_before_cautions_and_cautions_before_notes()
    {
        using var folder = new TestFolder();
        var facts = SampleRun.Facts() with
        {
            Findings = [.. new[] { Severity.Note, Severity.Stop, Severity.Caution }.Select(s => new Finding($"code-{s}", s, "m", "r"))],
        };
        File.WriteAllBytes(folder["report.pdf"], Pdf(new ReportContent(facts, s_code, [])));
        var text = Pages(folder)[0];
        new[] { "code-Stop", "code-Caution", "code-Note" }.Select(c => text.IndexOf(c, StringComparison.Ordinal)).Should().BeInAscendingOrder().And.NotContain(-1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_missing_font_and_a_broken_picture_are_named()
    {
        using var folder = new TestFolder();
        var font = () => RunReport.Write(Stream.Null, Short(), folder.Path);
        font.Should().Throw<BadInputException>().Which.Remedy.Should().Contain("fonts-dejavu-core");
        var picture = () => Pdf(new ReportContent(SampleRun.Facts(), s_code, [new ReportPicture("Preview", [1, 2, 3])]));
        picture.Should().Throw<BadInputException>().Which.Value.Should().Contain("PNG");
    }

    internal static byte[] Pdf(ReportContent content)
    {
        using var output = new MemoryStream();
        RunReport.Write(output, content);
        return output.ToArray();
    }

    private static ReportContent Short() => new(
        SampleRun.Facts(),
        s_code,
        [
            new ReportPicture("Preview from the front, with a scale bar of 20 mm", Png(1200, 900), IsLarge: true),
            new ReportPicture("Section, axial, slice 2", Png(512, 512)),
            new ReportPicture("Section, coronal", Png(512, 200)),
            new ReportPicture("Section, sagittal", Png(100, 700)),
        ]);

    private static ReportContent Long()
    {
        var facts = SampleRun.Facts();
        var words = string.Join(' ', Enumerable.Range(0, 900).Select(i => $"word{i}."));
        return Short() with
        {
            Run = facts with
            {
                Findings =
                [
                    .. Enumerable.Range(0, 60).Select(i => new Finding(
                        FindingCodes.SliceMissing,
                        (Severity)(i % 3),
                        $"This is finding number {i} of many, with a text that needs more than one line to be said in full, as some do.",
                        "Look at the place, compare with the images, and decide.",
                        new Place(Slice: i))),
                    new Finding(FindingCodes.Padding, Severity.Note, words, new string('Ж', 70)),
                ],
                Request = facts.Request with { Anatomy = "骨模型 of a very long name that does not fit beside the code on the first page, nor on two lines, nor in the head of a page, where it is cut short" },
                Plan = facts.Plan with { Text = string.Concat(Enumerable.Range(0, 200).Select(i => $"  - line {i} of the plan\n")) },
            },
        };
    }

    private static byte[] Png(int width, int height)
    {
        using var bitmap = new SKBitmap(width, height);
        using var canvas = new SKCanvas(bitmap);
        canvas.Clear(new SKColor(30, 40, 60));
        using var paint = new SKPaint { Color = SKColors.OrangeRed, Style = SKPaintStyle.Stroke, StrokeWidth = 4 };
        canvas.DrawOval(width / 2f, height / 2f, width / 3f, height / 3f, paint);
        canvas.DrawLine(0, 0, width, height, paint);
        using var data = bitmap.Encode(SKEncodedImageFormat.Png, 100);
        return data.ToArray();
    }

    private static List<string> Pages(TestFolder folder)
    {
        var result = Tool.Run(folder.Path, "pdftotext", "-layout", "report.pdf", "-");
        result.ExitCode.Should().Be(0);
        return [.. result.Output.Split('\f', StringSplitOptions.RemoveEmptyEntries)];
    }

    private static string Squeezed(string text) => Regex.Replace(text, @"\s+", " ");
}
