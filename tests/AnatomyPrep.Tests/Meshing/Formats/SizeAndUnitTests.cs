using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class SizePlausibilityTests
{
    /// <summary>Living head length 165 to 205 mm, dry skull 165 to 195 mm (reference-values.md, section 1); the rest common practice, no source.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData("head", 165)]
    [InlineData("head", 205)]
    [InlineData("skull", 165)]
    [InlineData("Skull", 195)]
    [InlineData("left femur", 460)]
    [InlineData("hand", 190)]
    [InlineData("mandible", 105)]
    public void Adult_sizes_are_plausible_in_millimetres_and_in_no_unit_ten_times_off(string anatomy, double longestMm)
    {
        SizePlausibility.Check(Box(longestMm), anatomy, LengthUnit.Millimetre, unitIsStated: false).Should().BeNull();
        foreach (var unit in new[] { LengthUnit.Centimetre, LengthUnit.Inch, LengthUnit.Metre })
        {
            var misread = SizePlausibility.Check(Box(longestMm / unit.MmPer()), anatomy, LengthUnit.Millimetre, unitIsStated: false);
            misread!.Code.Should().Be(FindingCodes.SizeImplausible);
            misread.Severity.Should().Be(Severity.Stop);
            misread.Message.Should().Contain(unit.Plural());
        }
    }

    [Theory]
    [InlineData(8, "inches")]
    [InlineData(0.2, "metres")]
    [InlineData(20, "centimetres")]
    [InlineData(200_000, "micrometres")]
    public void A_head_of_another_unit_looks_like_it(double longestMm, string unit) =>
        SizePlausibility.Check(Box(longestMm), "head", LengthUnit.Millimetre, unitIsStated: false)!.Message.Should().Contain(unit);

    [Fact]
    public void A_head_of_eight_metres_is_told_whatever_was_stated()
    {
        SizePlausibility.Check(Box(8000), "head", LengthUnit.Millimetre, unitIsStated: true)!.Severity.Should().Be(Severity.Caution);
        SizePlausibility.Check(Box(8000), "head", LengthUnit.Metre, unitIsStated: true)!.Message.Should().NotContain("metres or").And.NotContain("like metres");
    }

    [Fact]
    public void Anatomy_that_is_not_known_is_not_silently_passed() =>
        SizePlausibility.Check(Box(1), "unicorn", LengthUnit.Millimetre, unitIsStated: true)!.Code.Should().Be(FindingCodes.SizeNotJudged);

    private static Box3 Box(double longestMm) => new(Vec3.Zero, new Vec3(longestMm / 2, longestMm, longestMm / 3));
}

public sealed class MeshFileTests
{
    [Fact]
    public void A_file_without_a_unit_asks_for_it()
    {
        FormatSamples.Read(FormatSamples.All["off"]).Findings.Should().ContainSingle(f => f.Code == FindingCodes.UnitUnknown).Which.Message.Should().Contain("1 x 1 x 1 mm");
        var given = FormatSamples.Read(FormatSamples.All["off"], new MeshReadOptions(LengthUnit.Inch));
        given.Findings.Should().BeEmpty();
        given.DeclaredUnit.Should().BeNull();
        given.Unit.Should().Be(LengthUnit.Inch);
        MeshMeasures.SignedVolumeMm3(given.Mesh).Should().BeApproximately(16_387.064 / 6, 1e-3, "an inch cubed is 16,387.064 mm³");
    }

    [Fact]
    public void A_unit_that_the_file_contradicts_is_told_and_the_file_believed()
    {
        var read = FormatSamples.Read(FormatSamples.All["3mf"], new MeshReadOptions(LengthUnit.Metre));
        read.Unit.Should().Be(LengthUnit.Millimetre);
        read.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.UnitDisagrees);
    }

    [Fact]
    public void Content_tells_the_format_whatever_the_name_says()
    {
        using var folder = new TestFolder();
        foreach (var (name, content) in new[]
                 {
                     ("stl-binary", FileContent.Stl), ("stl-text", FileContent.Stl), ("ply-text", FileContent.Ply), ("ply-big-endian", FileContent.Ply),
                     ("obj", FileContent.Obj), ("off", FileContent.Off), ("3mf", FileContent.ThreeMf),
                 })
        {
            File.WriteAllBytes(folder["wrong.jpg"], FormatSamples.All[name]);
            MeshFile.Identify(folder["wrong.jpg"]).Should().Be(content);
            MeshFile.Read(folder["wrong.jpg"], MeshReadOptions.Default, FormatSamples.OneThread).Format.Should().Be(name);
        }

        File.WriteAllBytes(folder["p"], FormatSamples.Points["ply-points"]);
        MeshFile.Identify(folder["p"]).Should().Be(FileContent.PlyPoints);
        File.WriteAllBytes(folder["p"], FormatSamples.Points["xyz"]);
        MeshFile.Identify(folder["p"]).Should().Be(FileContent.Xyz);
        File.WriteAllText(folder["p"], "Dear reader,");
        MeshFile.Identify(folder["p"]).Should().BeNull();
    }

    [Fact]
    public void A_binary_file_cut_short_is_said_to_be_cut_short_and_not_unknown() =>
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.All["stl-binary"][..^1])).Should().Throw<BadInputException>().WithMessage("*triangle count*");
}

public sealed class OriginPaletteTests
{
    /// <summary>
    /// Seen with full, without red (protanope) or without green (deuteranope) cones, any two origins differ by 15 CIE76
    /// units or more; 2.3 are just noticeable side by side. Matrices: G. Machado, M. Oliveira, L. Fernandes, "A
    /// Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 2009, severity 1.0, from memory.
    /// </summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData("1 0 0 0 1 0 0 0 1")]
    [InlineData("0.152286 1.052583 -0.204868 0.114503 0.786281 0.099216 -0.003882 -0.048116 1.051998")]
    [InlineData("0.367322 0.860646 -0.227968 0.280085 0.672501 0.047413 -0.011820 0.042940 0.968881")]
    public void Origins_are_told_apart_by_every_common_kind_of_eye(string matrix)
    {
        var m = matrix.Split(' ').Select(w => double.Parse(w, System.Globalization.CultureInfo.InvariantCulture)).ToArray();
        var seen = Enum.GetValues<Origin>().Select(o => Lab(m, OriginPalette.Color(o))).ToArray();
        seen.Length.Should().Be(OriginPalette.Count);
        for (var a = 0; a < seen.Length; a++)
            for (var b = 0; b < a; b++)
                Vec3.Distance(seen[a], seen[b]).Should().BeGreaterThan(15, $"{(Origin)a} and {(Origin)b}");
    }

    private static Vec3 Lab(double[] m, Rgb color)
    {
        static double Linear(double c) => c <= 0.04045 ? c / 12.92 : Math.Pow((c + 0.055) / 1.055, 2.4);
        static double F(double t) => t > 216.0 / 24389 ? Math.Cbrt(t) : ((24389.0 / 27 * t) + 16) / 116;
        double r = Linear(color.Red / 255.0), g = Linear(color.Green / 255.0), b = Linear(color.Blue / 255.0);
        (r, g, b) = (Math.Clamp((m[0] * r) + (m[1] * g) + (m[2] * b), 0, 1), Math.Clamp((m[3] * r) + (m[4] * g) + (m[5] * b), 0, 1), Math.Clamp((m[6] * r) + (m[7] * g) + (m[8] * b), 0, 1));
        double x = F(((0.4124 * r) + (0.3576 * g) + (0.1805 * b)) / 0.95047), y = F((0.2126 * r) + (0.7152 * g) + (0.0722 * b)), z = F(((0.0193 * r) + (0.1192 * g) + (0.9505 * b)) / 1.08883);
        return new((116 * y) - 16, 500 * (x - y), 200 * (y - z));
    }
}
