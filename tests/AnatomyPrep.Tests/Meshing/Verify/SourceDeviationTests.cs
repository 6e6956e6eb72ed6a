using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class SourceDeviationTests
{
    private static readonly RunContext s_run = new();
    private static readonly Mesh s_box = TestMeshes.Box(new(-30, -20, -10), new(30, 20, 10));

    /// <summary>
    /// A box moved by 0.3 mm along x: its far face lies 0.3 outside, its near face 0.3 inside, the others slide on themselves but for a
    /// rim of 0.3 mm beyond the old edge. Ends have 2·800 of 8800 mm²; the sampling adds under 1 %.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Distances_and_histogram_of_a_shifted_box()
    {
        var d = SourceDeviation.Measure(s_box.Moved(Affine3.Translate(new(0.3, 0, 0))), Affine3.Identity, s_box, s_run)!;
        d.MaxMm.Should().BeApproximately(0.3, 1e-5);
        d.P99Mm.Should().BeApproximately(0.3, 1e-5);
        d.P50Mm.Should().BeLessThan(1e-5);
        d.SignedMeanMm.Should().BeApproximately(0, 2e-3);
        d.HistogramShares.Sum().Should().BeApproximately(1, 1e-12);
        d.HistogramShares[3].Should().BeApproximately(800.0 / 8800, 0.01);
        d.HistogramShares[7].Should().BeApproximately(800.0 / 8800, 0.01);
    }

    /// <summary>
    /// A box cut off at x = 0: corners of the new wall lie on the old surface, its middle 10 mm below the top and bottom. The largest is that
    /// of a sample, at most the 10 mm, and short of it by no more than the samples lie apart: 100,000 on 6,400 mm² are 0.25 mm.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void The_middle_of_a_large_triangle_is_not_overlooked()
    {
        var half = TestMeshes.Box(new(-30, -20, -10), new(0, 20, 10));
        var d = SourceDeviation.Measure(half, Affine3.Identity, s_box, s_run)!;
        d.MaxMm.Should().BeInRange(9.75, 10);
        d.MaxAtMm.X.Should().BeApproximately(0, 1e-9);
        d.VertexMm.Max(Math.Abs).Should().BeLessThan(1e-5f);
    }

    /// <summary>Float32 within 200 mm rounds by 8e-6 mm, once on each way.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void What_steps_moved_turned_mirrored_or_scaled_is_moved_back()
    {
        var maps = new[]
        {
            Affine3.Scale(0.5), Affine3.Mirror(new(3, 0, 0), new(1, 1, 0)),
            Affine3.Translate(new(100, -40, 7)).After(Affine3.Rotate(new(1, 2, 3), 1.1)),
            new Affine3(new(1.01, 0, 0), new(0, 1.02, 0), new(0, 0, 1.005), new(1, 2, 3)),
        };
        foreach (var map in maps)
        {
            var placed = s_box.Moved(map);
            var found = KnownPlacement.Between(s_box, placed);
            found.Should().NotBeNull();
            SourceDeviation.Measure(placed, found!.Value, s_box, s_run)!.MaxMm.Should().BeLessThan(1e-4);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Parts_moved_differently_have_no_map_and_what_has_no_surface_no_distance()
    {
        var apart = Solids.Moved(s_box, (_, p) => p.X > 0 ? p + new Vec3(5, 0, 3) : p + new Vec3(0, p.Y * p.Z, 0));
        KnownPlacement.Between(s_box, apart).Should().BeNull();
        KnownPlacement.Between(s_box, Mesh.Empty).Should().BeNull();
        SourceDeviation.Measure(Mesh.Empty, Affine3.Identity, s_box, s_run).Should().BeNull();
        SourceDeviation.Measure(s_box, Affine3.Identity, Mesh.Empty, s_run).Should().BeNull();
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Same_figures_on_any_number_of_threads()
    {
        var model = TestMeshes.Icosphere(4).Moved(Affine3.Scale(20.3));
        var source = TestMeshes.Icosphere(4).Moved(Affine3.Scale(20));
        var one = SourceDeviation.Measure(model, Affine3.Identity, source, new(threads: 1))!;
        foreach (var threads in (int[])[2, 3, 16])
        {
            var many = SourceDeviation.Measure(model, Affine3.Identity, source, new(threads: threads))!;
            many.VertexMm.Should().Equal(one.VertexMm);
            many.HistogramShares.Should().Equal(one.HistogramShares);
            (many.SignedMeanMm, many.MeanMm, many.P95Mm, many.MaxAtMm).Should().Be((one.SignedMeanMm, one.MeanMm, one.P95Mm, one.MaxAtMm));
        }
    }
}
