using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

/// <summary>Zones that keep or drop whole triangles: a ball, and a line drawn on the screen.</summary>
public sealed class ZoneTests
{
    private static readonly RunContext s_run = new();

    // Looking along −z from far above without perspective: clip x and y are x/20 and y/20.
    private static readonly double[] s_fromAbove = [0.05, 0, 0, 0, 0, 0.05, 0, 0, 0, 0, -0.01, 0, 0, 0, 0, 1];

    [Fact]
    [Trait("Kind", "Property")]
    public void Inside_and_outside_of_a_ball_share_nothing_and_miss_nothing() =>
        Gen.Select(ShapeGen.Direction, Gen.Double[1, 12]).Sample(
            (to, radius) =>
            {
                var mesh = Solids.Merged(Solids.Icosphere(3, 10), Solids.InsideOut(Solids.Icosphere(2, 6)));
                CutSphereParameters zone = new(to.Normalized() * 9, radius);
                if (!Enumerable.Range(0, mesh.TriangleCount).Any(t => Vec3.Distance(Center(mesh, t), zone.CenterMm) <= radius))
                    return;
                var inside = CutSphere.Apply(mesh, zone, s_run);
                var outside = CutSphere.Apply(mesh, zone with { Keep = ZoneKeep.Outside }, s_run);
                (inside.Mesh.TriangleCount + outside.Mesh.TriangleCount).Should().Be(mesh.TriangleCount);
                (MeshMeasures.AreaMm2(inside.Mesh) + MeshMeasures.AreaMm2(outside.Mesh)).Should().BeApproximately(MeshMeasures.AreaMm2(mesh), 1e-9);
                inside.Effect.ChangedAreaMm2.Should().BeApproximately(MeshMeasures.AreaMm2(outside.Mesh), 1e-9);
                outside.Effect.ChangedAreaMm2.Should().BeApproximately(MeshMeasures.AreaMm2(inside.Mesh), 1e-9);
                MeshAssert.IsManifold(inside.Mesh);
                MeshAssert.IsManifold(outside.Mesh);
                for (var t = 0; t < inside.Mesh.TriangleCount; t++)
                    Vec3.Distance(Center(inside.Mesh, t), zone.CenterMm).Should().BeLessThanOrEqualTo(radius);
            },
            iter: 100);

    /// <summary>Fans that meet in a vertex alone are parted, so what is left is a surface at every vertex.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void What_is_left_is_manifold_wherever_the_line_runs() =>
        Gen.Select(Gen.Double[-0.6, 0.6].Array[8], Gen.Bool).Sample(
            (polygon, keepInside) =>
            {
                var mesh = Solids.Icosphere(3, 10);
                var kept = Enumerable.Range(0, mesh.TriangleCount).Count(t => InPolygon(polygon, Center(mesh, t).X / 20, Center(mesh, t).Y / 20) == keepInside);
                if (kept == 0 || kept == mesh.TriangleCount)
                    return;
                var cut = CutLasso.Apply(mesh, new(polygon, s_fromAbove, keepInside ? ZoneKeep.Inside : ZoneKeep.Outside), s_run);
                cut.Mesh.TriangleCount.Should().Be(kept);
                MeshAssert.IsManifold(cut.Mesh);
                cut.Mesh.Origins.Contains(Origin.Cut).Should().BeFalse();
            },
            iter: 200);

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_line_on_the_screen_reaches_as_deep_as_the_model_goes()
    {
        // A square round the middle of two plates, one behind the other.
        var plates = Solids.Merged(Solids.Sheet(20, 20, 1), Solids.InsideOut(Moved(Solids.Sheet(20, 20, 1), new(0, 0, -50))));
        var shifted = Moved(plates, new(-10, -10, 0));
        double[] square = [-0.25, -0.25, 0.25, -0.25, 0.25, 0.25, -0.25, 0.25];
        var cut = CutLasso.Apply(shifted, new(square, s_fromAbove), s_run);

        // ±0.25 of 20 mm: 10 × 10 cells of two triangles in each plate.
        cut.Effect.Measures!["removedTriangles"].Should().Be(2 * 200);
        cut.Effect.ChangedAreaMm2.Should().BeApproximately(200, 1e-4);
        CutLasso.Apply(shifted, new(square, s_fromAbove, ZoneKeep.Inside), s_run).Mesh.TriangleCount.Should().Be(400);
    }

    /// <summary>With perspective what lies behind the viewer is not under the line, though its projection falls into it.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void What_lies_behind_the_viewer_stays()
    {
        // Viewer at the origin looking along −z: w = −z.
        double[] perspective = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, -1, -0.2, 0, 0, -1, 0];
        var before = Moved(Solids.Icosphere(1, 1), new(0, 0, -10));
        var behind = Moved(Solids.Icosphere(1, 1), new(0, 0, 10));
        var cut = CutLasso.Apply(Solids.Merged(before, behind), new([-1, -1, 1, -1, 1, 1, -1, 1], perspective), s_run);
        cut.Mesh.TriangleCount.Should().Be(80);
        cut.Mesh.BoundsMm().Min.Z.Should().BeGreaterThan(0);
    }

    /// <summary>A line that crosses itself winds round its middle twice: outside, by the even-odd rule.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_line_that_crosses_itself_follows_the_even_odd_rule()
    {
        var star = Enumerable.Range(0, 5).SelectMany(i => new[] { Math.Sin(4 * Math.PI * i / 5) * 0.5, Math.Cos(4 * Math.PI * i / 5) * 0.5 }).ToArray();
        var cut = CutLasso.Apply(Moved(Solids.Sheet(40, 40, 1), new(-20, -20, 0)), new(star, s_fromAbove), s_run);
        Enumerable.Range(0, cut.Mesh.TriangleCount).Should().Contain(t => Center(cut.Mesh, t).Length < 1);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_byte()
    {
        var mesh = Solids.Icosphere(6, 10);
        ShapeGen.SameOnAnyThreads(run => CutSphere.Apply(mesh, new(new(10, 0, 0), 7), run));
        ShapeGen.SameOnAnyThreads(run => CutLasso.Apply(mesh, new([0, 0, 0.6, 0.1, 0.1, 0.6], s_fromAbove), run));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Zones_that_are_none_are_refused()
    {
        var ball = Solids.Icosphere(1, 10);
        foreach (var wrong in (CutSphereParameters[])[new(Vec3.Zero, 0), new(Vec3.Zero, -1), new(Vec3.Zero, double.NaN), new(new(0, double.NaN, 0), 1)])
        {
            var cut = () => CutSphere.Apply(ball, wrong, s_run);
            cut.Should().Throw<PlanException>();
        }

        foreach (var wrong in (CutLassoParameters[])[
            new([0, 0, 1, 1], s_fromAbove), new([0, 0, 1, 1, 0, 1, 0], s_fromAbove), new([0, 0, 1, 0, 0, double.NaN], s_fromAbove),
            new([0, 0, 1, 0, 0, 1], s_fromAbove[..15]), new([0, 0, 1, 0, 0, 1], [.. s_fromAbove[..15], double.PositiveInfinity])])
        {
            var cut = () => CutLasso.Apply(ball, wrong, s_run);
            cut.Should().Throw<PlanException>();
        }

        foreach (var keep in (ZoneKeep[])[ZoneKeep.Inside, ZoneKeep.Outside])
        {
            var misses = () => CutSphere.Apply(ball, new(new(100, 0, 0), 1, keep), s_run);
            misses.Should().Throw<CheckFailedException>();
            var all = () => CutSphere.Apply(ball, new(Vec3.Zero, 100, keep), s_run);
            all.Should().Throw<CheckFailedException>();
        }
    }

    private static Mesh Moved(Mesh mesh, Vec3 by) => Solids.Moved(mesh, (_, p) => p + by);

    private static Vec3 Center(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
    }

    private static bool InPolygon(double[] polygon, double x, double y)
    {
        var crossings = 0;
        for (var i = 0; i < polygon.Length; i += 2)
        {
            var (ax, ay) = (polygon[i], polygon[i + 1]);
            var (bx, by) = (polygon[(i + 2) % polygon.Length], polygon[(i + 3) % polygon.Length]);
            if ((ay > y) != (by > y) && x < ax + ((bx - ax) * (y - ay) / (by - ay)))
                crossings++;
        }

        return crossings % 2 == 1;
    }
}
