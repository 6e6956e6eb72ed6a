using System.Text.RegularExpressions;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Reports;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Reports;

public sealed class CaliperSheetTests
{
    [Theory]
    [InlineData(3)]
    [InlineData(60)]
    public void Every_page_has_the_warning_and_every_distance_stands_once(int perAxis)
    {
        using var folder = new TestFolder();
        var content = Content(perAxis);
        File.WriteAllBytes(folder["sheet.pdf"], Pdf(content));
        var pages = Tool.Run(folder.Path, "pdftotext", "-layout", "sheet.pdf", "-").Output.TrimEnd('\f').Split('\f');
        pages.Should().HaveCountGreaterThan(perAxis > 9 ? 2 : 0);
        for (var i = 0; i < pages.Length; i++)
        {
            Regex.Count(pages[i], Regex.Escape(EducationAndPlanning.Warning)).Should().Be(2, "on page {0}", i + 1);
            pages[i].Should().Contain($"Page {i + 1} of {pages.Length}").And.Contain(content.Run.RunId);
        }

        var text = string.Join('\n', pages);
        foreach (var line in content.Lines)
            Regex.Count(text, $@"\b{line.Name}\b").Should().Be(1, "of {0}", line.Name);
        text.Should().Contain(content.Sheet);
        foreach (var page in WordBoxes.Of(folder.Path, "sheet.pdf"))
            WordBoxes.Overlapping(page, 0.5).Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void The_same_content_gives_the_same_bytes() => Pdf(Content(3)).Should().Equal(Pdf(Content(3)));

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_picture_that_is_none_and_a_missing_font_are_named()
    {
        using var folder = new TestFolder();
        var broken = Content(1) with { Pictures = [new("Along x: X1", [1, 2, 3], true)] };
        FluentActions.Invoking(() => Pdf(broken)).Should().Throw<BadInputException>().Which.Value.Should().Be("not a readable PNG");
        FluentActions.Invoking(() => CaliperSheet.Write(Stream.Null, Content(1), folder.Path)).Should().Throw<BadInputException>().Which.Remedy.Should().Contain("fonts-dejavu-core");
    }

    private static CaliperSheetContent Content(int perAxis)
    {
        var facts = SampleRun.Facts();
        return new(
            facts, new(facts.RunId, SampleRun.Sha256("files")), "3-0123456789ab", "model.stl", 1,
            [.. from axis in (string[])["x", "y", "z"] from n in Enumerable.Range(1, perAxis) select new CaliperLine($"{axis.ToUpperInvariant()}{n}", axis, 40)], []);
    }

    private static byte[] Pdf(CaliperSheetContent content)
    {
        using var output = new MemoryStream();
        CaliperSheet.Write(output, content);
        return output.ToArray();
    }
}
