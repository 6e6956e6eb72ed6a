using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Several acquisitions or reconstructions in one series are told apart and explained, and never chosen silently.</summary>
public sealed class StackSplitTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(Tag.AcquisitionNumber, "IS", "1", "2", "Acquisition Number (0020,0012) 1", "Acquisition Number (0020,0012) 2")]
    [InlineData(Tag.TemporalPosition, "IS", "1", "2", "Temporal Position Identifier (0020,0100) 1", "Temporal Position Identifier (0020,0100) 2")]
    [InlineData(Tag.ConvolutionKernel, "SH", "SOFT", "SHARP", "Convolution Kernel (0018,1210) SOFT", "Convolution Kernel (0018,1210) SHARP")]
    [InlineData(Tag.SliceThickness, "DS", "1", "1.5", "Slice Thickness (0018,0050) 1", "Slice Thickness (0018,0050) 1.5")]
    [InlineData(Tag.ImageType, "CS", "ORIGINAL\\PRIMARY\\AXIAL", "DERIVED\\SECONDARY\\AXIAL", "its own Image Type (0008,0008)", "its own Image Type (0008,0008)")]
    [InlineData(Tag.AcquisitionTime, "TM", "101500", "101730", "its own Acquisition Time (0008,0032)", "its own Acquisition Time (0008,0032)")]
    public void Stacks_in_one_place_are_told_apart_by_the_attribute_that_differs(uint tag, string vr, string first, string second, string saidFirst, string saidSecond)
    {
        Write(0, 6, 0, (_, ct) => ct.With(tag, vr, first));
        Write(20, 6, 0, (_, ct) => ct.With(tag, vr, second));
        var listing = TestReader.Source.Inspect(_folder.Path, RunContext.Default);
        listing.Series.Select(s => (s.Selector, s.Slices, s.ToldApartBy)).Should().Equal(("1.2.3.4.2#1", 6, saidFirst), ("1.2.3.4.2#2", 6, saidSecond));
        listing.Series.Should().AllSatisfy(s => s.Findings.Should().ContainSingle(f => f.Code == FindingCodes.SeriesSplit && f.Severity == Severity.Note));
        listing.Suggested.Should().NotBeNull();
        FluentActions.Invoking(() => TestReader.Source.Load(_folder.Path, null, RunContext.Default)).Should().Throw<SeveralSeriesException>().Which.Series.Should().HaveCount(2);
        using var chosen = TestReader.Source.Load(_folder.Path, "1.2.3.4.2#2", RunContext.Default);
        // Stored 1000 + index + 100 x (number mod 10); numbers of the second stack begin at 20.
        chosen.Volume[0, 0, 3].Should().Be(1300 - 1024);
        chosen.Files[0].Name.Should().Be("n20.dcm");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Stacks_between_each_others_slices_are_told_apart_too()
    {
        // Half a step off: every position is there once, and the mixture would look like an even series of half the step.
        Write(0, 6, 0, (_, ct) => ct.With(Tag.AcquisitionNumber, "IS", "4"));
        Write(20, 6, 0.5, (_, ct) => ct.With(Tag.AcquisitionNumber, "IS", "5"));
        TestReader.Source.Inspect(_folder.Path, RunContext.Default).Series.Select(s => s.Slices).Should().Equal(6, 6);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Rotations_and_blocks_that_follow_each_other_stay_one_volume()
    {
        // A number for each rotation of three slices, then a block of another thickness.
        Write(0, 9, 0, (k, ct) => ct.With(Tag.AcquisitionNumber, "IS", (k / 3).ToString(CultureInfo.InvariantCulture)).With(Tag.SliceThickness, "DS", k < 6 ? "1" : "1.2"));
        var series = TestReader.Source.Inspect(_folder.Path, RunContext.Default).Series.Should().ContainSingle().Subject;
        series.Slices.Should().Be(9);
        series.ToldApartBy.Should().BeNull();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Repeats_without_an_attribute_are_parted_by_number_and_called_a_guess()
    {
        Write(0, 5, 0);
        Write(30, 5, 0);
        var listing = TestReader.Source.Inspect(_folder.Path, RunContext.Default);
        listing.Series.Should().HaveCount(2);
        listing.Series[1].Findings.Should().ContainSingle(f => f.Code == FindingCodes.SeriesSplit && f.Severity == Severity.Caution)
            .Which.Message.Should().Contain("number 2 of 2 images at every position");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_single_repeated_position_is_still_a_stop()
    {
        Write(0, 5, 0);
        Write(30, 1, 2);
        TestReader.Source.Inspect(_folder.Path, RunContext.Default).Series.Single().Findings.Should().Contain(f => f.Code == FindingCodes.SamePosition && f.Severity == Severity.Stop);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Three_acquisitions_of_two_kernels_are_six_stacks()
    {
        for (var a = 0; a < 3; a++)
            for (var r = 0; r < 2; r++)
                Write((a * 20) + (r * 10), 4, 0, (_, ct) => ct.With(Tag.AcquisitionNumber, "IS", $"{a}").With(Tag.ConvolutionKernel, "SH", $"K{r}"));
        var listing = TestReader.Source.Inspect(_folder.Path, RunContext.Default);
        listing.Series.Should().HaveCount(6);
        listing.Series[3].ToldApartBy.Should().Be("Acquisition Number (0020,0012) 1; Convolution Kernel (0018,1210) K1");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_thinner_of_two_reconstructions_is_suggested_with_the_reason()
    {
        Write(0, 12, 0, (_, ct) => ct.With(Tag.SliceThickness, "DS", "1"));
        for (var k = 0; k < 5; k++)
            TestCt.Slice(40 + k, 2.5 * k).With(Tag.SeriesInstanceUid, "UI", "1.2.3.4.1").With(Tag.SliceThickness, "DS", "2.5").Save(_folder[$"thick{k}.dcm"]);
        var listing = TestReader.Source.Inspect(_folder.Path, RunContext.Default);
        listing.Suggested!.Selector.Should().Be("1.2.3.4.2");
        listing.Suggested.Reason.Should().StartWith("it is thinner (1 mm, ");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_short_stretch_or_a_lossy_series_is_not_suggested_for_being_thin()
    {
        Write(0, 12, 0);
        for (var k = 0; k < 3; k++)
            TestCt.Slice(40 + k, 0.5 * k).With(Tag.SeriesInstanceUid, "UI", "1.2.3.4.1").Save(_folder[$"short{k}.dcm"]);
        for (var k = 0; k < 24; k++)
            TestCt.Slice(50 + k, 0.5 * k).With(Tag.SeriesInstanceUid, "UI", "1.2.3.4.3").With(Tag.LossyCompression, "CS", "01").Save(_folder[$"lossy{k}.dcm"]);
        var suggested = TestReader.Source.Inspect(_folder.Path, RunContext.Default).Suggested!;
        suggested.Selector.Should().Be("1.2.3.4.2");
        suggested.Reason.Should().StartWith("it covers most of the scanned stretch; it is not compressed with loss");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void One_series_needs_no_suggestion()
    {
        Write(0, 4, 0);
        TestReader.Source.Inspect(_folder.Path, RunContext.Default).Suggested.Should().BeNull();
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Names_change_neither_stacks_nor_their_order()
    {
        Write(0, 4, 0, (_, ct) => ct.With(Tag.AcquisitionTime, "TM", "101500"));
        Write(20, 4, 0, (_, ct) => ct.With(Tag.AcquisitionTime, "TM", "101730"));
        using var other = new TestFolder();
        var n = 0;
        foreach (var file in Directory.GetFiles(_folder.Path).OrderDescending(StringComparer.Ordinal))
            File.Copy(file, other[FormattableString.Invariant($"x{n++}")]);
        using var first = TestReader.Source.Load(_folder.Path, "1.2.3.4.2#2", RunContext.Default);
        using var second = TestReader.Source.Load(other.Path, "1.2.3.4.2#2", RunContext.Default);
        second.Files.Select(f => f.Sha256).Should().Equal(first.Files.Select(f => f.Sha256));
    }

    private void Write(int first, int slices, double from, Func<int, TestCt, TestCt>? change = null)
    {
        for (var k = 0; k < slices; k++)
            (change ?? ((_, ct) => ct))(k, TestCt.Slice(first + k, from + k)).Save(_folder[FormattableString.Invariant($"n{first + k}.dcm")]);
    }
}
