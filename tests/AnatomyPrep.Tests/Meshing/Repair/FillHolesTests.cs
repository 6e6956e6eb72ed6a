using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using CsCheck;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class FillHolesTests(ITestOutputHelper output)
{
    private static readonly RunContext s_run = RunContext.Default;

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(5)]
    [InlineData(20)]
    [InlineData(45)]
    [InlineData(60)]
    [InlineData(80)]
    public void A_hole_in_a_sphere_filled_smooth_comes_back_within_one_percent_of_the_radius(double halfAngleDeg)
    {
        var sphere = TestMeshes.Icosphere(5, 50, new Vec3(100, -200, 300));
        var open = SphereWithHole(sphere, halfAngleDeg);

        var result = FillHoles.Apply(open, new(LeaveOuterBorder: false), s_run);

        RepairMeshes.ShouldBeClosed(result.Mesh);
        RepairMeshes.Euler(result.Mesh, used: true).Should().Be(2);
        var worst = Enumerable.Range(open.VertexCount, result.Mesh.VertexCount - open.VertexCount)
            .Max(v => Math.Abs(Vec3.Distance(result.Mesh.Vertex(v), sphere.OriginMm) - 50));
        output.WriteLine($"{halfAngleDeg} degrees: off by {worst / 50:P4} of the radius, bound 1 %");
        worst.Should().BeLessThan(0.5);
        result.Effect.VolumeAfterMm3.Should().BeApproximately(MeshMeasures.SignedVolumeMm3(sphere), 0.01 * MeshMeasures.SignedVolumeMm3(sphere));
        for (var t = 0; t < result.Mesh.TriangleCount; t++)
            result.Mesh.Origins[t].Should().Be(t < open.TriangleCount ? Origin.Measured : Origin.Filled);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_hole_in_a_flat_sheet_is_filled_flat_with_its_area_by_either_method()
    {
        var open = RepairMeshes.Without(RepairMeshes.Sheet(20, 20, 1), p => Math.Abs(p.X - 10) < 3 && Math.Abs(p.Y - 10) < 3);

        foreach (var method in (FillMethod[])[FillMethod.Smooth, FillMethod.Flat])
        {
            var result = FillHoles.Apply(open, new(Method: method), s_run);

            result.Effect.Measures!["holesFilled"].Should().Be(1);
            result.Effect.Measures["filledAreaMm2"].Should().BeApproximately(36, 1e-4);
            MeshMeasures.AreaMm2(result.Mesh).Should().BeApproximately(400, 1e-4);
            Enumerable.Range(0, result.Mesh.VertexCount).Max(v => Math.Abs(result.Mesh.Vertex(v).Z)).Should().BeLessThan(1e-5);
            BoundaryLoops.Find(result.Mesh).Should().ContainSingle().Which.IsOuterBorder.Should().BeTrue();
            // Hole 6 x 6: its middle is 3 from the rim, and a centre of a triangle lies within a triangle of the middle.
            result.Effect.Measures["farthestFromRimMm"].Should().BeInRange(1.5, 3);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Limits_and_names_choose_the_holes()
    {
        // Squares of side 2, 4 and 6 in a sheet: rims of 8, 16 and 24 edges.
        var open = RepairMeshes.Without(RepairMeshes.Sheet(40, 20, 1), p =>
            InSquare(p, 5, 10, 1) || InSquare(p, 15, 10, 2) || InSquare(p, 30, 10, 3));
        int Filled(FillHolesParameters parameters) => (int)FillHoles.Apply(open, parameters, s_run).Effect.Measures!["holesFilled"];

        Filled(new()).Should().Be(3);
        Filled(new(MaximumEdges: 16)).Should().Be(2);
        Filled(new(MaximumAreaMm2: 5)).Should().Be(1);
        // Diagonals: 2.83, 5.66, 8.49.
        Filled(new(MaximumDiameterMm: 6)).Should().Be(2);
        Filled(new(LeaveOuterBorder: false, Method: FillMethod.Flat)).Should().Be(4);
        var largest = BoundaryLoops.Find(open).Single(l => l.EdgeCount == 24).Id;
        var named = FillHoles.Apply(open, new(LoopIds: [largest], MaximumEdges: 3), s_run);
        named.Effect.Measures!["filledAreaMm2"].Should().BeApproximately(36, 1e-4);
        FluentActions.Invoking(() => FillHoles.Apply(open, new(LoopIds: [99]), s_run)).Should().Throw<PlanException>();
        FillHoles.Apply(open, new(MaximumEdges: 3), s_run).Mesh.Should().BeSameAs(open);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void A_plane_hexagon_is_closed_by_four_triangles_of_its_area()
    {
        // reference-values.md, 3: n - 2 triangles, n - 3 edges, Euler number + 1; a unit hexagon has 2.598076 mm2.
        var rim = Enumerable.Range(0, 6).Select(i => Ring(1, i, 6)).ToArray();
        var outer = Enumerable.Range(0, 6).Select(i => Ring(2, i, 6)).ToArray();
        var faces = Enumerable.Range(0, 6).SelectMany(i =>
        {
            int j = (i + 1) % 6;
            return ((int, int, int)[])[(i, 6 + i, 6 + j), (i, 6 + j, j)];
        }).ToArray();
        var open = RepairMeshes.FromPoints([.. rim, .. outer], faces);

        var result = FillHoles.Apply(open, new(Method: FillMethod.Flat), s_run);

        result.Mesh.TriangleCount.Should().Be(open.TriangleCount + 4);
        EdgeTable.Build(result.Mesh).EdgeCount.Should().Be(EdgeTable.Build(open).EdgeCount + 3);
        RepairMeshes.Euler(result.Mesh).Should().Be(RepairMeshes.Euler(open) + 1);
        result.Effect.Measures!["filledAreaMm2"].Should().BeApproximately(2.598076, 5e-7);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Both_ends_of_a_tube_are_closed_by_discs()
    {
        var tube = RepairMeshes.Tube(10, 40, 64, 40);

        var result = FillHoles.Apply(tube, new(Method: FillMethod.Flat), s_run);

        RepairMeshes.ShouldBeClosed(result.Mesh);
        // A prism over the regular 64-gon: n/2 r^2 sin(2 pi / n) times the height.
        result.Effect.VolumeAfterMm3.Should().BeApproximately(32 * 100 * Math.Sin(2 * Math.PI / 64) * 40, 0.01);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Two_holes_that_touch_in_a_vertex_are_filled_apart_and_leave_a_manifold()
    {
        var open = RepairMeshes.Without(RepairMeshes.Sheet(20, 20, 1), p => InSquare(p, 8, 8, 2) || InSquare(p, 12, 12, 2));

        BoundaryLoops.Find(open).Should().HaveCount(3);
        var result = FillHoles.Apply(open, new(), s_run);

        result.Effect.Measures!["holesFilled"].Should().Be(2);
        MeshMeasures.AreaMm2(result.Mesh).Should().BeApproximately(400, 1e-4);
        BoundaryLoops.Find(result.Mesh).Should().ContainSingle();
        EdgeTable.Build(result.Mesh).NonManifoldEdges.Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Two_holes_with_two_common_vertices_do_not_both_join_them()
    {
        // A plank of one square between two openings: its four corners belong to both rims.
        var open = RepairMeshes.Without(RepairMeshes.Sheet(9, 6, 1), p => p.X > 2 && p.X < 7 && p.Y > 2 && p.Y < 4 && !(p.X > 4 && p.X < 5));

        var result = FillHoles.Apply(open, new(Method: FillMethod.Flat), s_run);

        EdgeTable.Build(result.Mesh).NonManifoldEdges.Should().Be(0);
        BoundaryLoops.Find(result.Mesh).Should().ContainSingle();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_lone_triangle_is_not_doubled()
    {
        var open = RepairMeshes.FromPoints([new(0, 0, 0), new(1, 0, 0), new(0, 1, 0)], [(0, 1, 2)]);

        var result = FillHoles.Apply(open, new(LeaveOuterBorder: false), s_run);

        result.Mesh.Should().BeSameAs(open);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.HoleNotFilled);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_rim_that_breaks_off_is_named_and_left()
    {
        // A turned triangle at the rim of a hole: the border runs against itself there.
        var mesh = RepairMeshes.Without(RepairMeshes.Sheet(6, 6, 1), p => InSquare(p, 3, 3, 1));
        var triangles = mesh.Triangles.ToArray();
        var loop = BoundaryLoops.Find(mesh).Single(l => !l.IsOuterBorder);
        var t = loop.HalfEdges[0] / 3;
        (triangles[(3 * t) + 1], triangles[(3 * t) + 2]) = (triangles[(3 * t) + 2], triangles[(3 * t) + 1]);
        var spoilt = new Mesh(mesh.OriginMm, mesh.Positions.ToArray(), triangles);

        var result = FillHoles.Apply(spoilt, new(), s_run);

        result.Findings.Should().Contain(f => f.Code == FindingCodes.HoleNotFilled);
        EdgeTable.Build(result.Mesh).NonManifoldEdges.Should().Be(0);
        FillHoles.Apply(FixTopology.Apply(spoilt, new(), s_run).Mesh, new(), s_run).Effect.Measures!["holesFilled"].Should().Be(1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_fill_that_would_run_into_the_surface_gives_way()
    {
        // A dome over the hole of a sheet, close above it, is not attached: the smooth fill is flat there and free.
        // A needle standing through the hole cannot be avoided: that is said.
        var sheet = RepairMeshes.Without(RepairMeshes.Sheet(10, 10, 1), p => InSquare(p, 5, 5, 2));
        var needle = TestMeshes.Box(new Vec3(4.9, 4.9, -3), new Vec3(5.1, 5.1, 3));

        var result = FillHoles.Apply(TestMeshes.Join(sheet, needle), new(), s_run);

        result.Findings.Should().Contain(f => f.Code == FindingCodes.FillCrosses && f.Severity == Severity.Caution);
        result.Effect.Measures!["fillsThatCross"].Should().Be(1);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Random_holes_in_a_wavy_sheet_are_filled_without_touching_anything_that_was_there() =>
        Gen.Int[0, 100_000].Sample(
            seed =>
            {
                var random = new Random(seed);
                var sheet = TestMeshes.GridSheet(40, 40, 40, 40, (x, y) => 2 * Math.Sin(x / 4) * Math.Cos(y / 5));
                var holes = Enumerable.Range(0, 6).Select(_ => (X: 6 + (28 * random.NextDouble()), Y: 6 + (28 * random.NextDouble()), R: 0.5 + (4 * random.NextDouble()))).ToArray();
                var open = RepairMeshes.Without(sheet, p => holes.Any(h => ((p.X - h.X) * (p.X - h.X)) + ((p.Y - h.Y) * (p.Y - h.Y)) < h.R * h.R));
                // Islands that a hole leaves hanging by a vertex would stand in the way of its fill.
                open = RemoveTags.Apply(open, new(LooseTriangles: 100), s_run).Mesh;

                var result = FillHoles.Apply(open, new(), s_run);

                result.Mesh.Positions[..open.Positions.Length].SequenceEqual(open.Positions).Should().BeTrue();
                result.Mesh.Triangles[..open.Triangles.Length].SequenceEqual(open.Triangles).Should().BeTrue();
                BoundaryLoops.Find(result.Mesh).Should().ContainSingle();
                var edges = EdgeTable.Build(result.Mesh);
                (edges.NonManifoldEdges + edges.InconsistentEdges).Should().Be(0);
                result.Effect.Measures!["fillsThatCross"].Should().Be(0);
                FillHoles.Apply(result.Mesh, new(), s_run).Mesh.Should().BeSameAs(result.Mesh);
            },
            iter: 12);

    [Fact]
    [Trait("Kind", "Same")]
    public void One_two_three_and_sixteen_threads_give_the_same_bytes()
    {
        var open = RepairMeshes.Without(TestMeshes.Icosphere(4, 50), p => Math.Abs(p.X) > 40 || Math.Abs(p.Y) > 44 || p.Z > 30);

        var hashes = ((int[])[1, 2, 3, 16]).Select(n => RepairMeshes.Hash(FillHoles.Apply(open, new(LeaveOuterBorder: false), RepairMeshes.Threads(n)).Mesh));

        hashes.Distinct().Should().ContainSingle();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_cancelled_fill_throws_and_nothing_else()
    {
        var cancelled = new RunContext(cancellation: new CancellationToken(canceled: true));
        FluentActions.Invoking(() => FillHoles.Apply(RepairMeshes.Tube(1, 2, 8, 2), new(), cancelled)).Should().Throw<OperationCanceledException>();
    }

    private static Mesh SphereWithHole(Mesh sphere, double halfAngleDeg)
    {
        var cos = Math.Cos(halfAngleDeg * Math.PI / 180);
        return RepairMeshes.Without(sphere, p => (p - sphere.OriginMm).Normalized().Z > cos);
    }

    private static bool InSquare(Vec3 p, double x, double y, double half) => Math.Abs(p.X - x) < half && Math.Abs(p.Y - y) < half;

    private static Vec3 Ring(double radius, int i, int n) => new(radius * Math.Cos(2 * Math.PI * i / n), radius * Math.Sin(2 * Math.PI * i / n), 0);
}
