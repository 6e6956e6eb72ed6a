using System.Runtime.InteropServices;
using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Whole series through the real child process.</summary>
public sealed class DicomSourceTests
{
    /// <summary>
    /// Sizes, spacings, tilt and HU ranges as pydicom 2.3.1 reads them, samples at or above a level as numpy counts
    /// them (both published with the data). Spacing along the normal: 2.3708 and 4.0019 are 2.5 and 4.22 mm of table times
    /// cos 18.5 degrees.
    /// </summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("head-phantom-1mm", 140, 0.451171875, 1.0, 0.0, -1024, 1033, "LPS", "HFS", 300, 2068719)]
    [InlineData("head-phantom-1mm", 140, 0.451171875, 1.0, 0.0, -1024, 1033, "LPS", "HFS", -300, 3912446)]
    [InlineData("head-phantom-tilt-minus", 54, 0.482421875, 2.3708, 18.5, -1024, 793, "LPS", "HFS", 300, 619066)]
    [InlineData("head-human-tilt-uneven", 28, 0.4882812, 4.0019, 18.5, -1500, 2121, "LPS", "HFS", 300, 449558)]
    [InlineData("head-human-tilt-uneven", 28, 0.4882812, 4.0019, 18.5, -1500, 2121, "LPS", "HFS", -300, 2783012)]
    [InlineData("chest-human-1mm-overlap", 56, 0.759765625, 1.0, 0.0, -1024, 3071, "LPS", "HFS", 300, 287414)]
    [InlineData("chest-human-1mm-overlap", 56, 0.759765625, 1.0, 0.0, -1024, 3071, "LPS", "HFS", -300, 5579408)]
    [InlineData("body-human-feet-first-padding", 3, 0.810547, 1.0, 0.0, -3024, 1381, "LPS", "FFS", null, 0)]
    [InlineData("geometry-tilt-14", 4, 0.41796875, 4.8515, 14.0, -1024, -770, "LPS", "HFS", null, 0)]
    public void Series_reads_as_the_reference_reads_it(
        string name, int slices, double pixelMm, double stepMm, double tiltDeg, int minHu, int maxHu, string axes, string position, int? levelHu, long atOrAbove)
    {
        using var series = TestReader.Source.Load(SharedData.Series(name), null, RunContext.Default);
        var (volume, facts) = (series.Volume, series.Facts);
        (volume.Columns, volume.Rows, volume.Slices).Should().Be((512, 512, slices));
        facts.PixelSpacingMm.Should().Equal(pixelMm, pixelMm);
        // Reference figures carry four decimals.
        facts.SliceSpacingMm.Should().BeApproximately(stepMm, 5e-5);
        facts.SpacingMm![2].Should().Be(facts.SliceSpacingMm);
        facts.TiltDeg.Should().BeApproximately(tiltDeg, 5e-4);
        (facts.MinHu, facts.MaxHu).Should().Be(((short)minHu, (short)maxHu));
        facts.Orientation!.Axes.Should().Be(axes);
        facts.PatientPosition.Should().Be(position);
        volume.Map.IsRightHanded.Should().BeTrue();
        series.Files.Should().HaveCount(slices);
        if (levelHu is { } level)
            CountAtOrAbove(volume, level).Should().Be(atOrAbove);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Tilt_of_the_published_series_is_14_degrees_to_three_decimals()
    {
        // Source: the series' publisher; cosines of 14 degrees to 12 digits, table along z.
        var facts = TestReader.Source.Inspect(SharedData.Series("geometry-tilt-14"), RunContext.Default).Series.Should().ContainSingle().Subject;
        facts.TiltDeg!.Value.ToString("F3", System.Globalization.CultureInfo.InvariantCulture).Should().Be("14.000");
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Uneven_protocol_loads_with_a_caution_and_every_slice_at_its_own_place()
    {
        using var series = TestReader.Source.Load(SharedData.Series("head-human-tilt-uneven"), null, RunContext.Default);
        var steps = series.Facts.SliceSpacingsMm;
        // 14 slices of 4 mm, a joint, 14 slices of 7 mm; published: 1.08 to 7.00 mm along the normal.
        steps.Take(13).Should().AllSatisfy(s => s.Should().BeApproximately(4.0019, 5e-5));
        steps[13].Should().BeApproximately(1.08, 5e-3);
        steps.Skip(14).Should().AllSatisfy(s => s.Should().BeApproximately(7.00, 5e-3));
        series.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.UnevenSpacing && f.Severity == Severity.Caution && f.Message.Contains("1.081 to 6.999 mm") && f.Message.Contains("0014.dcm"));
        series.Facts.Findings.Should().NotContain(f => f.Severity == Severity.Stop);
        // First and last origin as the files say.
        var origins = series.Volume.Map.SliceOriginsMm;
        origins[0].Should().Be(new AnatomyPrep.Core.Geometry.Vec3(-125, -123.5404569, 5.8360586));
        origins[^1].Should().Be(new AnatomyPrep.Core.Geometry.Vec3(-125, -123.5404569, 157.7760586));
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Overlapping_slices_keep_their_position_spacing_and_clipped_metal_is_counted()
    {
        using var series = TestReader.Source.Load(SharedData.Series("chest-human-1mm-overlap"), null, RunContext.Default);
        series.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.SlicesOverlap && f.Message.Contains("2.000 mm thick every 1.000 mm"));
        // Published with the data: 34 samples at 3071 HU.
        series.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.HuClipped && f.Message.Contains("34 samples stand at 3071 HU"));
        series.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.ThickSlices && f.Severity == Severity.Note);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Padding_keeps_its_value_and_is_named()
    {
        using var series = TestReader.Source.Load(SharedData.Series("body-human-feet-first-padding"), null, RunContext.Default);
        var padding = series.Facts.Findings.Single(f => f.Code == FindingCodes.Padding);
        padding.Severity.Should().Be(Severity.Note);
        padding.Message.Should().Contain("-3024 HU").And.Contain(FormattableString.Invariant($"{Count(series.Volume, -3024)} samples"));
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Mixed_folder_gives_one_series_and_a_reason_for_every_other_file()
    {
        var listing = TestReader.Source.Inspect(SharedData.Series("mixed-folder"), RunContext.Default);
        listing.Series.Should().ContainSingle().Which.Slices.Should().Be(12);
        listing.Others.Should().HaveCount(7);
        listing.Others.Single(o => o.Name == "A1.dcm").Code.Should().Be(FindingCodes.Localizer);
        listing.Others.Where(o => o.Name != "A1.dcm").Should().AllSatisfy(o =>
        {
            o.Code.Should().Be(FindingCodes.FileNotCt);
            o.Reason.Should().Contain("Secondary Capture");
        });
    }

    [Fact]
    [Trait("Kind", "Same")]
    [Trait("Needs", "Shared")]
    public void Renamed_and_scattered_files_give_the_same_volume()
    {
        using var folder = new TestFolder();
        var files = Directory.GetFiles(SharedData.Series("head-human-tilt-uneven"), "*", SearchOption.AllDirectories);
        var random = new Random(20251125);
        random.Shuffle(files);
        for (var i = 0; i < files.Length; i++)
        {
            var sub = Directory.CreateDirectory(folder[FormattableString.Invariant($"d{random.Next(3)}/e{random.Next(2)}")]).FullName;
            File.Copy(files[i], Path.Combine(sub, FormattableString.Invariant($"{random.Next(1000)}-{i}")));
        }

        using var straight = TestReader.Source.Load(SharedData.Series("head-human-tilt-uneven"), null, RunContext.Default);
        using var scattered = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        Hash(scattered.Volume).Should().Be(Hash(straight.Volume));
        scattered.Volume.Map.SliceOriginsMm.ToArray().Should().Equal(straight.Volume.Map.SliceOriginsMm.ToArray());
        scattered.Files.Select(f => f.Sha256).Should().Equal(straight.Files.Select(f => f.Sha256));
        scattered.Facts.SliceSpacingsMm.Should().Equal(straight.Facts.SliceSpacingsMm);
    }

    [Theory]
    [Trait("Kind", "Same")]
    [Trait("Needs", "Shared")]
    [InlineData(1)]
    [InlineData(3)]
    [InlineData(16)]
    public void Thread_count_changes_nothing(int threads)
    {
        var path = SharedData.Series("geometry-tilt-14");
        using var one = TestReader.Source.Load(path, null, new RunContext(threads: 2));
        using var other = TestReader.Source.Load(path, null, new RunContext(threads: threads));
        Hash(other.Volume).Should().Be(Hash(one.Volume));
        other.Findings.Should().BeEquivalentTo(one.Findings, o => o.WithStrictOrdering());
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Files_carry_the_hash_of_their_bytes_in_slice_order()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 5);
        File.Move(folder["s000.dcm"], folder["zz.dcm"]);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Files.Select(f => f.Name).Should().Equal("zz.dcm", "s001.dcm", "s002.dcm", "s003.dcm", "s004.dcm");
        series.Files.Should().AllSatisfy(f =>
        {
            var bytes = File.ReadAllBytes(folder[f.Name]);
            f.Bytes.Should().Be(bytes.Length);
            f.Sha256.Should().Be(Convert.ToHexStringLower(SHA256.HashData(bytes)));
        });
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(TestCt.ExplicitLittle)]
    [InlineData(TestCt.ImplicitLittle)]
    [InlineData(TestCt.ExplicitBig)]
    [InlineData(TestCt.Deflated)]
    public void Samples_and_map_are_those_that_were_written(string syntax)
    {
        using var folder = new TestFolder();
        for (var k = 0; k < 3; k++)
            TestCt.Slice(k, 10 + (2 * k)).Save(folder[$"{9 - k}.dcm"], syntax);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        var volume = series.Volume;
        for (var k = 0; k < 3; k++)
            for (var j = 0; j < TestCt.Rows; j++)
                for (var i = 0; i < TestCt.Columns; i++)
                    volume[i, j, k].Should().Be((short)(1000 + (j * TestCt.Columns) + i + (100 * k) - 1024));
        // Pixel Spacing is row spacing 0.5, column spacing 0.75: i goes with the second (PS3.3 C.7.6.2.1.1).
        volume.Map.Map(3, 2, 1).Should().Be(new AnatomyPrep.Core.Geometry.Vec3(-4 + (3 * 0.75), -3 + (2 * 0.5), 12));
        series.Facts.SpacingMm.Should().Equal(0.75, 0.5, 2.0);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("1\\0\\0\\0\\1\\0", "LPS")]
    [InlineData("-1\\0\\0\\0\\1\\0", "RPI")]
    [InlineData("0\\1\\0\\0\\0\\-1", "PIR")]
    [InlineData("1\\0\\0\\0\\0\\-1", "LIP")]
    [InlineData("0\\-1\\0\\1\\0\\0", "ALS")]
    public void Every_orientation_gives_a_right_handed_map(string cosines, string axes)
    {
        using var folder = new TestFolder();
        var numbers = cosines.Split('\\').Select(int.Parse).ToArray();
        // The normal is row x column; slices are written against it and must come out along it.
        int[] n = [(numbers[1] * numbers[5]) - (numbers[2] * numbers[4]), (numbers[2] * numbers[3]) - (numbers[0] * numbers[5]), (numbers[0] * numbers[4]) - (numbers[1] * numbers[3])];
        for (var k = 0; k < 3; k++)
            TestCt.Slice(k, 0).With(Tag.ImageOrientation, "DS", cosines).With(Tag.ImagePosition, "DS", $"{-k * n[0]}\\{-k * n[1]}\\{-k * n[2]}").Save(folder[$"{k}.dcm"]);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Facts.Orientation!.Axes.Should().Be(axes);
        series.Volume.Map.IsRightHanded.Should().BeTrue();
        series.Files.Select(f => f.Name).Should().Equal("2.dcm", "1.dcm", "0.dcm");
        series.Volume[0, 0, 0].Should().Be(1200 - 1024);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Slope_and_intercept_are_those_of_each_slice_and_rounding_is_reported()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3, (k, ct) => k == 1 ? ct.With(Tag.RescaleSlope, "DS", "0.25").With(Tag.RescaleIntercept, "DS", "-100") : ct);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Volume[0, 0, 0].Should().Be(1000 - 1024);
        series.Volume[1, 0, 1].Should().Be((short)Math.Round((0.25 * 1101) - 100, MidpointRounding.ToEven));
        series.Volume[0, 0, 2].Should().Be(1200 - 1024);
        // A quarter step rounds by at most one half.
        series.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.HuRounded && f.Message.Contains("0.500") && f.Message.Contains("s001.dcm"));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Values_beyond_int16_are_clamped_and_counted_not_wrapped()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 2, (_, ct) => ct.With(Tag.RescaleSlope, "DS", "100"));
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Volume[0, 0, 0].Should().Be(short.MaxValue);
        series.Facts.Findings.Should().Contain(f => f.Code == FindingCodes.HuOutOfRange && f.Severity == Severity.Caution && f.Message.Contains("96 samples"));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Odd_headers_are_told_as_findings_not_guessed_away()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 4, (_, ct) => ct
            .With(Tag.Photometric, "CS", "MONOCHROME1")
            .With(Tag.RescaleType, "LO", "US")
            .With(Tag.GantryTilt, "DS", "15")
            .With(Tag.SliceThickness, "DS", "0.5")
            .With(Tag.LossyCompression, "CS", "01")
            .With(Tag.LossyRatio, "DS", "12.5")
            .With(Tag.ImageOrientation, "DS", "1.001\\0\\0\\0\\1\\0")
            .With(Tag.PixelPaddingValue, 1010));
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Facts.Findings.Select(f => f.Code).Should().BeEquivalentTo(
            FindingCodes.Monochrome1, FindingCodes.RescaleNotHu, FindingCodes.TiltTagDisagrees, FindingCodes.SlicesApart,
            FindingCodes.LossyCompression, FindingCodes.OrientationInexact, FindingCodes.Padding);
        series.Facts.Findings.Single(f => f.Code == FindingCodes.LossyCompression).Message.Should().Contain("ratio 12.5");
        // Padding at -14 HU would be taken for soft tissue.
        series.Facts.Findings.Single(f => f.Code == FindingCodes.Padding).Severity.Should().Be(Severity.Caution);
        series.Facts.Orientation!.Cosines.Should().Equal(1, 0, 0, 0, 1, 0);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_file_copied_twice_counts_once()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3);
        File.Copy(folder["s001.dcm"], folder["copy.dcm"]);
        var listing = TestReader.Source.Inspect(folder.Path, RunContext.Default);
        listing.Series.Should().ContainSingle().Which.Slices.Should().Be(3);
        listing.Others.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.FileDuplicate);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nothing_that_is_said_about_a_series_names_its_patient()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 4, (k, ct) => k == 2 ? ct.Without(Tag.PixelSpacing) : ct.With(Tag.ConvolutionKernel, "SH", "Nobody^Invented"));
        File.WriteAllBytes(folder["cut.dcm"], TestCt.Slice(9, 9).Bytes()[..400]);
        var listing = TestReader.Source.Inspect(folder.Path, RunContext.Default);
        var loading = FluentActions.Invoking(() => TestReader.Source.Load(folder.Path, null, RunContext.Default)).Should().Throw<BadInputException>().Which;
        var facts = listing.Series.Single();
        var said = string.Join('\n', listing.Series.SelectMany(s => s.Findings).Concat(listing.Findings).Select(f => f.Message + f.Remedy)
            .Concat(listing.Others.Select(o => o.Reason)).Append(loading.Message).Append(facts.Kernel));
        said.Should().NotContainAny("Nobody", "Invented", "INVENTED", "77", "1.2.3.4", folder.Path);
    }

    private static long Count(Volume volume, short hu) =>
        Enumerable.Range(0, volume.Slices).Sum(k => (long)volume.Slice(k).Count(hu));

    private static long CountAtOrAbove(Volume volume, int hu)
    {
        var count = 0L;
        for (var k = 0; k < volume.Slices; k++)
            foreach (var sample in volume.Slice(k))
                count += sample >= hu ? 1 : 0;
        return count;
    }

    private static string Hash(Volume volume)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        for (var k = 0; k < volume.Slices; k++)
            hash.AppendData(MemoryMarshal.AsBytes(volume.Slice(k)));
        return Convert.ToHexString(hash.GetHashAndReset());
    }
}
