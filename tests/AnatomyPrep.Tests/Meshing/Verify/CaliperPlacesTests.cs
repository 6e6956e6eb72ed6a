using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class CaliperPlacesTests
{
    private static readonly RunContext s_run = new();

    /// <summary>Between parallel faces every place reads the same: 90, 60 and 30 mm, whatever the jaws do.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_box_is_measured_between_its_faces()
    {
        var distances = CaliperPlaces.Choose(TestMeshes.Box(new Vec3(5, 6, 7), new Vec3(95, 66, 37)), 3, s_run);
        distances.Select(d => d.Name).Should().Equal("X1", "X2", "X3", "Y1", "Y2", "Y3", "Z1", "Z2", "Z3");
        foreach (var d in distances)
        {
            d.LengthMm.Should().BeApproximately(((double[])[90, 60, 30])[d.Axis], 1e-4);
            d.PlacementMm.Should().BeLessThan(1e-4);
            Vec3.Distance(d.FromMm, d.ToMm).Should().BeApproximately(d.LengthMm, 1e-9);
            (d.FromMm - d.ToMm).Normalized()[d.Axis].Should().BeApproximately(1, 1e-9);
        }

        // Spread over the faces, not one place three times.
        foreach (var axis in distances.GroupBy(d => d.Axis))
            foreach (var (a, b) in Pairs([.. axis]))
                Vec3.Distance(a.FromMm, b.FromMm).Should().BeGreaterThan(12);
    }

    /// <summary>
    /// A ball of 40 mm has width 80 in every direction. Facets of the 20,480 lie inside by at most their edge²/(8·r) = 1.3²/320 &lt; 0.006 mm a side, rays
    /// miss at most (1.5/√2)²/(2·40) = 0.014 mm a side, and a jaw 2 mm aside, whose edge is still on the top, changes nothing.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_ball_is_as_wide_everywhere()
    {
        var distances = CaliperPlaces.Choose(TestMeshes.Icosphere(5, 40), 3, s_run);
        distances.Should().HaveCount(9);
        distances.Should().OnlyContain(d => Math.Abs(d.LengthMm - 80) < 0.04 && d.PlacementMm < 0.05);
    }

    [Fact]
    public void Scaled_by_one_percent_the_same_places_are_one_percent_longer()
    {
        var model = TestMeshes.Box(Vec3.Zero, new Vec3(80, 50, 40));
        var larger = TestMeshes.Box(Vec3.Zero, new Vec3(80.8, 50.5, 40.4));
        var pairs = CaliperPlaces.Choose(model, 2, s_run).Zip(CaliperPlaces.Choose(larger, 2, s_run));
        pairs.Should().OnlyContain(p => p.First.Name == p.Second.Name && Math.Abs((p.Second.LengthMm / p.First.LengthMm) - 1.01) < 1e-5);
    }

    [Fact]
    [Trait("Kind", "Threads")]
    public void Same_places_on_any_number_of_threads()
    {
        var model = TestMeshes.Icosphere(4, 30);
        var expected = CaliperPlaces.Choose(model, 3, new RunContext(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
            CaliperPlaces.Choose(model, 3, new RunContext(threads: threads)).Should().Equal(expected);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_no_caliper_can_hold_is_refused()
    {
        // Below 5 mm, without area, and a sheet without an opposite side.
        foreach (var mesh in (Mesh[])[TestMeshes.Box(Vec3.Zero, new Vec3(2, 2, 2)), Mesh.Empty, new(Vec3.Zero, [0, 0, 0, 50, 0, 0, 0, 50, 0], [0, 1, 2])])
            FluentActions.Invoking(() => CaliperPlaces.Choose(mesh, 3, s_run)).Should().Throw<CheckFailedException>().Which.Check.Should().Be("caliper distances");
    }

    private static IEnumerable<(CaliperDistance A, CaliperDistance B)> Pairs(CaliperDistance[] of)
    {
        for (var i = 0; i < of.Length; i++)
            for (var j = i + 1; j < of.Length; j++)
                yield return (of[i], of[j]);
    }
}
