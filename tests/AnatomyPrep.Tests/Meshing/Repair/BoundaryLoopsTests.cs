using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class BoundaryLoopsTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_square_hole_in_a_square_sheet_is_measured_exactly()
    {
        var mesh = RepairMeshes.Without(RepairMeshes.Sheet(10, 10, 1), p => p.X > 2 && p.X < 5 && p.Y > 3 && p.Y < 7);

        var loops = BoundaryLoops.Find(mesh);

        loops.Should().HaveCount(2);
        loops.Select(l => l.Id).Should().Equal(0, 1);
        var (outer, hole) = (loops.Single(l => l.IsOuterBorder), loops.Single(l => !l.IsOuterBorder));
        (outer.EdgeCount, outer.LengthMm, outer.FlatAreaMm2).Should().Be((40, 40.0, 100.0));
        (hole.EdgeCount, hole.LengthMm, hole.FlatAreaMm2).Should().Be((14, 14.0, 12.0));
        hole.DiameterMm.Should().BeApproximately(5, 1e-12);
        hole.CenterMm.Should().Be(new Vec3(3.5, 5, 0));
        hole.IsClosed.Should().BeTrue();
        for (var i = 0; i < hole.EdgeCount; i++)
            mesh.Triangles[EdgeTable.Next(hole.HalfEdges[i])].Should().Be(hole.Vertices[(i + 1) % hole.EdgeCount]);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_closed_surface_has_none_and_a_tube_has_two_holes()
    {
        BoundaryLoops.Find(TestMeshes.Icosphere(2)).Should().BeEmpty();
        BoundaryLoops.Find(Mesh.Empty).Should().BeEmpty();
        BoundaryLoops.Find(RepairMeshes.Tube(5, 50, 24, 20)).Should().HaveCount(2).And.OnlyContain(l => !l.IsOuterBorder && l.EdgeCount == 24);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_rim_of_a_half_sphere_is_an_outer_border_and_a_small_hole_is_not()
    {
        var sphere = TestMeshes.Icosphere(4, 10);

        BoundaryLoops.Find(RepairMeshes.Without(sphere, p => p.Z > 0)).Should().ContainSingle().Which.IsOuterBorder.Should().BeTrue();
        // Half angle 30 degrees: diameter 10 against a diagonal of 34.
        BoundaryLoops.Find(RepairMeshes.Without(sphere, p => p.Z > 8.66)).Should().ContainSingle().Which.IsOuterBorder.Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Holes_that_touch_are_simple_loops_and_sheets_that_touch_are_not_mixed()
    {
        var holes = RepairMeshes.Without(RepairMeshes.Sheet(6, 6, 1), p => (p.X > 1 && p.X < 3 && p.Y > 1 && p.Y < 3) || (p.X > 3 && p.X < 5 && p.Y > 3 && p.Y < 5));
        var bowTie = RepairMeshes.FromPoints([new(0, 0, 0), new(1, 0, 0), new(0, 1, 0), new(-1, 0, 0), new(0, -1, 0)], [(0, 1, 2), (0, 3, 4)]);

        BoundaryLoops.Find(holes).Select(l => l.EdgeCount).Should().BeEquivalentTo([24, 8, 8]);
        BoundaryLoops.Find(holes).Should().OnlyContain(l => l.Vertices.Distinct().Count() == l.EdgeCount);
        BoundaryLoops.Find(bowTie).Select(l => l.EdgeCount).Should().Equal(3, 3);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_long_rim_has_its_diameter_by_farthest_points()
    {
        var disc = Disc(3000);

        BoundaryLoops.Find(disc).Should().ContainSingle().Which.DiameterMm.Should().BeApproximately(2, 1e-6);
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("elephant-with-holes.off", 1353, 106)]
    [InlineData("b9_mesh.off", 1708, 76)]
    [InlineData("blobby_3cc.off", 219, 4)]
    [InlineData("head.off", 58, 3)]
    [InlineData("mask_cone.off", 124, 2)]
    public void Border_edges_and_loops_of_real_meshes_are_as_counted_outside(string name, int edges, int loops)
    {
        // PROVENANCE.md counts a rim that touches itself as one loop; ours are simple, so there are as many or more.
        var found = BoundaryLoops.Find(TestMeshes.Shared(name));

        found.Sum(l => l.EdgeCount).Should().Be(edges);
        found.Count.Should().BeGreaterThanOrEqualTo(loops);
        found.Should().OnlyContain(l => l.IsClosed);
    }

    private static Mesh Disc(int corners)
    {
        Vec3[] points = [Vec3.Zero, .. Enumerable.Range(0, corners).Select(i => new Vec3(Math.Cos(2 * Math.PI * i / corners), Math.Sin(2 * Math.PI * i / corners), 0))];
        return RepairMeshes.FromPoints(points, [.. Enumerable.Range(0, corners).Select(i => (0, 1 + i, 1 + ((i + 1) % corners)))]);
    }
}
