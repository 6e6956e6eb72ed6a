using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class RemoveSupportTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly HuWindow s_skin = new(-480, short.MaxValue);
    private static readonly HuWindow s_bone = new(300, short.MaxValue);

    // A head of 30 mm radius with a skull, an ear on its left side, and a shell of 350 HU, 3 mm thick, that the ear touches.
    private static Volume HeadInRest()
    {
        static double Soft(double d, double widthMm = 1) => Math.Clamp(0.5 - (d / widthMm), 0, 1);
        static double Hu(Vec3 p)
        {
            var r = p.Length;
            var ear = Math.Max(Math.Max(Math.Abs(p.Y) - 3, Math.Abs(p.Z) - 9), Math.Max(28 - p.X, p.X - 38));
            var shell = Math.Max(Math.Abs(p.X - 39.5) - 1.5, Math.Abs(p.Y) - 30);
            var hu = -1000 + (1040 * Math.Max(Soft(r - 30), Soft(ear)));
            hu += (1100 - 40) * Math.Min(Soft(r - 26), Soft(22 - r));
            return hu + ((350 - hu) * Soft(shell));
        }

        return Grid.FromPatient(95, 81, Grid.Map(95, 81, 75), Hu);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Skull_stays_sample_by_sample_and_the_shell_goes()
    {
        using var volume = HeadInRest();
        using var bone = Threshold.Apply(volume, s_bone, s_run);
        var result = RemoveSupport.Apply(volume, bone, new(), s_run);
        using (result.Region)
        {
            foreach (var (i, j, k) in RegionBits.All(bone))
                result.Region[i, j, k].Should().Be(bone[i, j, k] && volume.Map.Map(i, j, k).Length < 30);
            result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SupportRemoved);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Skin_keeps_the_ear_that_touches_the_shell()
    {
        using var volume = HeadInRest();
        using var skin = Threshold.Apply(volume, s_skin, s_run);
        using (var joined = Components.Find(skin, volume.Map, s_run))
            joined.Pieces.Should().ContainSingle("head, ear and shell hang together");
        using var kept = RemoveSupport.Apply(volume, skin, new(), s_run).Region;

        RegionBits.Inside(kept).Should().OnlyContain(s => volume.Map.Map(s.I, s.J, s.K).X < 38);
        // The shell's blurred edge, 1.5 mm from its hard part, goes with it; the ear stays up to there.
        foreach (var (i, j, k) in RegionBits.Inside(skin).Where(s => volume.Map.Map(s.I, s.J, s.K).X < 35.5))
            kept[i, j, k].Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_dry_skull_is_left_as_it_is_with_a_caution()
    {
        using var volume = Grid.FromPatient(71, 71, Grid.Map(71, 71, 71), p => Math.Abs(p.Length - 28) < 2.5 ? 1000 : -1000);
        using var bone = Threshold.Apply(volume, s_bone, s_run);
        var result = RemoveSupport.Apply(volume, bone, new(), s_run);
        using (result.Region)
        {
            RegionBits.Hash(result.Region).Should().Be(RegionBits.Hash(bone));
            result.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.SupportNotJudged && f.Severity == Severity.Caution);
        }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = HeadInRest();
        using var skin = Threshold.Apply(volume, s_skin, s_run);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            using var kept = RemoveSupport.Apply(volume, skin, new(), new RunContext(threads: threads)).Region;
            return RegionBits.Hash(kept);
        }).Distinct().Should().ContainSingle();
    }
}
