using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class BridgeTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_bridge_over_a_gap_in_a_plane_is_flat_and_has_the_area_of_its_strip()
    {
        // Two sheets 4 apart, edges of 1 facing each other.
        var open = RepairMeshes.Without(RepairMeshes.Sheet(12, 6, 1), p => p.X > 4 && p.X < 8);

        var result = Bridge.Apply(open, new(new Vec3(4, 2.5, 0), new Vec3(8, 2.5, 0)), s_run);

        result.Effect.Measures!["bridgeTriangles"].Should().Be(8);
        result.Effect.Measures["bridgeAreaMm2"].Should().BeApproximately(4, 1e-5);
        Pieces.Find(result.Mesh, s_run).All.Should().ContainSingle();
        var edges = EdgeTable.Build(result.Mesh);
        (edges.NonManifoldEdges + edges.InconsistentEdges).Should().Be(0);
        result.Mesh.Origins[open.TriangleCount..].ToArray().Should().OnlyContain(o => o == Origin.Filled);
        result.Mesh.Positions[..open.Positions.Length].SequenceEqual(open.Positions).Should().BeTrue();
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.BridgeLaid);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_curved_bridge_over_a_cylinder_stays_near_it_and_the_rest_is_filled()
    {
        // A tube of radius 10 with a slot of 60 degrees over its whole middle: the chord would run 1.34 inside the wall.
        var tube = RepairMeshes.Tube(10, 40, 72, 40);
        var open = RepairMeshes.Without(tube, p => p.Z > 10 && p.Z < 30 && p.Y > 0 && Math.Atan2(p.Y, p.X) is > Math.PI / 3 and < 2 * Math.PI / 3);
        Vec3 At(double deg) => new(10 * Math.Cos(deg * Math.PI / 180), 10 * Math.Sin(deg * Math.PI / 180), 20.5);

        var curved = Bridge.Apply(open, new(At(60), At(120)), s_run);
        var straight = Bridge.Apply(open, new(At(60), At(120), Straight: true), s_run);

        // A cubic with the arc's end directions and the chord's length as speed: its middle rises by chord * sin(30) / 4 = 1.25 of the 1.34.
        NewRadii(open, curved.Mesh).Should().OnlyContain(r => r > 10 - 0.15 && r < 10 + 0.15);
        NewRadii(open, straight.Mesh).Min().Should().BeApproximately(10 * Math.Cos(Math.PI / 6), 0.05);
        var filled = FillHoles.Apply(curved.Mesh, new(MaximumDiameterMm: 16), s_run);
        filled.Effect.Measures!["holesFilled"].Should().BeGreaterThanOrEqualTo(2);
        NewRadii(open, filled.Mesh).Should().OnlyContain(r => r > 10 - 0.3 && r < 10 + 0.3);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Edges_with_a_common_corner_are_joined_by_a_fan()
    {
        var open = RepairMeshes.Without(RepairMeshes.Sheet(8, 8, 1), p => p.X > 2 && p.X < 6 && p.Y > 2 && p.Y < 6);
        var loop = BoundaryLoops.Find(open).Single(l => !l.IsOuterBorder);
        var corner = Enumerable.Range(0, loop.EdgeCount).First(i => open.Vertex(loop.Vertices[i]) == new Vec3(2, 2, 0));

        var result = Bridge.Apply(open, new(FromHalfEdge: loop.HalfEdges[(corner + loop.EdgeCount - 1) % loop.EdgeCount], ToHalfEdge: loop.HalfEdges[corner]), s_run);

        result.Effect.Measures!["bridgeAreaMm2"].Should().BeApproximately(0.5, 0.3);
        var edges = EdgeTable.Build(result.Mesh);
        (edges.NonManifoldEdges + edges.InconsistentEdges).Should().Be(0);
        BoundaryLoops.Find(result.Mesh).Should().HaveCount(2);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_bridge_through_the_surface_is_not_laid()
    {
        // A wall stands in the gap.
        var open = RepairMeshes.Without(RepairMeshes.Sheet(12, 6, 1), p => p.X > 4 && p.X < 8);
        var wall = TestMeshes.Box(new Vec3(5.9, -1, -9), new Vec3(6.1, 7, 9));
        var mesh = TestMeshes.Join(open, wall);

        var result = Bridge.Apply(mesh, new(new Vec3(4, 2.5, 0), new Vec3(8, 2.5, 0)), s_run);

        result.Mesh.Should().BeSameAs(mesh);
        result.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.BridgeNotLaid && f.Severity == Severity.Stop);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Ends_that_are_no_border_are_refused()
    {
        var sheet = RepairMeshes.Sheet(4, 4, 1);
        FluentActions.Invoking(() => Bridge.Apply(sheet, new(FromHalfEdge: 10_000, ToHalfEdge: 0), s_run)).Should().Throw<PlanException>();
        FluentActions.Invoking(() => Bridge.Apply(sheet, new(FromMm: Vec3.Zero), s_run)).Should().Throw<PlanException>();
        FluentActions.Invoking(() => Bridge.Apply(TestMeshes.Icosphere(1), new(Vec3.Zero, Vec3.Zero), s_run)).Should().Throw<CheckFailedException>();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_stretch_of_rim_is_filled_from_here_to_there()
    {
        var open = RepairMeshes.Without(RepairMeshes.Sheet(12, 12, 1), p => p.X > 2 && p.X < 10 && p.Y > 2 && p.Y < 10);

        // From corner to corner over a third corner: half of the 8 x 8 square.
        var result = FillStretch.Apply(open, new(new Vec3(2, 2, 0), new Vec3(10, 10, 0)), s_run);

        result.Effect.Measures!["filledAreaMm2"].Should().BeApproximately(32, 1e-4);
        var left = BoundaryLoops.Find(result.Mesh).Single(l => !l.IsOuterBorder);
        left.FlatAreaMm2.Should().BeApproximately(32, 1e-4);
        left.LengthMm.Should().BeApproximately(16 + (8 * Math.Sqrt(2)), 1e-4);
        var edges = EdgeTable.Build(result.Mesh);
        (edges.NonManifoldEdges + edges.InconsistentEdges).Should().Be(0);
        FillHoles.Apply(result.Mesh, new(), s_run).Effect.Measures!["filledAreaMm2"].Should().BeApproximately(32, 1e-4);

        var corner = FillStretch.Apply(open, new(new Vec3(2, 4, 0), new Vec3(4, 2, 0), Method: FillMethod.Flat), s_run);
        corner.Effect.Measures!["filledAreaMm2"].Should().BeApproximately(2, 1e-4);
        var longer = FillStretch.Apply(open, new(new Vec3(2, 4, 0), new Vec3(4, 2, 0), LongerWay: true), s_run);
        longer.Effect.Measures!["filledAreaMm2"].Should().BeApproximately(62, 1e-4);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_stretch_of_one_edge_gives_the_input_back()
    {
        var open = RepairMeshes.Sheet(4, 4, 1);

        var result = FillStretch.Apply(open, new(new Vec3(0, 0, 0), new Vec3(1, 0, 0)), s_run);

        result.Mesh.Should().BeSameAs(open);
        result.Findings.Should().ContainSingle().Which.Severity.Should().Be(Severity.Stop);
        FillStretch.Apply(TestMeshes.Icosphere(1), new(Vec3.Zero, Vec3.Zero), s_run).Findings.Should().ContainSingle();
    }

    private static double[] NewRadii(Mesh before, Mesh after) =>
        [.. Enumerable.Range(before.VertexCount, after.VertexCount - before.VertexCount).Select(v => Math.Sqrt((after.Vertex(v).X * after.Vertex(v).X) + (after.Vertex(v).Y * after.Vertex(v).Y)))];
}
