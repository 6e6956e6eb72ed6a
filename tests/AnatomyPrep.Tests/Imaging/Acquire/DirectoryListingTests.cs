using System.IO.Compression;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>A DICOMDIR as input, or beside the slices; written by DCMTK's dcmmkdir, so by nothing of ours.</summary>
public sealed class DirectoryListingTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Outside")]
    public void The_files_that_it_names_are_read_and_no_others()
    {
        WriteDisc(4);
        TestCt.Slice(40, 40).With(Tag.SeriesInstanceUid, "UI", "1.2.3.4.77").Save(_folder["DICOM/STRAY"]);
        var listing = TestReader.Source.Inspect(_folder["DICOMDIR"], RunContext.Default);
        listing.Series.Should().ContainSingle().Which.Slices.Should().Be(4);
        listing.Others.Should().ContainSingle().Which.Should().Be(new SkippedFile("DICOMDIR", FindingCodes.FileNotImage, "SOP Class UID (0008,0016): a directory of files (DICOMDIR), not a CT Image"));
        listing.Findings.Should().BeEmpty();
        // The folder itself gives all that is in it.
        TestReader.Source.Inspect(_folder.Path, RunContext.Default).Series.Should().HaveCount(2);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Missing_files_are_named_and_go_with_the_series()
    {
        WriteDisc(5);
        File.Delete(_folder["DICOM/IM4"]);
        foreach (var source in (string[])[_folder["DICOMDIR"], _folder.Path])
        {
            using var series = TestReader.Source.Load(source, null, RunContext.Default);
            series.Volume.Slices.Should().Be(4);
            series.Facts.Findings.Should().ContainSingle(f => f.Code == FindingCodes.DirectoryFileMissing && f.Severity == Severity.Caution).Which.Message.Should().Be("The DICOMDIR names 1 files that are not there, such as IM4.");
            series.Findings.Should().ContainSingle(f => f.Code == FindingCodes.DirectoryFileMissing).Which.Message.Should().Be("The DICOMDIR names 1 files that are not there, such as a further file.");
        }
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Copies_in_small_letters_and_in_an_archive_are_found()
    {
        WriteDisc(3);
        foreach (var k in (int[])[0, 1, 2])
            File.Move(_folder[$"DICOM/IM{k}"], _folder[$"DICOM/im{k}"]);
        TestReader.Source.Inspect(_folder["DICOMDIR"], RunContext.Default).Findings.Should().BeEmpty();
        using var other = new TestFolder();
        ZipFile.CreateFromDirectory(_folder.Path, other["disc.zip"]);
        var listing = TestReader.Source.Inspect(other["disc.zip"], RunContext.Default);
        listing.Series.Single().Slices.Should().Be(3);
        listing.Findings.Should().BeEmpty();
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("..\\..\\IM0")]
    [InlineData("DICOM\\..\\DICOM\\IM0")]
    [InlineData("\\ETC\\PASSWD")]
    [InlineData("DICOM\\I M0")]
    public void File_IDs_that_lead_elsewhere_count_as_missing(string id)
    {
        TestCt.SaveSeries(_folder, 2);
        File.WriteAllBytes(_folder["DICOMDIR"], Directory(id));
        var listing = TestReader.Source.Inspect(_folder.Path, RunContext.Default);
        listing.Findings.Should().ContainSingle().Which.Message.Should().Be("The DICOMDIR names 1 files that are not there, and its names are none.");
        FluentActions.Invoking(() => TestReader.Source.Load(_folder["DICOMDIR"], null, RunContext.Default)).Should().Throw<BadInputException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_broken_or_false_directory_is_refused_by_name()
    {
        File.WriteAllBytes(_folder["DICOMDIR"], Directory("IM0")[..^12]);
        FluentActions.Invoking(() => TestReader.Source.Load(_folder["DICOMDIR"], null, RunContext.Default)).Should().Throw<BadInputException>().Which.File.Should().Be("DICOMDIR");
        TestCt.Slice(0, 0).Save(_folder["DICOMDIR"]);
        FluentActions.Invoking(() => TestReader.Source.Load(_folder["DICOMDIR"], null, RunContext.Default)).Should().Throw<BadInputException>().Which.Value.Should().Be("a CT image, not a directory of files");
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void The_directory_of_a_general_test_set_is_read()
    {
        // Debian package python3-pydicom: a DICOMDIR of 31 images, of which 11 are CT, as pydicom lists them.
        var listing = TestReader.Source.Inspect("/usr/lib/python3/dist-packages/pydicom/data/test_files/dicomdirtests/DICOMDIR", RunContext.Default);
        listing.Findings.Should().NotContain(f => f.Code == FindingCodes.DirectoryFileMissing);
        (listing.Series.Sum(s => s.Slices) + listing.Others.Count(o => o.Code == FindingCodes.Localizer)).Should().Be(11);
        listing.Others.Count(o => o.Code == FindingCodes.FileNotCt).Should().Be(20);
    }

    private void WriteDisc(int slices)
    {
        System.IO.Directory.CreateDirectory(_folder["DICOM"]);
        var phantom = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = new(8, 8, 8) });
        for (var k = 0; k < slices; k++)
            File.WriteAllBytes(_folder[$"DICOM/IM{k}"], phantom.FileOf(k).Encode());
        var made = Tool.Run("dcmmkdir", ["-q", "+id", _folder.Path, "+D", _folder["DICOMDIR"], "+r", .. Enumerable.Range(0, slices).Select(k => $"DICOM/IM{k}")]);
        made.ExitCode.Should().Be(0, made.Errors);
    }

    /// <summary>One record, in a sequence of undefined length.</summary>
    private static byte[] Directory(string fileId)
    {
        var id = Encoding.ASCII.GetBytes(fileId.Length % 2 == 0 ? fileId : fileId + ' ');
        byte[] item = [0x04, 0, 0x00, 0x15, (byte)'C', (byte)'S', (byte)id.Length, 0, .. id];
        byte[] sequence = [0x04, 0, 0x20, 0x12, (byte)'S', (byte)'Q', 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFE, 0xFF, 0x00, 0xE0, (byte)item.Length, 0, 0, 0, .. item, 0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0];
        var uid = "1.2.840.10008.1.3.10"u8;
        byte[] meta = [0x02, 0, 0x02, 0, (byte)'U', (byte)'I', (byte)uid.Length, 0, .. uid];
        var syntax = "1.2.840.10008.1.2.1\0"u8;
        return [.. new byte[128], .. "DICM"u8, .. meta, 0x02, 0, 0x10, 0, (byte)'U', (byte)'I', (byte)syntax.Length, 0, .. syntax, .. sequence];
    }
}
