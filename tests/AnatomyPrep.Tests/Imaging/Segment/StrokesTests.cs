using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class StrokesTests
{
    private static readonly RunContext s_run = RunContext.Default;

    // Non-square pixels and slices that slip sideways: a stroke means patient space.
    private static readonly IndexToPatient s_tilted = new(
        new Vec3(0.7, 0, 0), new Vec3(0, 1.1, 0), [.. Enumerable.Range(0, 20).Select(k => new Vec3(-20, -20 + (0.3 * k), -10 + k))]);

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_ball_takes_exactly_what_lies_within_its_radius_of_the_path()
    {
        using var volume = Empty();
        using var nothing = Threshold.Apply(volume, new(1, 2), s_run);
        using var painted = Strokes.Apply(volume, nothing, new([new(-10, 0, -4), new(5, 6, 3)], 4), true, null, s_run).Region;
        foreach (var (i, j, k) in RegionBits.All(painted))
        {
            var p = s_tilted.Map(i, j, k);
            Vec3 a = new(-10, 0, -4), along = new(15, 6, 7);
            var t = Math.Clamp(Vec3.Dot(p - a, along) / along.LengthSquared, 0, 1);
            painted[i, j, k].Should().Be(Vec3.Distance(p, a + (along * t)) <= 4);
        }
    }

    [Theory]
    [InlineData(0, 0, 1)]
    [InlineData(0, 1, 0)]
    [InlineData(2, 0, 0)]
    [Trait("Kind", "Truth")]
    public void Discs_on_two_planes_are_interpolated_between_them(double nx, double ny, double nz)
    {
        using var volume = Empty();
        using var nothing = Threshold.Apply(volume, new(1, 2), s_run);
        var n = new Vec3(nx, ny, nz).Normalized();
        var side = new Vec3(n.Y, n.Z, n.X);
        // Discs of 5 mm at heights -4 and 4, the second shifted by 4 mm: between them a slanting cylinder by
        // (1 - s)(|p| - 5) + s(|p - 4 e| - 5) <= 0.
        Vec3 low = n * -4, high = (n * 4) + (side * 4);
        using var painted = Strokes.Apply(volume, nothing, new([low, high], 5, new Vec3(nx, ny, nz)), true, null, s_run).Region;
        foreach (var (i, j, k) in RegionBits.All(painted))
        {
            var p = s_tilted.Map(i, j, k);
            var height = Vec3.Dot(n, p);
            var flat = p - (n * height);
            var s = Math.Clamp((height + 4) / 8, 0, 1);
            var value = ((1 - s) * (flat.Length - 5)) + (s * ((flat - (side * 4)).Length - 5));
            if (Math.Abs(value) > 1e-9 && Math.Abs(Math.Abs(height) - 4.5) > 1e-9)
                painted[i, j, k].Should().Be(value < 0 && Math.Abs(height) < 4.5);
        }
    }

    [Fact]
    public void Erasing_takes_away_and_adding_may_be_held_to_a_window()
    {
        using var volume = Grid.FromIndex(40, 36, s_tilted, (i, _, _) => (short)(i < 25 ? 300 : -100));
        using var bone = Threshold.Apply(volume, new(200, 400), s_run);
        var stroke = new Stroke([new(-2, 0, 0)], 6);
        using var erased = Strokes.Apply(volume, bone, stroke, false, null, s_run).Region;
        foreach (var (i, j, k) in RegionBits.All(bone))
            erased[i, j, k].Should().Be(bone[i, j, k] && Vec3.Distance(s_tilted.Map(i, j, k), new(-2, 0, 0)) > 6);
        using var again = Strokes.Apply(volume, erased, stroke, true, new HuWindow(200, 400), s_run).Region;
        RegionBits.Hash(again).Should().Be(RegionBits.Hash(bone), "within the window the same stroke brings back what it took");
        using var beyond = Strokes.Apply(volume, erased, stroke, true, null, s_run).Region;
        beyond.CountSamples().Should().BeGreaterThan(bone.CountSamples());
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Strokes_that_can_do_nothing_say_so()
    {
        using var volume = Empty();
        using var nothing = Threshold.Apply(volume, new(1, 2), s_run);
        var missed = Strokes.Apply(volume, nothing, new([new(500, 0, 0)], 3), true, null, s_run);
        missed.Region.Dispose();
        missed.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.StrokeWithoutEffect);
        ((Action)(() => Strokes.Apply(volume, nothing, new([], 3), true, null, s_run))).Should().Throw<BadInputException>().WithMessage("*at least one point*");
        ((Action)(() => Strokes.Apply(volume, nothing, new([new(double.NaN, 0, 0)], 3), true, null, s_run))).Should().Throw<BadInputException>().WithMessage("*finite*");
        ((Action)(() => Strokes.Apply(volume, nothing, new([Vec3.Zero], 3, Vec3.Zero), true, null, s_run))).Should().Throw<BadInputException>().WithMessage("*normal*length but zero*");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Grid.Noise(40, 30, 20, 3);
        using var region = Threshold.Apply(volume, new(0, 1), s_run);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            using var painted = Strokes.Apply(volume, region, new([new(-5, 0, -3), new(5, 2, 3)], 4, new(0, 0, 1)), true, null, new RunContext(threads: threads)).Region;
            return RegionBits.Hash(painted);
        }).Distinct().Should().ContainSingle();
    }

    private static Volume Empty() => Grid.FromIndex(60, 36, s_tilted, (_, _, _) => 0);
}
