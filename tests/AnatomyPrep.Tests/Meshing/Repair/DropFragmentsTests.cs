using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class DropFragmentsTests
{
    private static readonly RunContext s_run = RunContext.Default;

    // A shell of radius 20 with a cavity of radius 12 that holds an island of radius 5; a ball of radius 3 apart.
    private static readonly Mesh s_nested = TestMeshes.Join(
        TestMeshes.Icosphere(3, 20),
        TestMeshes.Turned(TestMeshes.Icosphere(2, 12)),
        TestMeshes.Icosphere(2, 5),
        TestMeshes.Icosphere(1, 3, new Vec3(40, 0, 0)));

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0.001)]
    [InlineData(1000)]
    public void A_share_of_the_largest_goes_by_no_unit(double scale)
    {
        // Areas of balls with radii 10, 1 and 0.2 are to each other as 1 : 0.01 : 0.0004.
        var balls = new[] { 10.0, 1, 0.2 }.Select((r, i) => TestMeshes.Icosphere(2, r).Moved(Affine3.Translate(new(30 * i, 0, 0))).Moved(Affine3.Scale(scale))).ToArray();
        var all = new Mesh(
            Vec3.Zero,
            [.. balls.SelectMany(b => Enumerable.Range(0, b.VertexCount).Select(b.Vertex)).SelectMany(v => new[] { (float)v.X, (float)v.Y, (float)v.Z })],
            [.. balls.SelectMany((b, i) => b.TriangleArray.Select(v => v + (i * b.VertexCount)))]);

        DropFragments.Apply(all, new(MinimumAreaShare: 0.001), RunContext.Default).Mesh.TriangleCount.Should().Be(2 * balls[0].TriangleCount);
        DropFragments.Apply(all, new(MinimumAreaShare: 1), RunContext.Default).Mesh.TriangleCount.Should().Be(balls[0].TriangleCount);
        FluentActions.Invoking(() => DropFragments.Apply(all, new(MinimumAreaShare: 1.1), RunContext.Default)).Should().Throw<ArgumentOutOfRangeException>();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Keeping_the_largest_keeps_its_cavity_and_drops_the_island_within()
    {
        var result = DropFragments.Apply(s_nested, new(KeepLargest: 1), s_run);

        // Faces: 20 * 4^3 shell, 20 * 4^2 cavity.
        result.Mesh.TriangleCount.Should().Be(1280 + 320);
        result.Effect.Measures!["cavitiesKept"].Should().Be(1);
        result.Effect.Measures["fragmentsDropped"].Should().Be(2);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.FragmentsDropped);
        var (big, small) = (MeshMeasures.SignedVolumeMm3(TestMeshes.Icosphere(3, 20)), MeshMeasures.SignedVolumeMm3(TestMeshes.Icosphere(2, 12)));
        result.Effect.VolumeAfterMm3.Should().BeApproximately(big - small, 1e-9 * big);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_small_cavity_is_filled_and_said()
    {
        var shells = TestMeshes.Join(
            TestMeshes.Icosphere(3, 20),
            TestMeshes.Turned(TestMeshes.Icosphere(1, 1, new Vec3(5, 5, 5))),
            TestMeshes.Turned(TestMeshes.Icosphere(2, 6, new Vec3(-6, 0, 0))));

        var result = DropFragments.Apply(shells, new(MinimumCavityVolumeMm3: 10), s_run);

        result.Mesh.TriangleCount.Should().Be(1280 + 320);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.CavitiesFilled);
        result.Effect.VolumeAfterMm3.Should().BeApproximately(
            result.Effect.VolumeBeforeMm3!.Value + result.Effect.Measures!["cavityVolumeFilledMm3"], 1e-9 * result.Effect.VolumeBeforeMm3.Value);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_limit_drops_what_is_under_it()
    {
        DropFragments.Apply(s_nested, new(MinimumAreaMm2: 200), s_run).Mesh.TriangleCount.Should().Be(1280 + 320 + 320);
        DropFragments.Apply(s_nested, new(MinimumVolumeMm3: 1000), s_run).Mesh.TriangleCount.Should().Be(1280 + 320);
        DropFragments.Apply(s_nested, new(MinimumTriangles: 81), s_run).Mesh.TriangleCount.Should().Be(1280 + 320 + 320);
        DropFragments.Apply(s_nested, new(FillAllCavities: true), s_run).Mesh.TriangleCount.Should().Be(1280 + 320 + 80);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_sheet_has_no_volume_to_be_judged_by()
    {
        var sheet = TestMeshes.Join(RepairMeshes.Sheet(10, 10, 1), TestMeshes.Icosphere(1, 1, new Vec3(0, 0, 9)));

        DropFragments.Apply(sheet, new(MinimumVolumeMm3: 1000), s_run).Mesh.TriangleCount.Should().Be(200);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_lone_inside_out_ball_is_a_piece_not_a_cavity()
    {
        var mesh = TestMeshes.Join(TestMeshes.Turned(TestMeshes.Icosphere(2, 10)), TestMeshes.Turned(TestMeshes.Icosphere(1, 2, new Vec3(30, 0, 0))));

        var result = DropFragments.Apply(mesh, new(KeepLargest: 1, FillAllCavities: true), s_run);

        result.Mesh.TriangleCount.Should().Be(320);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Cavities_find_the_smallest_shell_around_them_wherever_they_lie() =>
        Gen.Select(Gen.Double[-6, 6], Gen.Double[-6, 6], Gen.Double[-6, 6], Gen.Bool).Sample(
            (x, y, z, onGrid) =>
            {
                // On the grid, the line from the cavity's top runs along vertices and edges of the shells.
                var at = onGrid ? new Vec3(Math.Round(x), Math.Round(y), Math.Round(z)) : new Vec3(x, y, z);
                var mesh = TestMeshes.Join(
                    TestMeshes.Icosphere(2, 30),
                    TestMeshes.Icosphere(2, 15, at),
                    TestMeshes.Turned(TestMeshes.Icosphere(1, 2, at)),
                    TestMeshes.Turned(TestMeshes.Icosphere(1, 2, at + new Vec3(0, 0, 17.5))));
                var pieces = Pieces.Find(mesh, s_run);
                pieces.FindShellsOfCavities(mesh, s_run).Should().Equal(-1, -1, 1, 0);
            },
            iter: 50);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Limits_that_would_leave_nothing_leave_the_input()
    {
        var result = DropFragments.Apply(s_nested, new(MinimumAreaMm2: 1e9), s_run);

        result.Mesh.Should().BeSameAs(s_nested);
        result.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.NothingLeft && f.Severity == Severity.Stop);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_empty_mesh_comes_back()
    {
        DropFragments.Apply(Mesh.Empty, new(KeepLargest: 1), s_run).Mesh.Should().BeSameAs(Mesh.Empty);
        FluentActions.Invoking(() => DropFragments.Apply(s_nested, new(MinimumAreaMm2: -1), s_run)).Should().Throw<ArgumentOutOfRangeException>();
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Twice_is_once_and_nothing_to_do_gives_the_same_object()
    {
        var parameters = new DropFragmentsParameters(KeepLargest: 2, MinimumCavityVolumeMm3: 10);
        var once = DropFragments.Apply(s_nested, parameters, s_run).Mesh;

        DropFragments.Apply(once, parameters, s_run).Mesh.Should().BeSameAs(once);
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("skull.obj")]
    [InlineData("femur.off")]
    public void Clean_real_meshes_come_back_as_they_are(string name)
    {
        var mesh = TestMeshes.Shared(name);

        DropFragments.Apply(mesh, new(KeepLargest: 1, MinimumTriangles: 10), s_run).Mesh.Should().BeSameAs(mesh);
        RemoveDuplicates.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
        RemoveDegenerates.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
        RemoveIsolatedVertices.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void The_sheets_400_loose_tags_go()
    {
        // PROVENANCE.md: one open mesh with 400 loose tags; tags may touch the sheet or one another by a vertex, so at most 400 pieces.
        var mesh = TestMeshes.Shared("head-sheet.ply");

        var result = DropFragments.Apply(mesh, new(KeepLargest: 1), s_run);

        result.Effect.Measures!["fragmentsDropped"].Should().BeInRange(1, 400);
        Pieces.Find(result.Mesh, s_run).All.Should().HaveCount(1);
    }
}
