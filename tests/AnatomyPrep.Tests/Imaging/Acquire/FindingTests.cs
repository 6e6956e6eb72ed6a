using System.Text.RegularExpressions;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Codes that no other test provokes, and that every code is explained.</summary>
public sealed partial class FindingTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_slice_beside_the_line_is_named_with_its_distance()
    {
        var finding = Find(FindingCodes.SlicesOffLine, 5, (k, ct) => k == 2 ? ct.With(Tag.ImagePosition, "DS", "1\\-3\\2") : ct);
        finding.Severity.Should().Be(Severity.Caution);
        finding.Message.Should().Be("s002.dcm: Image Position (Patient) (0020,0032): 5.000 mm beside the line through the first and the last slice.");
        finding.Place!.Slice.Should().Be(2);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Surplus_pixel_bytes_are_left_out_and_counted() =>
        Find(FindingCodes.PixelDataLong, 3, (k, ct) => k == 1 ? ct.WithPixels(new ushort[50]) : ct)
            .Message.Should().Be("s001.dcm: Pixel Data (7FE0,0010): 4 bytes more than rows x columns need; left out.");

    [Fact]
    [Trait("Kind", "Truth")]
    public void Bits_outside_the_stored_ones_are_ignored_and_counted() =>
        Find(FindingCodes.UnusedBits, 2, (_, ct) => ct.WithPixels([0xF123, 0x1123, .. new ushort[46]]))
            .Message.Should().Contain("4 samples");

    [Fact]
    [Trait("Kind", "Truth")]
    public void Position_text_with_one_decimal_is_only_a_note()
    {
        double[] z = [0, 0.6, 1.3, 1.9, 2.5];
        Find(FindingCodes.UnevenSpacing, 5, (k, ct) => ct.With(Tag.ImagePosition, "DS", FormattableString.Invariant($"-4\\-3\\{z[k]}"))).Severity.Should().Be(Severity.Note);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(1.25, null, "")]
    [InlineData(1.5, Severity.Note, "0.5 to 1.25")]
    [InlineData(2.0, Severity.Note, "0.5 to 1.25")]
    [InlineData(2.5, Severity.Caution, "Ask for a thinner")]
    [InlineData(3.0, Severity.Caution, "Ask for a thinner")]
    [InlineData(5.0, Severity.Caution, "Do not use it for planning")]
    public void Thickness_has_its_bands(double thicknessMm, Severity? severity, string remedy)
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3, (k, ct) => ct.With(Tag.SliceThickness, "DS", thicknessMm.ToString(System.Globalization.CultureInfo.InvariantCulture)));
        var found = TestReader.Source.Inspect(folder.Path, RunContext.Default).Series.Single().Findings.SingleOrDefault(f => f.Code == FindingCodes.ThickSlices);
        found?.Severity.Should().Be(severity);
        (found is null).Should().Be(severity is null);
        (found?.Remedy ?? "").Contains(remedy, StringComparison.Ordinal).Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_series_that_turns_from_slice_to_slice_is_refused()
    {
        string[] turned = ["1\\0\\0\\0\\1\\0", "0\\1\\0\\-1\\0\\0", "-1\\0\\0\\0\\-1\\0"];
        Find(FindingCodes.MixedOrientations, 3, (k, ct) => ct.With(Tag.ImageOrientation, "DS", turned[k])).Severity.Should().Be(Severity.Stop);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_data_set_without_file_meta_information_is_a_note()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3, (_, ct) => ct.Without(Tag.ImageType));
        var whole = File.ReadAllBytes(folder["s001.dcm"]);
        File.WriteAllBytes(folder["s001.dcm"], whole[whole.AsSpan().IndexOf<byte>([0x08, 0x00, 0x16, 0x00])..]);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Facts.Findings.Should().ContainSingle(f => f.Code == FindingCodes.FileMetaMissing).Which.Message.Should().StartWith("s001.dcm: ");
        series.Volume[3, 0, 1].Should().Be(1103 - 1024);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_file_that_changed_since_its_header_was_read_is_refused()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 1);
        using var reader = new ReaderProcess(TestReader.Command, ReaderLimits.Default, 10_000);
        var scan = reader.Run(ReaderTask.Scan, [new ReaderItem(0, folder["s000.dcm"])], null, "test", RunContext.Default)[0];
        ReaderReply Decode() => reader.Run(ReaderTask.Decode, [new ReaderItem(0, folder["s000.dcm"], scan.Digest, [-1])], null, "test", RunContext.Default)[0];
        Decode().Fault.Should().BeNull();
        TestCt.Slice(0, 0.5).Save(folder["s000.dcm"]);
        Decode().Fault!.Code.Should().Be(FindingCodes.FileChanged);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Every_code_that_acquire_uses_is_explained()
    {
        var text = File.ReadAllText(Path.Combine(Repository.Root, "docs", "formats", "findings.md"));
        var used = Directory.GetFiles(Path.Combine(Repository.Root, "src", "AnatomyPrep.Imaging", "Acquire"), "*.cs", SearchOption.AllDirectories)
            .SelectMany(f => CodeName().Matches(File.ReadAllText(f)).Select(m => m.Groups[1].Value)).Distinct().ToArray();
        used.Should().HaveCountGreaterThan(30);
        used.Select(name => (string)typeof(FindingCodes).GetField(name)!.GetRawConstantValue()!).Should().AllSatisfy(code => text.Should().Contain($"`{code}`"));
    }

    private static Finding Find(string code, int slices, Func<int, TestCt, TestCt> change)
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, slices, change);
        return TestReader.Source.Inspect(folder.Path, RunContext.Default).Series.Single().Findings.Should().ContainSingle(f => f.Code == code).Subject;
    }

    [GeneratedRegex(@"FindingCodes\.(\w+)")]
    private static partial Regex CodeName();
}
