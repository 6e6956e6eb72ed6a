using System.Text.RegularExpressions;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Reports;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Reports;

public sealed class LabelSheetTests
{
    private static readonly RunCode s_code = new(SampleRun.Facts().RunId, SampleRun.Sha256("files"));

    [Fact]
    public void Eight_labels_with_what_must_not_get_lost()
    {
        using var folder = new TestFolder();
        var text = Text(folder, SampleRun.Facts());
        foreach (var phrase in new[] { "skull", "L\\+R", "BOTH", "1 ?: ?1", "2026-03-02", "For education and planning only" })
            Regex.Count(text, phrase).Should().Be(8, "of {0}", phrase);
        Regex.Count(text, $"{s_code.RunId[..4]} {s_code.RunId[4..8]} {s_code.RunId[8..12]}").Should().Be(8);
        var words = WordBoxes.Of(folder.Path, "label.pdf").Should().ContainSingle().Subject;
        WordBoxes.Overlapping(words, 0.5).Should().BeEmpty();
    }

    /// <summary>zbarimg (ZBar) reads every square of the printed page, at the 150 dots per inch of a plain office printer's draft.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Every_code_is_read_back_and_is_that_of_the_report()
    {
        using var folder = new TestFolder();
        Text(folder, SampleRun.Facts());
        Tool.Run(folder.Path, "pdftoppm", "-r", "150", "-png", "label.pdf", "page").ExitCode.Should().Be(0);
        Tool.Run(folder.Path, "zbarimg", "-q", "--raw", Directory.GetFiles(folder.Path, "page*.png").Single())
            .Output.Split('\n').Where(line => line.StartsWith(RunCode.Prefix, StringComparison.Ordinal)).Should().HaveCount(8).And.OnlyContain(line => line == s_code.Text);
    }

    [Theory]
    [InlineData(Side.Left, "L", "LEFT")]
    [InlineData(Side.Right, "R", "RIGHT")]
    [InlineData(Side.Midline, "M", "MIDLINE")]
    [InlineData(null, "-", "no side")]
    public void The_side_stands_in_large_letters(Side? side, string letters, string word)
    {
        using var folder = new TestFolder();
        var facts = SampleRun.Facts();
        Text(folder, facts with { Request = facts.Request with { Side = side } }).Should().Contain(word);
        var box = WordBoxes.Of(folder.Path, "label.pdf")[0].First(w => w.Text == letters);
        (box.Bottom - box.Top).Should().BeGreaterThan(60, "of a letter to be read across a table, in points");
    }

    [Fact]
    public void What_changes_the_meaning_and_each_structure_have_their_words()
    {
        using var folder = new TestFolder();
        var facts = SampleRun.Facts();
        facts = facts with
        {
            Steps =
            [
                StepFacts.Of(new PlanStep("mirror", new Dictionary<string, object?>()), Stage.Shape, StepEffect.None),
                StepFacts.Of(new PlanStep("scale", new Dictionary<string, object?>()), Stage.Shape, new StepEffect(Measures: new Dictionary<string, double> { ["factor"] = 0.5 })),
            ],
            Structures = [.. Enumerable.Range(1, 9).Select(i => new StructureFacts($"Bone number {i} of the set, with a name that is longer than a label is wide, and then some more words that nobody needs", "#808080", [], facts.Measurements, 0, i % 2 == 0 ? Side.Left : Side.Right))],
        };
        var text = Text(folder, facts);
        Regex.Count(text, "MIRRORED").Should().Be(16, "ten labels fill two pages");
        Regex.Count(text, "NOT LIFE SIZE").Should().Be(16);
        text.Should().Contain("0.5 : 1").And.Contain("…");
        for (var i = 1; i <= 9; i++)
            text.Should().Contain($"Bone number {i} ");
        foreach (var page in WordBoxes.Of(folder.Path, "label.pdf"))
            WordBoxes.Overlapping(page, 0.5).Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void The_same_content_gives_the_same_bytes() => Pdf(SampleRun.Facts()).Should().Equal(Pdf(SampleRun.Facts()));

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_missing_font_is_named()
    {
        using var folder = new TestFolder();
        FluentActions.Invoking(() => LabelSheet.Write(Stream.Null, SampleRun.Facts(), s_code, folder.Path)).Should().Throw<BadInputException>().Which.Remedy.Should().Contain("fonts-dejavu-core");
    }

    private static byte[] Pdf(RunFacts facts)
    {
        using var output = new MemoryStream();
        LabelSheet.Write(output, facts, s_code);
        return output.ToArray();
    }

    private static string Text(TestFolder folder, RunFacts facts)
    {
        File.WriteAllBytes(folder["label.pdf"], Pdf(facts));
        return Tool.Run(folder.Path, "pdftotext", "-layout", "label.pdf", "-").Output;
    }
}
