using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class MetalZoneTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void Metal_is_found_its_zone_measured_and_removed_without_inventing_bone()
    {
        // A rod of bone along x, 6 mm in radius, with a ball of metal of 3 mm in its middle.
        using var volume = Grid.FromPatient(81, 25, Grid.Map(81, 25, 25), p =>
            p.Length <= 3 ? 3071 : Math.Clamp(300 + (400 * (6 - Math.Sqrt((p.Y * p.Y) + (p.Z * p.Z)))), -100, 1000));
        using var bone = Threshold.Apply(volume, new(300, short.MaxValue), s_run);
        var (result, zone) = MetalZone.Apply(volume, bone, 3000, 10, true, s_run);
        using (result.Region)
        using (zone)
        {
            result.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.MetalPresent && f.Severity == Severity.Caution);
            var metal = RegionBits.Inside(bone).Where(s => volume[s.I, s.J, s.K] >= 3000).ToArray();
            result.Effect.Measures!["metalMm3"].Should().Be(metal.Length);
            metal.Should().NotBeEmpty().And.OnlyContain(s => !result.Region[s.I, s.J, s.K]);
            // Zone: within 10 mm of the ball's samples, that is |x| up to 13 of 40 along the rod and nothing beyond.
            RegionBits.Inside(zone!).Max(s => volume.Map.Map(s.I, s.J, s.K).Length).Should().BeLessThanOrEqualTo(13);
            zone![40 + 13, 12, 12].Should().BeTrue();

            var mesh = FlyingEdges.Extract(volume, result.Region, s_run).Mesh;
            var (near, all) = UncertainArea.Measure(mesh, volume.Map, zone, s_run);
            // Of the wall, 2 pi · 6 mm round: |x| < sqrt(13² - 6²) = 11.53, and the hole of 4 pi · 9 mm².
            near.Should().BeApproximately((2 * Math.PI * 6 * 2 * 11.53) + (4 * Math.PI * 9), 0.12 * near);
            all.Should().BeGreaterThan(2 * near);
            MeshMeasures.AreaByOriginMm2(mesh)[(int)Origin.Filled].Should().Be(0);
        }
    }

    [Fact]
    public void Without_metal_nothing_changes_and_nothing_is_said()
    {
        using var volume = Grid.Noise(20, 10, 10, 1, 0, 900);
        using var bone = Threshold.Apply(volume, new(300, short.MaxValue), s_run);
        var (result, zone) = MetalZone.Apply(volume, bone, 3000, 10, true, s_run);
        using (result.Region)
            RegionBits.Hash(result.Region).Should().Be(RegionBits.Hash(bone));
        zone.Should().BeNull();
        result.Findings.Should().BeEmpty();
    }
}
