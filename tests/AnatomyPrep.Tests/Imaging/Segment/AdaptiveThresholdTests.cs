using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class AdaptiveThresholdTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly AdaptiveOptions s_options = new(200, 620, 3);

    // Plates of 0.5, 0.8, 1, 2 and 3 mm at x = -22.6, -11.3, 0, 11.3, 22.6, at 0.6 mm voxels; edges 2 mm wide, so that the 0.8 mm
    // plate reaches 0.4 of its height, 504 HU, and the plain threshold of thick bone, 620 HU, loses it.
    private static Volume Plates() => PhantomCatalogue.Create("plates", new PhantomOptions { RampHalfWidthMm = 1 }).ToVolume(s_run);

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_plate_of_0_8_mm_survives_at_voxels_of_0_6_mm()
    {
        using var volume = Plates();
        using var plain = Threshold.Apply(volume, new(620, short.MaxValue), s_run);
        using var adaptive = AdaptiveThreshold.Apply(volume, s_options, s_run);

        Near(volume, plain, -11.3).Should().BeEmpty("a plain threshold loses it");
        using var pieces = Components.Find(adaptive, volume.Map, s_run);
        var plate = pieces.PieceAt(At(volume, new(-11.3, 0.11, -0.17)).I, At(volume, new(-11.3, 0.11, -0.17)).J, At(volume, new(-11.3, 0.11, -0.17)).K);
        plate.Should().BeGreaterThanOrEqualTo(0);
        using var whole = pieces.Keep(p => p == plate, s_run);
        // One piece over 30 x 24 mm, without a hole: every line across it meets it, 2 mm off its rim (a ramp and a sample).
        for (var y = -13.0; y <= 13; y += 0.6)
        {
            for (var z = -10.0; z <= 10; z += 0.6)
            {
                // The plate is turned by 8 degrees about z.
                var across = new Vec3(-11.3 - (y * Math.Tan(8 * Math.PI / 180)), 0.11 + y, z - 0.17);
                Enumerable.Range(-3, 7).Any(n => At(volume, across + new Vec3(0.6 * n, 0, 0)) is var s && whole[s.I, s.J, s.K]).Should().BeTrue("at y {0}, z {1}", y, z);
            }
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Thick_bone_comes_out_as_with_the_plain_threshold()
    {
        using var volume = Plates();
        using var plain = Threshold.Apply(volume, new(620, short.MaxValue), s_run);
        using var adaptive = AdaptiveThreshold.Apply(volume, s_options, s_run);
        var truth = Near(volume, plain, 22.6).ToArray();
        truth.Should().NotBeEmpty();
        // Away from the rim of the plate, where a corner of it fills less of the neighbourhood but still reaches its own height.
        Near(volume, adaptive, 22.6).Where(s => Inner(volume, s)).Should().Equal(truth.Where(s => Inner(volume, s)));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_surface_lies_at_half_the_height_of_the_thin_plate()
    {
        using var volume = Plates();
        using var adaptive = AdaptiveThreshold.Apply(volume, s_options, s_run);
        var mesh = FlyingEdges.Extract(volume, adaptive, s_run).Mesh;
        var turn = Affine3.Rotate(new Vec3(0, 0, 1), -8 * Math.PI / 180);
        var offsets = Enumerable.Range(0, mesh.VertexCount).Select(mesh.Vertex).Select(v => turn.MapDirection(v - new Vec3(-11.3, 0.11, -0.17)))
            .Where(v => Math.Abs(v.X) < 4 && Math.Abs(v.Y) < 12 && Math.Abs(v.Z) < 9).Select(v => Math.Abs(v.X)).ToArray();
        // Half of the peak is 272 HU, share 0.2 of the edge: d = W (1 - 2·0.2) = 0.6 mm from the plate's own face at 0.4 mm, by the
        // ramp's formula; the sampled peak is lower by up to half a sample, 0.3 mm of a slope of 580 HU/mm, so the level is too.
        offsets.Should().NotBeEmpty();
        offsets.Average().Should().BeApproximately(0.4 + 0.6, 0.15);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_empty_range_is_refused()
    {
        using var volume = Grid.Noise(5, 5, 5, 1);
        var act = () => AdaptiveThreshold.Apply(volume, new(300, 300, 3), s_run);
        act.Should().Throw<BadInputException>().WithMessage("*plainHu*300*above lowestHu*");
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void It_lies_between_the_two_plain_thresholds_of_its_range()
    {
        using var volume = Grid.Noise(41, 30, 20, 7, -200, 900);
        using var low = Threshold.Apply(volume, new(200, short.MaxValue), s_run);
        using var high = Threshold.Apply(volume, new(620, short.MaxValue), s_run);
        using var adaptive = AdaptiveThreshold.Apply(volume, s_options, s_run);
        foreach (var (i, j, k) in RegionBits.All(adaptive))
        {
            if (high[i, j, k])
                adaptive[i, j, k].Should().BeTrue();
            if (!low[i, j, k])
                adaptive[i, j, k].Should().BeFalse();
            adaptive[i, j, k].Should().Be(volume[i, j, k] >= adaptive.LowerHu(i, j, k));
        }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Grid.Noise(61, 40, 30, 7, -200, 900);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            using var region = AdaptiveThreshold.Apply(volume, s_options, new RunContext(threads: threads));
            return RegionBits.Hash(region);
        }).Distinct().Should().ContainSingle();
    }

    private static IEnumerable<(int I, int J, int K)> Near(Volume volume, Region region, double x) =>
        RegionBits.Inside(region).Where(s => Math.Abs(volume.Map.Map(s.I, s.J, s.K).X - x) < 5.6);

    private static bool Inner(Volume volume, (int I, int J, int K) s) => volume.Map.Map(s.I, s.J, s.K) is var p && Math.Abs(p.Y) < 11 && Math.Abs(p.Z) < 8;

    private static (int I, int J, int K) At(Volume volume, Vec3 p) => volume.Map.Invert(p) is var v ? ((int)Math.Round(v.X), (int)Math.Round(v.Y), (int)Math.Round(v.Z)) : default;
}
