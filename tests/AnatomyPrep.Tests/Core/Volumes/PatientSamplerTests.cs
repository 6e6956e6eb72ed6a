using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Tests.Imaging.Volumes;

namespace AnatomyPrep.Tests.Core.Volumes;

public sealed class PatientSamplerTests
{
    /// <summary>Slices turned about two axes, gantry tilted, 1 to 4 mm apart, pixels 0.6 × 0.9 mm.</summary>
    internal static IndexToPatient Oblique(int columns, int rows, int slices, Vec3 centerMm)
    {
        var turn = Affine3.Rotate(new Vec3(0, 0, 1), 0.5).After(Affine3.Rotate(new Vec3(1, 0, 0), -0.35));
        Vec3 column = turn.MapDirection(new Vec3(0.6, 0, 0)), row = turn.MapDirection(new Vec3(0, 0.9, 0));
        var origins = new Vec3[slices];
        double depth = 0;
        for (var k = 0; k < slices; k++)
        {
            origins[k] = turn.MapDirection(new Vec3(0, 0.3 * depth, depth));
            depth += 1 + (k * 7 % 4);
        }

        var shift = centerMm - ((origins[0] + origins[^1]) / 2) - (column * (columns / 2.0)) - (row * (rows / 2.0));
        return new(column, row, origins.Select(o => o + shift).ToArray());
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_linear_field_is_given_back_anywhere_in_a_tilted_oblique_uneven_volume()
    {
        var map = Oblique(30, 25, 9, new Vec3(5, -60, 300));
        static double Field(Vec3 p) => (8 * (p.X - 5)) - (11 * (p.Y + 60)) + (14 * (p.Z - 300));
        using var volume = VolumeSamples.InPatient(30, 25, map, Field);
        var sampler = new PatientSampler(volume);
        var random = new Random(6);
        for (var n = 0; n < 2000; n++)
        {
            var point = map.Map(random.NextDouble() * 29, random.NextDouble() * 24, random.NextDouble() * 8);
            sampler.TrySample(point, out var hu).Should().BeTrue();
            hu.Should().BeApproximately(Field(point), 0.5 + 1e-9, "samples were rounded to whole HU");
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_sample_is_given_exactly_at_its_own_position_and_held_for_half_a_step_beyond_the_border()
    {
        using var volume = VolumeSamples.Random(6, 5, 4, seed: 3, map: VolumeSamples.Straight(4, 0.5, 0.75, 2));
        var sampler = new PatientSampler(volume);
        sampler.TrySample(volume.Map.Map(2, 3, 1), out var inside).Should().BeTrue();
        inside.Should().Be(volume[2, 3, 1]);
        sampler.TrySample(volume.Map.Map(-0.499, 0, 0), out var held).Should().BeTrue();
        held.Should().Be(volume[0, 0, 0]);
        sampler.TrySample(volume.Map.Map(5.499, 4.499, 3.499), out held).Should().BeTrue();
        held.Should().Be(volume[5, 4, 3]);
        foreach (var (i, j, k) in new (double, double, double)[] { (-0.501, 0, 0), (5.501, 0, 0), (0, -0.501, 0), (0, 4.501, 0), (0, 0, -0.501), (0, 0, 3.501) })
            sampler.TrySample(volume.Map.Map(i, j, k), out _).Should().BeFalse();
        sampler.TrySample(new Vec3(double.NaN, 0, 0), out _).Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_single_slice_is_one_millimetre_thick()
    {
        using var volume = VolumeSamples.Of(4, 4, VolumeSamples.Straight(1), (_, _, _) => 77);
        var sampler = new PatientSampler(volume);
        sampler.TrySample(new Vec3(1, 1, 0.49), out var hu).Should().BeTrue();
        hu.Should().Be(77);
        sampler.TrySample(new Vec3(1, 1, 0.51), out _).Should().BeFalse();
    }
}
