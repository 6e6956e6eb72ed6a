using System.Buffers.Binary;
using System.IO.Compression;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Zip archives as input: the same volume as the folder, and nothing hostile gets out of one.</summary>
public sealed class SourceArchiveTests : IDisposable
{
    private readonly TestFolder _folder = new();

    private string Zip => _folder["study.zip"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void A_zipped_series_reads_as_its_folder_does_and_leaves_nothing_behind()
    {
        using var zipped = TestReader.Source.Load(SharedData.File("data/ct/geometry-tilt-14.zip"), null, RunContext.Default);
        using var folder = TestReader.Source.Load(SharedData.Series("geometry-tilt-14"), null, RunContext.Default);
        zipped.Files.Select(f => f.Sha256).Should().Equal(folder.Files.Select(f => f.Sha256));
        zipped.Files.Select(f => f.Name).Should().Equal(folder.Files.Select(f => f.Name));
        for (var k = 0; k < folder.Volume.Slices; k++)
            zipped.Volume.Slice(k).SequenceEqual(folder.Volume.Slice(k)).Should().BeTrue();
        zipped.Facts.Findings.Should().BeEquivalentTo(folder.Facts.Findings, o => o.WithStrictOrdering());
        LeftFolders().Should().BeEmpty();
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("../out.dcm")]
    [InlineData("a/../../out.dcm")]
    [InlineData("/etc/out.dcm")]
    [InlineData("..\\out.dcm")]
    [InlineData("C:\\out.dcm")]
    public void Names_that_lead_out_refuse_the_archive(string name)
    {
        Write((name, TestCt.Slice(0, 0).Bytes()));
        Refused().Message.Should().StartWith("study.zip: entry: a name that leads out of the archive.");
        File.Exists(_folder["out.dcm"]).Should().BeFalse();
        LeftFolders().Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_bomb_is_refused_before_it_unpacks()
    {
        // 1.1 GB of zeros in about 1.1 MB: more than 1 GB and a hundred times the archive.
        using (var zip = ZipFile.Open(Zip, ZipArchiveMode.Create))
        using (var entry = zip.CreateEntry("a.dcm", CompressionLevel.Optimal).Open())
        {
            var block = new byte[1 << 20];
            for (var i = 0; i < 1300; i++)
                entry.Write(block);
        }

        Refused().Message.Should().StartWith("study.zip: archive: unpacks to more than 1.2 GB");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_entry_that_lies_about_its_size_is_refused()
    {
        Write(("a.dcm", TestCt.Slice(0, 0).Bytes()));
        var bytes = File.ReadAllBytes(Zip);
        var directory = bytes.AsSpan().LastIndexOf("PK\x01\x02"u8);
        BinaryPrimitives.WriteInt32LittleEndian(bytes.AsSpan(directory + 24), 10);
        File.WriteAllBytes(Zip, bytes);
        Refused().Field.Should().BeOneOf("entry", "archive");
        LeftFolders().Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_changed_byte_in_a_stored_entry_is_noticed_by_its_checksum()
    {
        using (var zip = ZipFile.Open(Zip, ZipArchiveMode.Create))
        using (var entry = zip.CreateEntry("a.dcm", CompressionLevel.NoCompression).Open())
            entry.Write(TestCt.Slice(0, 0).Bytes());
        var bytes = File.ReadAllBytes(Zip);
        bytes[bytes.Length / 2] ^= 1;
        File.WriteAllBytes(Zip, bytes);
        Refused().Message.Should().StartWith("study.zip: entry: its checksum is wrong.");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_archive_within_the_archive_is_not_opened_but_named()
    {
        Write(("s0.dcm", TestCt.Slice(0, 0).Bytes()), ("s1.dcm", TestCt.Slice(1, 1).Bytes()));
        var inner = File.ReadAllBytes(Zip);
        File.Delete(Zip);
        Write(("inner.zip", inner), ("s0.dcm", TestCt.Slice(0, 0).Bytes()), ("s1.dcm", TestCt.Slice(1, 1).Bytes()));
        var listing = TestReader.Source.Inspect(Zip, RunContext.Default);
        listing.Series.Single().Slices.Should().Be(2);
        listing.Others.Should().ContainSingle().Which.Name.Should().Be("inner.zip");
        File.Delete(Zip);
        Write(("inner.zip", inner));
        Refused().Message.Should().StartWith("inner.zip: file: an archive, which is not opened within another source");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_prefix_and_many_changed_bytes_give_a_series_or_a_refusal()
    {
        Write(("s0.dcm", TestCt.Slice(0, 0).Bytes()), ("s1.dcm", TestCt.Slice(1, 1).Bytes()));
        var whole = File.ReadAllBytes(Zip);
        var random = new Random(21);
        for (var round = 0; round < 60; round++)
        {
            byte[] bytes = round % 2 == 0 ? whole[..random.Next(4, whole.Length)] : [.. whole];
            if (round % 2 == 1)
                bytes[random.Next(4, bytes.Length)] ^= (byte)(1 << random.Next(8));
            File.WriteAllBytes(Zip, bytes);
            try
            {
                using var input = SourceFolder.Open(Zip, RunContext.Default);
                input.Files.Should().NotBeEmpty();
            }
            catch (BadInputException)
            {
                // The only exception there may be.
            }
        }

        LeftFolders().Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_folder_left_by_a_dead_process_is_removed_by_the_next()
    {
        var left = Directory.CreateTempSubdirectory("anatomyprep-zip-999999999-");
        File.WriteAllText(Path.Combine(left.FullName, "000000"), "x");
        Write(("s0.dcm", TestCt.Slice(0, 0).Bytes()));
        SourceFolder.Open(Zip, RunContext.Default).Dispose();
        Directory.Exists(left.FullName).Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Models_are_no_archives_of_images_and_empty_archives_are_refused()
    {
        Write(("[Content_Types].xml", "<Types/>"u8.ToArray()));
        DicomSource.IsArchive(Zip).Should().BeFalse();
        File.WriteAllBytes(Zip, TestCt.Slice(0, 0).Bytes());
        DicomSource.IsArchive(Zip).Should().BeFalse();
        File.Delete(Zip);
        ZipFile.Open(Zip, ZipArchiveMode.Create).Dispose();
        Refused().Value.Should().Be("empty");
    }

    private BadInputException Refused() =>
        FluentActions.Invoking(() => TestReader.Source.Load(Zip, null, RunContext.Default)).Should().Throw<BadInputException>().Which;

    private void Write(params (string Name, byte[] Bytes)[] entries)
    {
        if (File.Exists(Zip))
            File.Delete(Zip);
        using var zip = ZipFile.Open(Zip, ZipArchiveMode.Create);
        foreach (var (name, bytes) in entries)
        {
            using var entry = zip.CreateEntry(name).Open();
            entry.Write(bytes);
        }
    }

    private static IEnumerable<string> LeftFolders() => Directory.GetDirectories(Path.GetTempPath(), FormattableString.Invariant($"anatomyprep-zip-{Environment.ProcessId}-*"));
}
