using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class PlaceOnBedTests
{
    private static readonly RunContext s_run = new();

    [Fact]
    [Trait("Kind", "Property")]
    public void The_lowest_point_lies_on_the_bed_and_no_position_byte_changes() =>
        Gen.Select(ShapeGen.PointMm, Gen.Double[-10, 10], Gen.Bool).Sample(
            (center, bedMm, middle) =>
            {
                var mesh = Solids.Icosphere(1, 40, center);
                var placed = PlaceOnBed.Apply(mesh, new(bedMm, middle), s_run);
                var (before, after) = (mesh.BoundsMm(), placed.Mesh.BoundsMm());
                after.Min.Z.Should().BeApproximately(bedMm, 1e-9);
                after.Center.X.Should().BeApproximately(middle ? 0 : before.Center.X, 1e-9);
                after.Center.Y.Should().BeApproximately(middle ? 0 : before.Center.Y, 1e-9);
                placed.Mesh.Positions.SequenceEqual(mesh.Positions).Should().BeTrue();
                MeshAssert.MovedAsStated(mesh, placed.Mesh, placed.Effect);
            },
            iter: 100);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Vertices_that_no_triangle_uses_do_not_lift_the_model()
    {
        var box = Solids.Box(new(0, 0, 10), new(2, 2, 12));
        var stray = new Mesh(Vec3.Zero, [.. box.Positions, 500, 0, -1000], box.TriangleArray);
        var placed = PlaceOnBed.Apply(stray, new(), s_run).Mesh;
        placed.Vertex(0).Should().Be(new Vec3(-1, -1, 0));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nothing_to_place_and_no_height_are_refused()
    {
        var empty = () => PlaceOnBed.Apply(Mesh.Empty, new(), s_run);
        empty.Should().Throw<CheckFailedException>();
        var height = () => PlaceOnBed.Apply(Solids.Icosphere(0, 1), new(double.NaN), s_run);
        height.Should().Throw<PlanException>().Which.Parameter.Should().Be("bedHeightMm");
    }
}
