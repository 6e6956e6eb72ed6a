using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Combining;

public sealed class DrainTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    public void A_hole_through_a_flat_wall_takes_the_volume_of_its_cylinder()
    {
        // The wall is 3 thick, the circle of radius 2 an n-gon with its corners on the circle: area n/2 · r² · sin(2π/n).
        var result = Drain.Apply(HollowBox(), new(4), s_run);
        var sides = SolidShapes.Sides(2);
        var hole = 3 * sides / 2.0 * 4 * Math.Sin(2 * Math.PI / sides);
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Components.Should().Be(1, "the void is open now");
        facts.Genus.Should().Be(0, "one hole makes a bowl, not a ring");
        // Corners of the hole are rounded to float32, 2⁻²⁵ of 40 mm each, over a side area of 12 π.
        (result.Effect.VolumeBeforeMm3 - result.Effect.VolumeAfterMm3).Should().BeApproximately(hole, 1e-4);
        result.Effect.Measures!["holes"].Should().Be(1);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.DrainsMade);
        MeshMeasures.AreaByOriginMm2(result.Mesh)[(int)Origin.Cut].Should().BeApproximately(3 * sides * 2 * 2 * Math.Sin(Math.PI / sides), 1e-4);
    }

    [Fact]
    public void Without_places_the_hole_is_at_the_bottom_in_the_middle()
    {
        var drained = Drain.Apply(HollowBox(), new(4, Direction: new(0, -1, 0)), s_run).Mesh;
        foreach (var at in CutVertices(drained))
        {
            at.Y.Should().BeInRange(-1e-5, 3 + 1e-5);
            // On the circle, or where an edge of the box crosses a side of the polygon in it.
            Math.Sqrt(Math.Pow(at.X - 20, 2) + Math.Pow(at.Z - 20, 2)).Should().BeInRange((2 * Math.Cos(Math.PI / SolidShapes.Sides(2))) - 1e-4, 2 + 1e-4);
        }
    }

    [Fact]
    public void A_vent_makes_a_second_hole_at_the_top()
    {
        var result = Drain.Apply(HollowBox(), new(4, Vent: true), s_run);
        result.Effect.Measures!["holes"].Should().Be(2);
        MeshFacts.Measure(result.Mesh, s_run).Genus.Should().Be(1, "a tube");
    }

    [Fact]
    public void Every_void_gets_its_hole()
    {
        var two = Solids.Merged(
            Solids.Box(new(0, 0, 0), new(60, 30, 30)),
            Solids.InsideOut(Solids.Icosphere(3, 10, new(15, 15, 15))),
            Solids.InsideOut(Solids.Icosphere(3, 8, new(42, 15, 14))));
        var result = Drain.Apply(two, new(3, Direction: new(0.2, 0.1, -1), Vent: true), s_run);
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Components.Should().Be(1);
        result.Effect.Measures!["voidsBefore"].Should().Be(2);
        result.Effect.Measures!["voidsAfter"].Should().Be(0);
        result.Effect.Measures!["holes"].Should().Be(4);
    }

    [Fact]
    public void A_given_place_is_drilled_at_right_angles_to_the_surface()
    {
        var ball = Solids.Merged(Solids.Icosphere(4, 20), Solids.InsideOut(Solids.Icosphere(4, 17)));
        var place = new Vec3(10, 20, 15);
        var drained = Drain.Apply(ball, new(3, [place]), s_run);
        MeshFacts.Measure(drained.Mesh, s_run).Components.Should().Be(1);
        // The mean normal of a sphere's faces around a place points along the radius within their own angle, 4.7° at this subdivision.
        var axis = place.Normalized();
        foreach (var at in CutVertices(drained.Mesh))
            Vec3.Cross(axis, at).Length.Should().BeApproximately(1.5, 20 * Math.Sin(4.7 * Math.PI / 180) * 0.25);
    }

    [Fact]
    public void A_void_without_a_hole_is_named()
    {
        var two = Solids.Merged(
            Solids.Box(new(0, 0, 0), new(60, 30, 30)),
            Solids.InsideOut(Solids.Box(new(5, 5, 5), new(25, 25, 25))),
            Solids.InsideOut(Solids.Box(new(35, 5, 5), new(55, 25, 25))));
        var result = Drain.Apply(two, new(3, [new Vec3(15, 15, 30)]), s_run);
        result.Findings.Should().Contain(f => f.Code == FindingCodes.VoidsClosed && f.Severity == Severity.Caution);
        result.Effect.Measures!["voidsAfter"].Should().Be(1);
    }

    [Fact]
    public void What_cannot_be_done_is_refused_with_the_reason()
    {
        Refused(Solids.Icosphere(2, 10), new(2)).Should().Contain("hollow");
        Refused(HollowBox(), new(4, MaxWallMm: 2)).Should().Contain("maxWallMm");
        var half = Solids.Merged(Solids.Box(new(0, 0, 0), new(60, 30, 30)), Solids.InsideOut(Solids.Box(new(5, 5, 5), new(25, 25, 25))));
        Refused(half, new(3, [new Vec3(50, 15, 30)])).Should().Contain("void behind");
        Refused(Solids.Sheet(3, 3, 1), new(2)).Should().Contain("open surface");
        var act = () => Drain.Apply(HollowBox(), new(0), s_run);
        act.Should().Throw<PlanException>().Which.Parameter.Should().Be("diameterMm");
        act = () => Drain.Apply(HollowBox(), new(2, Direction: Vec3.Zero), s_run);
        act.Should().Throw<PlanException>().Which.Parameter.Should().Be("direction");

        static string Refused(Mesh mesh, DrainParameters parameters)
        {
            var act = () => Drain.Apply(mesh, parameters, s_run);
            return act.Should().Throw<CheckFailedException>().Which.Message;
        }
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var first = Drain.Apply(HollowBox(), new(4, Vent: true), new RunContext(threads: 1)).Mesh;
        foreach (var threads in (int[])[2, 3, 16])
            MeshAssert.SameBytes(Drain.Apply(HollowBox(), new(4, Vent: true), new RunContext(threads: threads)).Mesh, first).Should().BeTrue();
    }

    /// <summary>40 mm outside, walls of 3 mm.</summary>
    private static Mesh HollowBox() =>
        Solids.Merged(Solids.Box(new(0, 0, 0), new(40, 40, 40)), Solids.InsideOut(Solids.Box(new(3, 3, 3), new(37, 37, 37))));

    private static IEnumerable<Vec3> CutVertices(Mesh mesh) => Enumerable.Range(0, mesh.Triangles.Length)
        .Where(h => mesh.Origins[h / 3] == Origin.Cut).Select(h => mesh.Vertex(mesh.Triangles[h])).Distinct();
}
