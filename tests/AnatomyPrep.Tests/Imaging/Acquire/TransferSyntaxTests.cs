using System.Security.Cryptography;
using System.Runtime.InteropServices;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>The same picture in every transfer syntax gives the same HU. Figures: published with the files.</summary>
public sealed class TransferSyntaxTests
{
    private const int Samples = 512 * 512;

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Lossless_twins_decode_to_the_bytes_of_the_uncompressed_one()
    {
        string[] names = ["explicit-le", "implicit-le", "explicit-be", "deflated", "rle", "jpeg-lossless-sv1", "jpeg-ls-lossless", "j2k-lossless"];
        var (replies, hu) = TestReader.Decode([.. names.Select(n => SharedData.File($"data/dicom-syntax/twins/{n}.dcm"))], Samples);
        replies.Should().AllSatisfy(r => r.Fault.Should().BeNull());
        Sum(hu[0]).Should().Be(43639152 - (1024L * Samples), "of the stored sum that pydicom reads");
        hu.Select(Hash).Distinct().Should().ContainSingle();
        replies.Select(r => r.Slices![0]).Distinct().Should().ContainSingle();
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void One_frame_over_several_fragments_decodes_whole()
    {
        string[] names = ["CT1_UNC.explicit_little_endian", "CT1_UNC.fragmented_bot_jpeg_ls.80", "CT1_UNC.fragmented_no_bot_jpeg_ls.80", "CT1.fragmented_rle", "CT1.undefined_length_sequences"];
        var (_, hu) = TestReader.Decode([.. names.Select(n => SharedData.File($"data/dicom-syntax/fragments/{n}.dcm"))], Samples);
        hu.Should().AllSatisfy(h => Sum(h).Should().Be(40028413 - (1024L * Samples)));
        hu.Select(Hash).Distinct().Should().ContainSingle();
    }

    /// <summary>GDCM alone reads frame 2 of the fragmented JPEG-LS file as memory that nobody wrote.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Frames_over_several_fragments_decode_whole_with_and_without_offset_table()
    {
        string[] names =
        [
            "odd/eCT_Supplemental", "enhanced/CT0012.not_fragmented_bot_rle", "enhanced/CT0012.not_fragmented_bot_jpeg_ls.80",
            "enhanced/CT0012.fragmented_no_bot_jpeg_lossless.57", "enhanced/CT0012.fragmented_no_bot_jpeg_ls.80",
        ];
        var (_, hu) = TestReader.Decode([.. names.Select(n => SharedData.File($"data/dicom-syntax/{n}.dcm"))], Samples, framesPerFile: 2);
        hu.Should().AllSatisfy(h =>
        {
            Sum(h.AsSpan(0, Samples)).Should().Be(100826003 - (1024L * Samples));
            Sum(h.AsSpan(Samples)).Should().Be(98423405 - (1024L * Samples));
        });
        hu.Select(Hash).Distinct().Should().ContainSingle();
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("twins/jpeg-ls-near", -1024, 778, 2)]
    [InlineData("lossy-retired/chest.jpeg-51", -3053, 1370, 0)]
    [InlineData("odd/J2K_pixelrep_mismatch", -2000, 1896, 0)]
    public void Compressed_pictures_have_the_published_range(string name, int minHu, int maxHu, int toleranceHu)
    {
        // jpeg-ls-near: at most 2 off its twin (-1024..778) by construction of the file. jpeg-51: stored 497..2708, slope
        // 2.0002442, intercept -4047. J2K: signed in the header, unsigned in the code stream; pydicom's range.
        var path = SharedData.File($"data/dicom-syntax/{name}.dcm");
        var facts = TestReader.Source.Inspect(path, RunContext.Default).Series.Single();
        facts.MinHu.Should().BeInRange((short)(minHu - toleranceHu), (short)(minHu + toleranceHu));
        facts.MaxHu.Should().BeInRange((short)(maxHu - toleranceHu), (short)(maxHu + toleranceHu));
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("twins/jpeg-ls-near", "ratio 7.0")]
    [InlineData("lossy-retired/chest.jpeg-50", "JPEG Baseline")]
    [InlineData("lossy-retired/chest.jpeg-51", "JPEG Extended")]
    public void Lossy_compression_is_a_caution_with_its_ratio(string name, string words)
    {
        var facts = TestReader.Source.Inspect(SharedData.File($"data/dicom-syntax/{name}.dcm"), RunContext.Default).Series.Single();
        facts.Lossy.Should().BeTrue();
        facts.Findings.Single(f => f.Code == FindingCodes.LossyCompression).Message.Should().Contain(words);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Enhanced_image_takes_geometry_from_its_functional_groups_unmirrored()
    {
        using var series = TestReader.Source.Load(SharedData.File("data/dicom-syntax/odd/eCT_Supplemental.dcm"), null, RunContext.Default);
        // Orientation -1\0\0\0\1\0: the normal points to the feet, so the frame at z -149 comes first.
        series.Facts.Orientation!.Axes.Should().Be("RPI");
        series.Volume.Map.SliceOriginsMm.ToArray().Should().Equal(
            new AnatomyPrep.Core.Geometry.Vec3(99.5, -301.5, -149), new AnatomyPrep.Core.Geometry.Vec3(99.5, -301.5, -159));
        series.Volume.Map.IsRightHanded.Should().BeTrue();
        series.Facts.SpacingMm.Should().Equal(0.388672, 0.388672, 10);
        series.Facts.SliceThicknessMm.Should().Be(10);
        series.Files.Should().ContainSingle();
        // Frame 2 of the file is the one at -149.
        Sum(series.Volume.Slice(0)).Should().Be(98423405 - (1024L * Samples));
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Rubbish_above_Bits_Stored_is_masked_and_counted()
    {
        var bytes = new MemoryBytes(File.ReadAllBytes(SharedData.File("data/dicom-syntax/odd/12bit-unsigned-dirty-bits.dcm")));
        var header = HeaderWalker.Read(bytes);
        var pixels = header.Pixels!.Native!.Value;
        var words = MemoryMarshal.Cast<byte, ushort>(bytes.Read(pixels.Offset, 384 * 384 * 2)).ToArray();
        var hu = new short[words.Length];
        var counts = new StoredToHu(new PixelLayout(16, 12, 11, false, null, null), 1, 0).Convert(words, hu);
        (counts.MinHu, counts.MaxHu).Should().Be(((short)0, (short)4095));
        Sum(hu).Should().Be(40476428);
        counts.WithUnusedBits.Should().Be(170);
    }

    private static long Sum(ReadOnlySpan<short> hu)
    {
        var sum = 0L;
        foreach (var h in hu)
            sum += h;
        return sum;
    }

    private static string Hash(short[] hu) => Convert.ToHexString(SHA256.HashData(MemoryMarshal.AsBytes<short>(hu)));
}
