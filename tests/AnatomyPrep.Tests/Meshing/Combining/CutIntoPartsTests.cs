using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Combining;

public sealed class CutIntoPartsTests
{
    private static readonly RunContext s_run = RunContext.Default;

    private static readonly Mesh s_block = Solids.GridBox(6, 30);

    private static readonly CutIntoPartsParameters s_middle = new(new(15, 15, 15.5), new(0, 0, 1));

    [Theory]
    [InlineData(PegShape.Cylinder)]
    [InlineData(PegShape.Cone)]
    public void Both_parts_are_solid_and_volumes_are_those_of_pegs_and_sockets(PegShape shape)
    {
        var parts = CutIntoParts.Apply(s_block, s_middle with { Shape = shape }, s_run);
        MeshFacts.Measure(parts.Front, s_run).Solid.Should().BeTrue();
        MeshFacts.Measure(parts.Back, s_run).Solid.Should().BeTrue();
        parts.PegsMm.Count.Should().Be(2);
        // Frustum h/3 (A0 + √(A0 A1) + A1); the peg's polygon lies in its circle (n/2 sin 2π/n), the socket's around it (n tan π/n).
        var n = SolidShapes.Sides(2.5);
        var tip = shape == PegShape.Cone ? 0.7 : 1;
        var slope = 2.5 * (1 - tip) / 6;
        var gap = 0.2 * Math.Sqrt(1 + (slope * slope));
        var peg = Frustum(6, 2.5, 2.5 * tip) * n / 2 * Math.Sin(2 * Math.PI / n);
        var socket = Frustum(6.2, 2.5 + gap, 2.5 + gap - (slope * 6.2)) * n * Math.Tan(Math.PI / n);
        MeshMeasures.SignedVolumeMm3(parts.Front).Should().BeApproximately((900 * 14.5) + (2 * peg), 1e-3);
        MeshMeasures.SignedVolumeMm3(parts.Back).Should().BeApproximately((900 * 15.5) - (2 * socket), 1e-3);

        static double Frustum(double h, double r0, double r1) => h / 3 * ((r0 * r0) + (r0 * r1) + (r1 * r1));
    }

    [Theory]
    [InlineData(PegShape.Cylinder)]
    [InlineData(PegShape.Cone)]
    public void Put_together_the_parts_keep_their_clearance_and_nothing_overlaps(PegShape shape)
    {
        var parts = CutIntoParts.Apply(s_block, s_middle with { Shape = shape, ClearanceMm = 0.3 }, s_run);
        // Pulled apart by a hair, so that the caps do not touch, the parts have nothing in common.
        var pulled = new Mesh(parts.Front.OriginMm + new Vec3(0, 0, 1e-3), parts.Front.PositionArray, parts.Front.TriangleArray, parts.Front.OriginArray);
        Combine.Intersection(pulled, parts.Back, s_run).Mesh.TriangleCount.Should().Be(0);
        // Peg vertices below the cut: to the socket's wall and floor at least the clearance, and not much more.
        var distances = Enumerable.Range(0, parts.Front.VertexCount).Select(parts.Front.Vertex).Where(v => v.Z < 15).Select(v => MeshAssert.Distance(v, parts.Back)).ToList();
        distances.Should().NotBeEmpty();
        distances.Min().Should().BeGreaterThanOrEqualTo(0.3 - 1e-4);
        distances.Max().Should().BeLessThan(0.3 + 0.03);
    }

    [Fact]
    public void Together_the_parts_lie_apart_and_are_solid()
    {
        var parts = CutIntoParts.Apply(s_block, s_middle, s_run);
        var facts = MeshFacts.Measure(parts.Together.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Components.Should().Be(2);
        parts.Together.Effect.Measures!["movedFrontMm"].Should().Be(11);
        facts.BoundsMm![1][2].Should().BeApproximately(41, 1e-4);
        parts.Together.Findings.Should().BeEmpty();
    }

    [Fact]
    public void Walls_around_sockets_are_as_thick_as_asked()
    {
        // Round about, so that the pegs press against the wall: a column of radius 15, pegs as far out as they can.
        var column = SolidShapes.Frustum(Vec3.Zero, new(0, 0, -20), new(0, 0, 20), 15, 15, 96, Origin.Measured);
        var parts = CutIntoParts.Apply(column, new(new(0, 0, 0.5), new(0, 0, 1), 3, MinWallMm: 2), s_run);
        parts.PegsMm.Count.Should().Be(3);
        foreach (var foot in parts.PegsMm)
            (15 - Math.Sqrt((foot.X * foot.X) + (foot.Y * foot.Y)) - 2.7).Should().BeGreaterThanOrEqualTo(2 - 0.03);
        parts.Together.Effect.Measures!["wallAroundSocketsMm"].Should().BeGreaterThanOrEqualTo(2);
    }

    [Fact]
    public void Pegs_stay_clear_of_inner_voids()
    {
        var hollow = Solids.Merged(Solids.Box(new(0, 0, -10), new(60, 30, 30)), Solids.InsideOut(Solids.Icosphere(3, 11, new(15, 15, 8))));
        var parts = CutIntoParts.Apply(hollow, new(new(0, 0, 20), new(0, 0, 1)), s_run);
        parts.PegsMm.Count.Should().Be(2);
        foreach (var foot in parts.PegsMm)
            (Vec3.Distance(foot, new(15, 15, foot.Z)) is var d && (d > 11 || d < 0)).Should().BeTrue("the sphere's top is 1 mm below the cut");
        MeshFacts.Measure(parts.Together.Mesh, s_run).Solid.Should().BeTrue();
    }

    [Fact]
    public void Without_pegs_it_is_a_cut()
    {
        var parts = CutIntoParts.Apply(s_block, s_middle with { Pegs = 0 }, s_run);
        (MeshMeasures.SignedVolumeMm3(parts.Front) + MeshMeasures.SignedVolumeMm3(parts.Back)).Should().BeApproximately(27000, 1e-6 * 27000);
    }

    [Fact]
    public void A_turned_block_is_cut_like_a_straight_one()
    {
        var map = Affine3.Translate(new(100, -50, 20)).After(Affine3.Rotate(new(1, 2, -1), 0.9));
        var turned = Solids.Moved(s_block, (_, p) => map.Map(p));
        var parts = CutIntoParts.Apply(turned, s_middle with { PointMm = map.Map(s_middle.PointMm), Normal = map.MapDirection(s_middle.Normal) }, s_run);
        var straight = CutIntoParts.Apply(s_block, s_middle, s_run);
        parts.PegsMm.Count.Should().Be(2);
        // 2⁻²⁴ of 130 mm a vertex over the whole area of 5000 mm².
        MeshMeasures.SignedVolumeMm3(parts.Front).Should().BeApproximately(MeshMeasures.SignedVolumeMm3(straight.Front), 0.05);
    }

    [Fact]
    public void Room_for_fewer_pegs_than_asked_is_a_caution()
    {
        var parts = CutIntoParts.Apply(Solids.Box(new(0, 0, 0), new(10, 10, 40)), new(new(0, 0, 20), new(0, 0, 1)), s_run);
        parts.PegsMm.Count.Should().Be(1);
        parts.Together.Findings.Should().ContainSingle(f => f.Code == FindingCodes.FewerPegs && f.Severity == Severity.Caution);
    }

    [Fact]
    public void What_cannot_be_done_is_refused_with_the_reason()
    {
        Refused(Solids.Box(new(0, 0, 0), new(5, 5, 40)), new(new(0, 0, 20), new(0, 0, 1))).Should().Contain("room for a peg").And.Contain("thinner");
        Refused(Solids.Box(new(0, 0, 0), new(30, 30, 8)), new(new(0, 0, 4), new(0, 0, 1))).Should().Contain("peg", "4 mm are not deep enough for a socket of 6.2");
        Refused(s_block, new(new(0, 0, 50), new(0, 0, 1))).Should().Contain("plane");
        Refused(Solids.Sheet(3, 3, 1), s_middle).Should().Contain("open surface");
        foreach (var (parameters, name) in (IEnumerable<(CutIntoPartsParameters, string)>)[
            (s_middle with { DiameterMm = 0 }, "diameterMm"), (s_middle with { ClearanceMm = -1 }, "clearanceMm"), (s_middle with { Normal = Vec3.Zero }, "normal"), (s_middle with { Pegs = -1 }, "pegs")])
        {
            var act = () => CutIntoParts.Apply(s_block, parameters, s_run);
            act.Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }

        static string Refused(Mesh mesh, CutIntoPartsParameters parameters)
        {
            var act = () => CutIntoParts.Apply(mesh, parameters, s_run);
            return act.Should().Throw<CheckFailedException>().Which.Message;
        }
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var first = CutIntoParts.Apply(s_block, s_middle, new RunContext(threads: 1)).Together.Mesh;
        foreach (var threads in (int[])[2, 3, 16])
            MeshAssert.SameBytes(CutIntoParts.Apply(s_block, s_middle, new RunContext(threads: threads)).Together.Mesh, first).Should().BeTrue();
    }
}
