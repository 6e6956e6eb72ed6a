using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Tests.Imaging.Acquire;

namespace AnatomyPrep.Tests.Outside;

/// <summary>
/// Every file of shared/data/dicom-syntax: the HU of its uncompressed twin, or of the sums in PROVENANCE.md, or the right named
/// finding. Sums are over stored values there; HU = stored + intercept here. Where PROVENANCE.md gives no sum, pydicom 2.3.1 does.
/// </summary>
[Trait("Kind", "Outside")]
[Trait("Needs", "Shared")]
public sealed class DicomSyntaxTests
{
    private const long Picture = 512 * 512;
    private const long Twin = 43639152 - (1024 * Picture);
    private const long Near = 43640208 - (1024 * Picture);
    private const long Ct1 = 40028413 - (1024 * Picture);
    private const long Enhanced = 199249408 - (1024 * 2 * Picture);

    // Name; what is wrong with it as a file or as part of a volume, apart from being a single slice; lowest and highest HU and the sum.
    private static readonly (string File, string Codes, int MinHu, int MaxHu, long SumHu)[] s_table =
    [
        ("twins/deflated", "", -1024, 778, Twin),
        ("twins/explicit-be", "", -1024, 778, Twin),
        ("twins/explicit-le", "", -1024, 778, Twin),
        ("twins/implicit-le", "", -1024, 778, Twin),
        ("twins/j2k-lossless", "", -1024, 778, Twin),
        ("twins/jpeg-lossless-sv1", "", -1024, 778, Twin),
        ("twins/jpeg-ls-lossless", "", -1024, 778, Twin),
        ("twins/rle", "", -1024, 778, Twin),
        ("twins/jpeg-ls-near", FindingCodes.LossyCompression, -1024, 778, Near),
        ("enhanced/CT0012.fragmented_no_bot_jpeg_lossless.57", FindingCodes.RescaleNotHu, -1024, 172, Enhanced),
        ("enhanced/CT0012.fragmented_no_bot_jpeg_ls.80", FindingCodes.RescaleNotHu, -1024, 172, Enhanced),
        ("enhanced/CT0012.not_fragmented_bot_jpeg_ls.80", FindingCodes.RescaleNotHu, -1024, 172, Enhanced),
        ("enhanced/CT0012.not_fragmented_bot_rle", FindingCodes.RescaleNotHu, -1024, 172, Enhanced),
        ("odd/eCT_Supplemental", FindingCodes.RescaleNotHu, -1024, 172, Enhanced),
        ("fragments/CT1.fragmented_rle", "", -3024, 1254, Ct1),
        ("fragments/CT1.undefined_length_sequences", "", -3024, 1254, Ct1),
        ("fragments/CT1_UNC.explicit_little_endian", "", -3024, 1254, Ct1),
        ("fragments/CT1_UNC.fragmented_bot_jpeg_ls.80", "", -3024, 1254, Ct1),
        ("fragments/CT1_UNC.fragmented_no_bot_jpeg_ls.80", "", -3024, 1254, Ct1),
        // Slope 32.1216 and 2.0002442, intercept -4047: lowest and highest from the stored 30 to 168 and 497 to 2708.
        ("lossy-retired/chest.jpeg-50", FindingCodes.LossyCompression, -3083, 1349, 0),
        ("lossy-retired/chest.jpeg-51", FindingCodes.LossyCompression, -3053, 1370, 0),
        ("lossy-retired/chest.jpeg-53", $"{FindingCodes.LossyCompression} {FindingCodes.TransferSyntaxUnsupported}", 0, 0, 0),
        ("lossy-retired/chest.jpeg-55", $"{FindingCodes.LossyCompression} {FindingCodes.TransferSyntaxUnsupported}", 0, 0, 0),
        ("odd/CT_small", "", -896, 1167, 14826310 - (1024 * 128 * 128)),
        ("odd/explicit_VR-UN", "", -1024, 1186, -175887460),
        ("odd/J2K_pixelrep_mismatch", "", -2000, 1896, -172605258),
        ("odd/ct-truncated", FindingCodes.FileTruncated, 0, 0, 0),
        ("odd/ct-without-0020-0032", FindingCodes.PositionMissing, -1024, 778, Twin),
        ("odd/ct-without-0020-0037", FindingCodes.OrientationMissing, -1024, 778, Twin),
        ("odd/ct-without-0028-0030", FindingCodes.SpacingMissing, -1024, 778, Twin),
        ("odd/ct-no-pixel-spacing-ankle", FindingCodes.FileNotCt, 0, 0, 0),
        // Values of these two are checked where their words are converted: they are no CT.
        ("odd/12bit-unsigned-dirty-bits", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/modality-lut", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/ExplVR_BigEnd", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/ExplVR_BigEndNoMeta", FindingCodes.FileNotImage, 0, 0, 0),
        ("odd/JPEG-lossy", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/JPEG2000", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/MR_small", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/MR_truncated", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/UN_sequence", FindingCodes.FileNotImage, 0, 0, 0),
        ("odd/badVR", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/bad_sequence", FindingCodes.FileUnreadable, 0, 0, 0),
        ("odd/emri_small_jpeg_2k_lossless_too_short", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/empty_charset_LEI", FindingCodes.FileNotImage, 0, 0, 0),
        ("odd/image_dfl", FindingCodes.FileNotCt, 0, 0, 0),
        ("odd/meta_missing_tsyntax", FindingCodes.FileNotImage, 0, 0, 0),
        ("odd/nested_priv_SQ", FindingCodes.FileNotImage, 0, 0, 0),
        ("odd/no_meta", FindingCodes.FileNotDicom, 0, 0, 0),
        ("odd/no_meta_group_length", FindingCodes.FileNotImage, 0, 0, 0),
        ("odd/rtstruct", FindingCodes.FileNotImage, 0, 0, 0),
        ("odd/test-SR", FindingCodes.FileNotImage, 0, 0, 0),
    ];

    [Fact]
    public void The_table_names_every_file()
    {
        var root = Path.Combine(SharedData.Root, "data", "dicom-syntax");
        Directory.GetFiles(root, "*", SearchOption.AllDirectories).Select(f => Path.GetRelativePath(root, f)).Order(StringComparer.Ordinal)
            .Should().Equal(s_table.Select(t => t.File + ".dcm").Order(StringComparer.Ordinal));
    }

    [Fact]
    public void Every_file_gives_its_twins_pixels_or_the_right_finding()
    {
        string[] paths = [.. s_table.Select(t => SharedData.File($"data/dicom-syntax/{t.File}.dcm"))];
        using var reader = new ReaderProcess(TestReader.Command, ReaderLimits.Default, paths.Max(p => new FileInfo(p).Length));
        var scans = reader.Run(ReaderTask.Scan, [.. paths.Select((p, i) => new ReaderItem(i, p))], null, "test", RunContext.Default);
        for (var i = 0; i < paths.Length; i++)
        {
            var (file, codes, minHu, maxHu, sumHu) = s_table[i];
            var scan = scans[i].Scan!;
            Found(paths[i], scan).Should().Be(codes, "of {0}", file);
            if (minHu == maxHu)
                continue;
            var facts = scan.Ct!;
            var (replies, hu) = TestReader.Decode([paths[i]], facts.Rows * facts.Columns, facts.Slices.Count);
            var counts = replies[0].Slices!;
            ((int)counts.Min(c => c.MinHu), (int)counts.Max(c => c.MaxHu)).Should().Be((minHu, maxHu), "of {0}", file);
            if (sumHu != 0)
                hu[0].Sum(h => (long)h).Should().Be(sumHu, "of {0}", file);
        }
    }

    /// <summary>Why the file cannot be used, or what the check of its headers says; not that one slice is no volume, that slices are thick, or that padding is there.</summary>
    private static string Found(string path, ScanResult scan)
    {
        if (scan.Ct is null)
            return scan.Fault!.Code;
        var file = new ScannedFile(0, new InputFile(path, Path.GetFileName(path), new FileInfo(path).Length, ""), scan, null);
        var stack = SeriesSorter.Sort([file]).Stacks.Should().ContainSingle().Subject;
        var check = StackCheck.Check(stack);
        string[] usual = [FindingCodes.TooFewSlices, FindingCodes.ThickSlices];
        return string.Join(' ', check.Stops.Select(s => s.Fault.Code).Concat(check.Findings.Select(f => f.Code)).Except(usual).Order(StringComparer.Ordinal));
    }
}
