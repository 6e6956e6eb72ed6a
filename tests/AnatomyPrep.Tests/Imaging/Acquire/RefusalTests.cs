using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>What is not a CT volume is refused in one sentence: file, field, value, remedy.</summary>
public sealed class RefusalTests
{
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("geometry-missing-slice", FindingCodes.SliceMissing, "IM-0001-0009-0001.dcm and IM-0001-0010-0001.dcm: slice spacing: from 28.107 to 38.107 mm along the normal the step is 10.000 mm where 5.000 mm is expected, so 1 slice is missing. Send the missing slices")]
    [InlineData("geometry-one-position", FindingCodes.SamePosition, "001.dcm and 002.dcm: Image Position (Patient) (0020,0032): the same position along the slice normal, 61.500 mm, and 2 more. Keep one image per position")]
    [InlineData("chest-human-gaps-doubles", FindingCodes.SamePosition, "CT26.dcm and CT28.dcm: Image Position (Patient) (0020,0032): the same position along the slice normal, -90.000 mm. Keep one image per position")]
    public void Series_that_is_no_volume_is_refused_with_its_reason(string name, string code, string words)
    {
        var e = FluentActions.Invoking(() => TestReader.Source.Load(SharedData.Series(name), null, RunContext.Default)).Should().Throw<BadInputException>().Which;
        e.Message.Should().StartWith(words);
        e.Findings.Should().Contain(f => f.Code == code && f.Severity == Severity.Stop);
        TestReader.Source.Inspect(SharedData.Series(name), RunContext.Default).Series.Single().IsLoadable.Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Repeated_and_missing_slices_are_both_named()
    {
        var stops = TestReader.Source.Inspect(SharedData.Series("chest-human-gaps-doubles"), RunContext.Default).Series.Single().Findings.Where(f => f.Severity == Severity.Stop);
        stops.Select(s => s.Code).Should().Equal(FindingCodes.SamePosition, FindingCodes.SliceMissing);
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("odd/ct-without-0028-0030.dcm", "Pixel Spacing (0028,0030)", "missing")]
    [InlineData("odd/ct-without-0020-0037.dcm", "Image Orientation (Patient) (0020,0037)", "missing")]
    [InlineData("odd/ct-without-0020-0032.dcm", "Image Position (Patient) (0020,0032)", "missing")]
    [InlineData("odd/ct-truncated.dcm", "Pixel Data (7FE0,0010)", "291866 of the 524288 bytes")]
    [InlineData("odd/MR_small.dcm", "SOP Class UID (0008,0016)", "MR Image")]
    [InlineData("odd/ct-no-pixel-spacing-ankle.dcm", "SOP Class UID (0008,0016)", "Secondary Capture Image")]
    [InlineData("odd/rtstruct.dcm", "SOP Class UID (0008,0016)", "RT Structure Set")]
    [InlineData("odd/test-SR.dcm", "SOP Class UID (0008,0016)", "Comprehensive Report")]
    [InlineData("odd/CT_small.dcm", "slices", "1")]
    [InlineData("lossy-retired/chest.jpeg-53.dcm", "Transfer Syntax UID (0002,0010)", "JPEG Spectral Selection")]
    public void Single_file_is_refused_by_name_field_and_value(string file, string field, string value)
    {
        var path = SharedData.File($"data/dicom-syntax/{file}");
        var e = FluentActions.Invoking(() => TestReader.Source.Load(path, null, RunContext.Default)).Should().Throw<BadInputException>().Which;
        e.File.Should().Be(Path.GetFileName(path));
        e.Field.Should().Be(field);
        e.Value.Should().Contain(value);
        e.Remedy.Should().NotBeEmpty();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Empty_folder_is_refused()
    {
        using var folder = new TestFolder();
        Refused(folder).Message.Should().Be("the source: folder: empty. Give the folder that holds a CT series.");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Missing_path_is_refused()
    {
        using var folder = new TestFolder();
        FluentActions.Invoking(() => TestReader.Source.Load(folder["nothing"], null, RunContext.Default)).Should().Throw<BadInputException>().Which.Field.Should().Be("path");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Folder_of_text_files_is_refused()
    {
        using var folder = new TestFolder();
        File.WriteAllText(folder["notes.txt"], "Nothing of interest here, but long enough to be looked at.");
        File.WriteAllText(folder["readme"], new string('x', 5000));
        File.WriteAllText(folder["empty"], "");
        Refused(folder).Message.Should().Be("notes.txt: file: not a DICOM file, and the other 2 files are no CT slices either. Give the folder of one CT series.");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Pipes_and_dead_links_are_not_opened()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 2);
        using (var mkfifo = System.Diagnostics.Process.Start("mkfifo", [folder["pipe"]]))
            mkfifo.WaitForExit();
        File.CreateSymbolicLink(folder["dead"], folder["nowhere"]);
        Directory.CreateSymbolicLink(folder["round"], folder.Path);
        var listing = TestReader.Source.Inspect(folder.Path, RunContext.Default);
        listing.Series.Single().Slices.Should().Be(2);
        listing.Others.Select(o => o.Name).Should().BeEquivalentTo("pipe", "dead");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Two_frames_of_reference_in_a_series_are_refused() =>
        Refused(3, (k, ct) => k == 1 ? ct.With(Tag.FrameOfReferenceUid, "UI", "1.2.3.9") : ct)
            .Message.Should().Be("s000.dcm and s001.dcm: Frame of Reference UID (0020,0052): two different ones in one series. Keep one consistent series in the folder, or send it again.");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Two_patients_in_a_series_are_refused() =>
        Refused(3, (k, ct) => k == 2 ? ct.With(Tag.PatientId, "LO", "INVENTED-ID-78") : ct)
            .Message.Should().StartWith("s000.dcm and s002.dcm: Patient ID (0010,0020): two different ones in one series.").And.NotContain("INVENTED");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Two_matrix_sizes_in_a_series_are_refused() =>
        Refused(3, (k, ct) => k == 1 ? ct.With(Tag.Rows, 4) : ct)
            .Message.Should().StartWith("s000.dcm and s001.dcm: Rows (0028,0010) x Columns (0028,0011): 6 x 8 and 4 x 8.");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Two_pixel_spacings_in_a_series_are_refused() =>
        Refused(3, (k, ct) => k == 1 ? ct.With(Tag.PixelSpacing, "DS", "0.5\\0.8") : ct)
            .Message.Should().StartWith("s000.dcm and s001.dcm: Pixel Spacing (0028,0030): 0.5 x 0.75 mm and 0.5 x 0.8 mm.");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Missing_scale_is_refused() =>
        Refused(2, (_, ct) => ct.Without(Tag.RescaleSlope)).Field.Should().Be("Rescale Slope (0028,1053)");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Crooked_orientation_is_refused() =>
        Refused(2, (_, ct) => ct.With(Tag.ImageOrientation, "DS", "1\\0\\0\\0.5\\1\\0")).Value.Should().Be("not two directions at a right angle");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Values_in_another_unit_than_HU_are_refused() =>
        Refused(2, (_, ct) => ct.With(Tag.RescaleType, "LO", "Z_EFF")).Value.Should().Be("Z_EFF, not HU");

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("not a number\\0\\0")]
    [InlineData("0\\0")]
    [InlineData("1e300\\0\\0")]
    [InlineData("NaN\\0\\0")]
    [InlineData("1,5\\0\\0")]
    public void Malformed_position_is_refused_not_read_as_something(string position) =>
        Refused(2, (k, ct) => k == 1 ? ct.With(Tag.ImagePosition, "DS", position) : ct)
            .Message.Should().StartWith("s001.dcm: Image Position (Patient) (0020,0032): missing or malformed.");

    [Fact]
    [Trait("Kind", "Hostile")]
    public void One_truncated_slice_refuses_its_series()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 4);
        var whole = File.ReadAllBytes(folder["s003.dcm"]);
        File.WriteAllBytes(folder["s003.dcm"], whole[..^10]);
        Refused(folder).Message.Should().StartWith("s003.dcm: Pixel Data (7FE0,0010): 86 of the 96 bytes");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_lost_slice_is_named_by_its_neighbours()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 9);
        File.Delete(folder["s004.dcm"]);
        Refused(folder).Message.Should().StartWith("s003.dcm and s005.dcm: slice spacing: from 3.000 to 5.000 mm along the normal the step is 2.000 mm where 1.000 mm is expected, so 1 slice is missing.");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Several_series_are_listed_not_guessed_and_one_can_be_chosen()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3);
        for (var k = 0; k < 4; k++)
            TestCt.Slice(k + 20, k).With(Tag.SeriesInstanceUid, "UI", "1.2.3.4.9").Save(folder[$"other{k}.dcm"]);
        var e = FluentActions.Invoking(() => TestReader.Source.Load(folder.Path, null, RunContext.Default)).Should().Throw<SeveralSeriesException>().Which;
        e.Series.Select(s => (s.Selector, s.Slices)).Should().Equal(("1.2.3.4.2", 3), ("1.2.3.4.9", 4));
        e.Message.Should().NotContain("1.2.3");
        using var chosen = TestReader.Source.Load(folder.Path, "1.2.3.4.9", RunContext.Default);
        chosen.Volume.Slices.Should().Be(4);
        FluentActions.Invoking(() => TestReader.Source.Load(folder.Path, "1.2.3", RunContext.Default)).Should().Throw<BadInputException>().Which.Field.Should().Be("Series Instance UID (0020,000E)");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Two_orientations_in_a_series_are_two_stacks_and_an_unmarked_scout_is_set_aside()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 4);
        for (var k = 0; k < 3; k++)
            TestCt.Slice(k + 20, 0).With(Tag.ImageOrientation, "DS", "1\\0\\0\\0\\0\\-1").With(Tag.ImagePosition, "DS", $"0\\{k}\\0").Save(folder[$"coronal{k}.dcm"]);
        TestCt.Slice(40, 0).With(Tag.ImageOrientation, "DS", "0\\1\\0\\0\\0\\-1").Save(folder["scout.dcm"]);
        var listing = TestReader.Source.Inspect(folder.Path, RunContext.Default);
        listing.Series.Select(s => (s.Selector, s.Slices)).Should().Equal(("1.2.3.4.2#1", 4), ("1.2.3.4.2#2", 3));
        listing.Others.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.Localizer);
        using var coronal = TestReader.Source.Load(folder.Path, "1.2.3.4.2#2", RunContext.Default);
        coronal.Facts.Orientation!.Axes.Should().Be("LIP");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_broken_file_beside_a_whole_series_is_a_caution_that_goes_with_it()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3);
        File.WriteAllBytes(folder["broken.dcm"], TestCt.Slice(9, 9).Bytes()[..301]);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Volume.Slices.Should().Be(3);
        series.Facts.Findings.Should().ContainSingle(f => f.Code == FindingCodes.FileTruncated && f.Severity == Severity.Caution).Which.Message.Should().StartWith("broken.dcm");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Volume_over_the_memory_budget_is_refused_before_it_is_decoded()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3);
        var run = new RunContext(memory: new MemoryBudget(100));
        FluentActions.Invoking(() => TestReader.Source.Load(folder.Path, null, run)).Should().Throw<BadInputException>().Which.Field.Should().Be("memory");
    }

    private static BadInputException Refused(TestFolder folder) =>
        FluentActions.Invoking(() => TestReader.Source.Load(folder.Path, null, RunContext.Default)).Should().Throw<BadInputException>().Which;

    private static BadInputException Refused(int slices, Func<int, TestCt, TestCt> change)
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, slices, change);
        return Refused(folder);
    }
}
