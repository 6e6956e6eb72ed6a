using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Marking;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Marking;

public sealed class HangingHoleTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    public void A_ring_adds_one_handle_and_leaves_its_opening_free()
    {
        var ball = Solids.Icosphere(4, 15);
        var result = HangingHole.Apply(ball, new(DiameterMm: 4, WallMm: 2), s_run);
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Genus.Should().Be(1);
        facts.Components.Should().Be(1);
        // A wire of 3.8 mm, from front to back through the middle of the opening, meets nothing. The opening's middle is a ring radius less
        // a quarter of the wall above the top.
        var middle = new Vec3(0, 0, 15 + 3 - 0.5);
        var wire = SolidShapes.Frustum(Vec3.Zero, middle - new Vec3(0, 30, 0), middle + new Vec3(0, 30, 0), 1.9, 1.9, 32, Origin.Added);
        Combine.Intersection(result.Mesh, wire, s_run).Mesh.TriangleCount.Should().Be(0);
    }

    [Fact]
    public void A_hole_takes_the_volume_of_its_cylinder_out_of_a_block()
    {
        var block = Solids.Box(new(0, 0, 0), new(20, 10, 30));
        var result = HangingHole.Apply(block, new(HangingStyle.Hole, DiameterMm: 4, WallMm: 2, PlaceMm: new Vec3(10, 5, 26)), s_run);
        var n = SolidShapes.Sides(2);
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Genus.Should().Be(1);
        // Corners on a circle of radius 2, rounded to 2⁻²⁵ of 30 mm.
        facts.VolumeMm3.Should().BeApproximately(6000 - (10 * n / 2.0 * 4 * Math.Sin(2 * Math.PI / n)), 1e-3);
    }

    [Fact]
    public void A_hole_below_a_round_top_goes_deep_enough_for_material_all_round()
    {
        var ball = Solids.Icosphere(4, 15);
        var result = HangingHole.Apply(ball, new(HangingStyle.Hole, DiameterMm: 4, WallMm: 2), s_run);
        MeshFacts.Measure(result.Mesh, s_run).Genus.Should().Be(1);
        result.Effect.Measures!["depthMm"].Should().BeGreaterThanOrEqualTo(4);
    }

    [Fact]
    public void What_cannot_be_done_is_refused_with_the_reason()
    {
        var ball = Solids.Icosphere(2, 5);
        Check(ball, new(HangingStyle.Hole, PlaceMm: new Vec3(0, 0, 20))).Should().Contain("place");
        Check(ball, new(HangingStyle.Hole, DiameterMm: 9.9)).Should().Contain("notch");
        Check(Solids.Sheet(3, 3, 1), new()).Should().Contain("open surface");
        foreach (var (parameters, name) in (IEnumerable<(HangingHoleParameters, string)>)[
            (new(DiameterMm: 0), "diameterMm"), (new(WallMm: double.NaN), "wallMm"), (new(Up: Vec3.Zero), "up"), (new(Along: new Vec3(0, 0, 2)), "along")])
        {
            var act = () => HangingHole.Apply(ball, parameters, s_run);
            act.Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }

        static string Check(Mesh mesh, HangingHoleParameters parameters)
        {
            Func<ShapeResult> act = () => HangingHole.Apply(mesh, parameters, s_run);
            return act.Should().Throw<CheckFailedException>().Which.Message;
        }
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var ball = Solids.Icosphere(3, 15);
        var first = HangingHole.Apply(ball, new(), new RunContext(threads: 1)).Mesh;
        foreach (var threads in (int[])[2, 3, 16])
            MeshAssert.SameBytes(HangingHole.Apply(ball, new(), new RunContext(threads: threads)).Mesh, first).Should().BeTrue();
    }
}
