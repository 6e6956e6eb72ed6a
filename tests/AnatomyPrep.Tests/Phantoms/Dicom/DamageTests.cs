using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Tests.Phantoms.Dicom;

public sealed class DamageTests
{
    private static readonly PhantomSeries s_series = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = new Vec3(4, 4, 4) });

    [Fact]
    [Trait("Kind", "Outside")]
    public void A_truncated_file_is_refused_by_the_gate()
    {
        using var folder = new TestFolder();
        var bytes = s_series.FileOf(2).Encode();
        foreach (var kept in (int[])[140, 900, bytes.Length / 2, bytes.Length - 1])
        {
            File.WriteAllBytes(folder["cut.dcm"], Damage.Truncate(bytes, kept));
            Tool.Run("dcmdump", "-q", folder["cut.dcm"]).ExitCode.Should().NotBe(0, "of {0} of {1} bytes", kept, bytes.Length);
        }
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Damaged_attributes_read_back_as_damaged()
    {
        using var folder = new TestFolder();
        string Dump(Action<DicomFile> damage)
        {
            var file = s_series.FileOf(2);
            damage(file);
            File.WriteAllBytes(folder["damaged.dcm"], file.Encode());
            return Tool.Run("dcmdump", "-q", "-Un", folder["damaged.dcm"]).Output;
        }

        Dump(f => Damage.Drop(f, Tags.PixelSpacing)).Should().NotContain("(0028,0030)").And.Contain("(0020,0032)");
        Dump(f => Damage.Drop(f, Tags.ImagePositionPatient)).Should().NotContain("(0020,0032)");
        Dump(f => Damage.AsMr(f)).Should().Contain("(0002,0002) UI [1.2.840.10008.5.1.4.1.1.4]").And.Contain("(0008,0060) CS [MR]");
        Dump(f => Damage.AsSecondaryCapture(f)).Should().Contain("(0008,0016) UI [1.2.840.10008.5.1.4.1.1.7]").And.NotContain("(0020,0032)");
        Dump(f => Damage.AsScout(f)).Should().Contain("LOCALIZER");
        Dump(f => Damage.ClaimRows(f, 999)).Should().Contain("(0028,0010) US 999");
        Dump(f => Damage.ClaimTilt(f, 7.5)).Should().Contain("(0018,1120) DS [7.5]");
        Dump(f => Damage.OtherFrameOfReference(f)).Should().NotContain(s_series.FrameOfReferenceUid);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Damage_that_would_be_none_is_refused()
    {
        var file = s_series.FileOf(0);
        var drop = () => Damage.Drop(file, new DicomTag(0x0099, 0x0001));
        drop.Should().Throw<ArgumentException>().WithMessage("*(0099,0001)*");
        Damage.Flip([1, 2, 3], 1).Should().Equal(1, 253, 3);
    }
}
