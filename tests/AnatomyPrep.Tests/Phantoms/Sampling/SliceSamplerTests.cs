using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Tests.Phantoms.Sampling;

public sealed class SliceSamplerTests
{
    [Theory]
    [Trait("Kind", "Same")]
    [InlineData("teaching-skull", 6.1)]
    [InlineData("head", 3.3)]
    [InlineData("plates", 0.9)]
    [InlineData("vessel", 1.9)]
    [InlineData("wedge", 1.7)]
    public void Sampling_by_blocks_gives_every_bit_of_the_scene_itself(string name, double spacing)
    {
        var series = PhantomCatalogue.Create(name, new PhantomOptions
        {
            SpacingMm = new Vec3(spacing, spacing * 1.1, spacing * 4),
            Orientation = SliceOrientation.Axial.Turned(new Vec3(1, 2, 3), 17),
        });
        var geometry = new SliceGeometry(series.Acquisition);
        var sampler = new SliceSampler(series.Scene, series.Acquisition, geometry, new StoredFormat());
        var hu = new double[series.Acquisition.Columns * series.Acquisition.Rows];
        for (var slice = 0; slice < series.Slices; slice += 7)
        {
            sampler.IdealHu(slice, hu);
            for (var i = 0; i < hu.Length; i++)
            {
                var expected = series.Scene.HuAt(geometry.Map.Map(i % series.Acquisition.Columns, i / series.Acquisition.Columns, slice));
                if (!hu[i].Equals(expected))
                    hu[i].Should().Be(expected, "at sample {0} of slice {1}", i, slice);
            }
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Partial_volume_is_the_share_of_the_voxel_within()
    {
        // A step in x at 0.3 mm, voxels 1 mm: the voxel at x = 0 runs from -0.5 to 0.5, so 8/10 of it lie below 0.3 (subsamples
        // at -0.45, -0.35 ... 0.45); its neighbours are whole.
        var scene = new Scene
        {
            Name = "step",
            Purpose = "A step.",
            BackgroundHu = 0,
            RampHalfWidthMm = 0,
            Layers = [new Layer("half", new HalfSpace(new Vec3(0.3, 0, 0), new Vec3(1, 0, 0)), 1000, 0)],
            FieldOfViewMm = new Box3(new Vec3(-3, -3, -3), new Vec3(3, 3, 3)),
            TruthLevelsHu = [],
        };
        var acquisition = Acquisition.Covering(scene.FieldOfViewMm, 1, 1, 1) with { SubsamplesPerAxis = 10 };
        var sampler = new SliceSampler(scene, acquisition, new SliceGeometry(acquisition), new StoredFormat());
        var hu = new double[49];
        sampler.IdealHu(3, hu);
        hu[21..28].Select(v => Math.Round(v)).Should().Equal(1000, 1000, 1000, 800, 0, 0, 0);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Thickness_spreads_subsamples_along_the_slice_normal()
    {
        // A step in z at 0.3 mm seen by slices 4 mm thick every 1 mm: the slice at 0 runs from -2 to 2, so 23 of its 40
        // subsamples (at -1.95 ... 1.95) lie at or below 0.3.
        var scene = new Scene
        {
            Name = "step",
            Purpose = "A step.",
            BackgroundHu = 0,
            RampHalfWidthMm = 0,
            Layers = [new Layer("half", new HalfSpace(new Vec3(0, 0, 0.3), new Vec3(0, 0, 1)), 1000, 0)],
            FieldOfViewMm = new Box3(new Vec3(-1, -1, -3), new Vec3(1, 1, 3)),
            TruthLevelsHu = [],
        };
        var acquisition = Acquisition.Covering(scene.FieldOfViewMm, 1, 1, 1) with { SubsamplesPerAxis = 40, SliceThicknessMm = 4, Columns = 1, Rows = 1 };
        var sampler = new SliceSampler(scene, acquisition, new SliceGeometry(acquisition), new StoredFormat());
        var hu = new double[1];
        sampler.IdealHu(3, hu);
        hu[0].Should().BeApproximately(1000 * 23 / 40.0, 1e-6);
    }
}
