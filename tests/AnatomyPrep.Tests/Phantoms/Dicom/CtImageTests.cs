using System.Text;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Tests.Phantoms.Dicom;

public sealed class CtImageTests
{
    private static readonly PhantomSeries s_plain = PhantomCatalogue.Create("wedge", new PhantomOptions { SpacingMm = new Vec3(4, 5, 6), NoiseSigmaHu = 10 });

    private static readonly Dictionary<string, PhantomSeries> s_variants = new()
    {
        ["plain"] = s_plain,
        ["implicit"] = s_plain with { Stored = new StoredFormat { ImplicitVr = true } },
        ["12 bits unsigned, padded"] = s_plain with
        {
            Acquisition = s_plain.Acquisition with { CircleRadiusMm = 30 },
            Stored = new StoredFormat { BitsStored = 12, Signed = false },
        },
        ["16 bits signed, padded, feet first"] = s_plain with { Acquisition = s_plain.Acquisition with { CircleRadiusMm = 30 }, PatientPosition = "FFS" },
        ["oblique, tilted"] = PhantomCatalogue.Create("wedge", new PhantomOptions
        {
            SpacingMm = new Vec3(4, 5, 6),
            Orientation = SliceOrientation.Axial.Turned(new Vec3(1, 2, 3), 20),
            GantryTiltDeg = -12.5,
        }),
        ["telltales"] = s_plain with { Identity = Identity.FullOfTelltales(1) },
        ["telltales, implicit"] = s_plain with { Identity = Identity.FullOfTelltales(1), Stored = new StoredFormat { ImplicitVr = true } },
    };

    public static TheoryData<string> VariantNames => [.. s_variants.Keys];

    [Theory]
    [Trait("Kind", "Outside")]
    [MemberData(nameof(VariantNames))]
    public void The_validators_find_no_error(string variant)
    {
        using var folder = new TestFolder();
        var file = folder["slice.dcm"];
        File.WriteAllBytes(file, s_variants[variant].FileOf(3).Encode());
        // dciodvfy (dicom3tools) checks the CT Image IOD, module by module; dcmdump (DCMTK) the encoding.
        var (_, output, errors) = Tool.Run("dciodvfy", file);
        (output + errors).Split('\n').Where(line => line.Contains("Error", StringComparison.Ordinal)).Should().BeEmpty();
        (output + errors).Should().Contain("CTImage");
        var dump = Tool.Run("dcmdump", "-q", file);
        dump.ExitCode.Should().Be(0);
        dump.Errors.Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_telltale_is_in_the_file_and_in_no_other()
    {
        var identity = Identity.FullOfTelltales(1);
        identity.Telltales.Should().HaveCountGreaterThan(50).And.OnlyHaveUniqueItems();
        var telling = Encoding.UTF8.GetString(s_variants["telltales"].FileOf(0).Encode());
        var plain = Encoding.UTF8.GetString(s_plain.FileOf(0).Encode());
        identity.Telltales.Should().OnlyContain(word => telling.Contains(word, StringComparison.Ordinal));
        identity.Telltales.Should().OnlyContain(word => !plain.Contains(word, StringComparison.Ordinal));
        Identity.FullOfTelltales(2).Telltales.Intersect(identity.Telltales).Should().Equal("19370213");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_invented_person_is_marked_invented()
    {
        var set = s_plain.FileOf(0).DataSet;
        set.TextOf(Tags.PatientName).Should().StartWith("INVENTED");
        set.TextOf(Tags.PatientId).Should().StartWith("INVENTED");
        set.TextOf(Tags.InstitutionName).Should().StartWith("INVENTED");
        Identity.FullOfTelltales(1).PatientName.Should().EndWith("^INVENTED");
    }
}
