using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class CutBoxTests
{
    private static readonly RunContext s_run = new();

    /// <summary>A box cut out of a box is a box: volume and area of the cut faces in closed form.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void A_box_in_a_box_has_the_volume_of_what_both_share() =>
        Gen.Select(Gen.Double[-4, 12], Gen.Double[-4, 12], Gen.Double[-4, 12], Gen.Double[0.5, 12], Gen.Double[0.5, 12], Gen.Double[0.5, 12]).Sample(
            (x, y, z, dx, dy, dz) =>
            {
                Vec3 min = new(x, y, z), max = min + new Vec3(dx, dy, dz);
                Vec3 low = Vec3.Max(min, Vec3.Zero), high = Vec3.Min(max, new(10, 10, 10)), size = high - low;
                // Slivers within rounding of a face are another test's subject.
                if (Math.Min(size.X, Math.Min(size.Y, size.Z)) < 1e-3 || size == new Vec3(10, 10, 10) || NearFace(min) || NearFace(max))
                    return;
                var solid = Solids.GridBox(4, 10);
                var cut = CutBox.Apply(solid, new(min, max), s_run);
                MeshAssert.IsSolid(cut.Mesh);
                cut.Effect.VolumeAfterMm3.Should().BeApproximately(size.X * size.Y * size.Z, 1e-3);
                MeshAssert.VolumesAsStated(solid, cut.Mesh, cut.Effect);
                double section = 0;
                for (var axis = 0; axis < 3; axis++)
                {
                    var face = size[(axis + 1) % 3] * size[(axis + 2) % 3];
                    section += (min[axis] > 0 ? face : 0) + (max[axis] < 10 ? face : 0);
                }

                MeshMeasures.AreaByOriginMm2(cut.Mesh)[(int)Origin.Cut].Should().BeApproximately(section, 1e-3);
            },
            iter: 200);

    private static bool NearFace(Vec3 p) => new[] { p.X, p.Y, p.Z }.Any(c => Math.Abs(c) < 1e-3 || Math.Abs(c - 10) < 1e-3);

    [Fact]
    [Trait("Kind", "Truth")]
    public void An_eighth_of_a_ball_has_an_eighth_of_its_volume()
    {
        var ball = Solids.Icosphere(4, 10);
        var cut = CutBox.Apply(ball, new(Vec3.Zero, new(11, 11, 11)), s_run);
        MeshAssert.IsSolid(cut.Mesh);
        // The icosphere is symmetric in the three coordinate planes, so the eighth is exact up to rounding.
        cut.Effect.VolumeAfterMm3.Should().BeApproximately(MeshAssert.VolumeMm3(ball) / 8, 1e-3);
        cut.Effect.Measures!["cuts"].Should().Be(3);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Outside_keeps_the_triangles_whose_centres_lie_outside()
    {
        var ball = Solids.Icosphere(3, 10);
        CutBoxParameters zone = new(new(0, 0, 0), new(20, 20, 20), ZoneKeep.Outside);
        var cut = CutBox.Apply(ball, zone, s_run);
        var outside = Enumerable.Range(0, ball.TriangleCount).Count(t =>
        {
            var (a, b, c) = ball.Triangle(t);
            var center = (ball.Vertex(a) + ball.Vertex(b) + ball.Vertex(c)) / 3;
            return center.X < 0 || center.Y < 0 || center.Z < 0;
        });
        cut.Mesh.TriangleCount.Should().Be(outside);
        cut.Effect.Measures!["removedTriangles"].Should().Be(ball.TriangleCount - outside);
        EdgeTable.Build(cut.Mesh).BoundaryEdges.Should().BePositive();
        MeshAssert.IsManifold(cut.Mesh);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Without_caps_the_cut_stays_open()
    {
        var ball = Solids.Icosphere(3, 10);
        var open = CutBox.Apply(ball, new(new(-20, -20, -3), new(20, 20, 4), Cap: false), s_run).Mesh;
        MeshAssert.IsManifold(open);
        open.Origins.Contains(Origin.Cut).Should().BeFalse();
        var capped = CutBox.Apply(ball, new(new(-20, -20, -3), new(20, 20, 4)), s_run);
        (MeshMeasures.AreaMm2(capped.Mesh) - MeshMeasures.AreaMm2(open)).Should().BeApproximately(MeshMeasures.AreaByOriginMm2(capped.Mesh)[(int)Origin.Cut], 1e-3);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Boxes_that_miss_hold_all_or_are_none_are_refused()
    {
        var ball = Solids.Icosphere(2, 10);
        foreach (var keep in (ZoneKeep[])[ZoneKeep.Inside, ZoneKeep.Outside])
        {
            var missed = () => CutBox.Apply(ball, new(new(20, 0, 0), new(30, 10, 10), keep), s_run);
            missed.Should().Throw<CheckFailedException>();
            var all = () => CutBox.Apply(ball, new(new(-20, -20, -20), new(20, 20, 20), keep), s_run);
            all.Should().Throw<CheckFailedException>();
            var none = () => CutBox.Apply(ball, new(new(1, 1, 1), new(1, 2, 2), keep), s_run);
            none.Should().Throw<PlanException>().Which.Parameter.Should().Be("minMm, maxMm");
            var number = () => CutBox.Apply(ball, new(new(double.NaN, 1, 1), new(1, 2, 2), keep), s_run);
            number.Should().Throw<PlanException>();
            var empty = () => CutBox.Apply(Mesh.Empty, new(Vec3.Zero, new(1, 1, 1), keep), s_run);
            empty.Should().Throw<CheckFailedException>();
        }
    }
}
