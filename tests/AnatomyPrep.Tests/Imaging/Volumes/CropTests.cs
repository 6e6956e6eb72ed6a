using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Volumes;
using CsCheck;

namespace AnatomyPrep.Tests.Imaging.Volumes;

public sealed class CropTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_kept_sample_stays_where_it_was()
    {
        using var volume = VolumeSamples.Random(12, 11, 6, seed: 1, map: TiltedAndUneven());
        var box = new SampleBox(3, 2, 1, 7, 5, 4);
        var result = Crop.InSamples(volume, box, RunContext.Default);
        using var part = result.Volume;
        for (var k = 0; k < 4; k++)
        {
            for (var j = 0; j < 5; j++)
            {
                for (var i = 0; i < 7; i++)
                {
                    part[i, j, k].Should().Be(volume[i + 3, j + 2, k + 1]);
                    // Six additions and products of numbers below 200 mm: a few units in their last place (2^-45 mm).
                    Vec3.Distance(part.Map.Map(i, j, k), volume.Map.Map(i + 3, j + 2, k + 1)).Should().BeLessThan(8 * Math.Pow(2, -45));
                }
            }
        }

        part.Map.ColumnStepMm.Should().Be(volume.Map.ColumnStepMm);
        part.Map.RowStepMm.Should().Be(volume.Map.RowStepMm);
        result.Effect.Measures!["keptShare"].Should().Be(140.0 / volume.Count);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_box_in_mm_keeps_the_samples_on_its_faces()
    {
        using var volume = VolumeSamples.Random(20, 20, 10, seed: 1, map: VolumeSamples.Straight(10, 0.1, 0.3, 0.7));
        using var part = Crop.InMm(volume, new Box3(new Vec3(0.3, 0.9, 1.4), new Vec3(0.7, 2.1, 4.2)), RunContext.Default).Volume;
        (part.Columns, part.Rows, part.Slices).Should().Be((5, 5, 5));
        Vec3.Distance(part.Map.Map(0, 0, 0), new Vec3(0.3, 0.9, 1.4)).Should().BeLessThan(1e-12);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void A_box_in_mm_gives_the_smallest_block_that_holds_its_samples_also_tilted_and_uneven()
    {
        using var volume = VolumeSamples.Random(12, 11, 6, seed: 1, map: TiltedAndUneven());
        var corner = Gen.Select(Gen.Double[-25, 45], Gen.Double[-25, 45], Gen.Double[-5, 45], (x, y, z) => new Vec3(x, y, z));
        Gen.Select(corner, corner).Sample(
            (a, b) =>
            {
                var box = new Box3(Vec3.Min(a, b), Vec3.Max(a, b));
                // As promised: a sample within a nanometre of the box belongs to it.
                var expected = Brute(volume, box.Grown(1e-6));
                if (expected is null || expected.Value.Slices == 1)
                {
                    var act = () => Crop.InMm(volume, box, RunContext.Default);
                    act.Should().Throw<BadInputException>();
                    return;
                }

                var result = Crop.InMm(volume, box, RunContext.Default);
                result.Volume.Dispose();
                var m = result.Effect.Measures!;
                new SampleBox((int)m["firstColumn"], (int)m["firstRow"], (int)m["firstSlice"], (int)m["columns"], (int)m["rows"], (int)m["slices"])
                    .Should().Be(expected.Value);
            },
            iter: 300,
            threads: 1);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(-1, 0, 0, 5, 5, 3, "columns")]
    [InlineData(0, 0, 0, 0, 5, 3, "columns")]
    [InlineData(0, 8, 0, 5, 5, 3, "rows")]
    [InlineData(0, 0, 2, 5, 5, 5, "slices")]
    [InlineData(0, 0, 0, 5, 5, 1, "slices")]
    [InlineData(1, 0, 0, int.MaxValue, 5, 3, "columns")]
    public void A_block_that_is_not_in_the_volume_is_refused_by_name(int c, int r, int s, int columns, int rows, int slices, string field)
    {
        using var volume = VolumeSamples.Random(12, 11, 6, seed: 1);
        var act = () => Crop.InSamples(volume, new SampleBox(c, r, s, columns, rows, slices), RunContext.Default);
        act.Should().Throw<BadInputException>().Which.Field.Should().Be(field);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_box_beside_the_volume_is_refused_with_what_the_volume_covers()
    {
        using var volume = VolumeSamples.Random(12, 11, 6, seed: 1);
        var act = () => Crop.InMm(volume, new Box3(new Vec3(50, 0, 0), new Vec3(60, 10, 5)), RunContext.Default);
        act.Should().Throw<BadInputException>().WithMessage("*x 0 to 11*");
        var nothing = () => Crop.InMm(volume, new Box3(new Vec3(double.NaN, 0, 0), new Vec3(60, 10, 5)), RunContext.Default);
        nothing.Should().Throw<BadInputException>();
    }

    private static SampleBox? Brute(Volume volume, Box3 box)
    {
        var inside =
            (from k in Enumerable.Range(0, volume.Slices)
             from j in Enumerable.Range(0, volume.Rows)
             from i in Enumerable.Range(0, volume.Columns)
             where box.Contains(volume.Map.Map(i, j, k))
             select (i, j, k)).ToList();
        if (inside.Count == 0)
            return null;
        int c = inside.Min(p => p.i), r = inside.Min(p => p.j), s = inside.Min(p => p.k);
        return new(c, r, s, inside.Max(p => p.i) - c + 1, inside.Max(p => p.j) - r + 1, inside.Max(p => p.k) - s + 1);
    }

    /// <summary>Rows and columns turned by 30° about z, gantry tilted, slices 2 to 9 mm apart.</summary>
    private static IndexToPatient TiltedAndUneven()
    {
        var turn = Affine3.Rotate(new Vec3(0, 0, 1), Math.PI / 6);
        double[] z = [0, 2, 7, 16, 19, 23];
        return new(turn.MapDirection(new Vec3(2, 0, 0)), turn.MapDirection(new Vec3(0, 2.5, 0)), z.Select(d => new Vec3(0, 0.3 * d, d)).ToArray());
    }
}
