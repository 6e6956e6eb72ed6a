using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;

namespace AnatomyPrep.Tests.Core.Plans;

public sealed class PlanStructureTests
{
    [Theory]
    [InlineData("soft tissue", "soft-tissue")]
    [InlineData("C1 / C2", "c1-c2")]
    [InlineData("../../etc/passwd", "etc-passwd")]
    [InlineData(".hidden\0", "hidden")]
    [InlineData("Knochen, groß", "knochen-gro")]
    [InlineData("—", "")]
    [Trait("Kind", "Hostile")]
    public void Names_become_plain_file_names(string name, string file) => new PlanStructure(name, default, null, []).FileName.Should().Be(file);

    [Theory]
    [InlineData("#D55E00", true)]
    [InlineData("#d55e00", true)]
    [InlineData("D55E00", false)]
    [InlineData("#D55E0", false)]
    [InlineData("# 55E00", false)]
    [InlineData("#-55E00", false)]
    [InlineData("", false)]
    public void Colours_are_six_hex_digits(string text, bool good)
    {
        Rgb.TryParse(text, out var colour).Should().Be(good);
        if (good)
            colour.ToHex().Should().Be("#D55E00");
    }
}
