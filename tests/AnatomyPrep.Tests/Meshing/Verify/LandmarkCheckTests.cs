using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class LandmarkCheckTests
{
    private const double ToleranceMm = 0.5;

    private static readonly RunContext s_run = new();
    private static readonly Landmark[] s_ends = [new("left", new(51.5, 0, 0)), new("right", new(-52, 0, 0)), new("top", new(0, 0, 52))];

    /// <summary>Corners of the ball lie on its axes, so landmarks put outside come to lie exactly there: 100 mm apart, 102 on a ball 2 % larger.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Distances_on_a_ball_are_its_diameter()
    {
        var same = Measure(1);
        same.Findings.Should().BeEmpty();
        same.Distances[0].SourceMm.Should().BeApproximately(100, 1e-5);
        same.Distances[0].DifferenceMm.Should().BeApproximately(0, 1e-9);
        same.Landmarks[0].SourceOffMm.Should().BeApproximately(1.5, 1e-5);

        var larger = Measure(1.02);
        larger.Distances[0].DifferenceMm.Should().BeApproximately(2, 1e-5);
        larger.Findings.Select(f => f.Code).Should().Contain(FindingCodes.DistanceDiffers);
    }

    /// <summary>Along x only the columns count: u = sqrt(2)·0.5/sqrt(12) for a step of 0.5 mm, U twice that.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Along_the_columns_the_uncertainty_is_that_of_their_step()
    {
        var d = Measure(1).Distances[0];
        d.FromColumnsMm.Should().BeApproximately(0.5 / Math.Sqrt(6), 1e-6);
        d.FromRowsMm.Should().BeApproximately(0, 1e-6);
        d.FromSlicesMm.Should().BeApproximately(0, 1e-6);
        d.ExpandedMm.Should().BeApproximately(2 * 0.5 / Math.Sqrt(6), 1e-6);
    }

    /// <summary>Slices 2 mm apart in a gantry tilted about x by 30 degrees, their step along z: along z it counts whole, rows by their share along z.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Tilt_and_thickness_are_in_the_budget()
    {
        var row = new Vec3(0, 0.5 * Math.Cos(Math.PI / 6), 0.5 * Math.Sin(Math.PI / 6));
        Vec3[] slices = [.. Enumerable.Range(-60, 121).Select(k => new Vec3(-100, -100, 2 * k))];
        var map = new IndexToPatient(new(0.5, 0, 0), row, slices);
        Landmark[] ends = [new("foot", new(0, 0, -50)), new("head", new(0, 0, 50))];
        var ball = TriangleTree.Build(TestMeshes.Icosphere(5, 50), s_run);
        var thin = LandmarkCheck.Measure(ends, [(0, 1)], ball, ball, map, null, ToleranceMm, s_run).Distances[0];
        thin.FromSlicesMm.Should().BeApproximately(2 / Math.Sqrt(6), 1e-5);
        thin.FromRowsMm.Should().BeApproximately(0.25 / Math.Sqrt(6), 1e-5);
        thin.StandardMm.Should().BeApproximately(Math.Sqrt((4 + 0.0625) / 6), 1e-5);

        // Twice as thick as the slices' distance across them, 2·cos 30°.
        var thick = LandmarkCheck.Measure(ends, [(0, 1)], ball, ball, map, 4 * Math.Cos(Math.PI / 6), ToleranceMm, s_run).Distances[0];
        thick.FromSlicesMm.Should().BeApproximately(4 / Math.Sqrt(6), 1e-5);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_point_far_from_the_surface_is_told_and_not_measured()
    {
        var ball = TriangleTree.Build(TestMeshes.Icosphere(4, 50), s_run);
        var figures = LandmarkCheck.Measure([s_ends[0], new("lost", new(0, 0, 0))], [(0, 1)], ball, ball, Straight(), null, ToleranceMm, s_run);
        figures.Distances.Should().BeEmpty();
        figures.Findings.Should().HaveCount(2).And.OnlyContain(f => f.Code == FindingCodes.LandmarkFar, "it is far from the images' surface and from the model");
    }

    private static LandmarkFigures Measure(double scale)
    {
        var ball = TestMeshes.Icosphere(5, 50);
        return LandmarkCheck.Measure(s_ends, [(0, 1), (1, 2)], TriangleTree.Build(ball, s_run), TriangleTree.Build(ball.Moved(Affine3.Scale(scale)), s_run), Straight(), null, ToleranceMm, s_run);
    }

    private static IndexToPatient Straight() => new(new(0.5, 0, 0), new(0, 0.5, 0), [.. Enumerable.Range(-100, 201).Select(k => new Vec3(-100, -100, k))]);
}
