using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class AlignToPlaneTests
{
    private static readonly RunContext s_run = new();

    /// <summary>A disc of points in the plane, and one above it, end at height 0 and above; the stated point ends on the target.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void The_plane_ends_on_the_bed_facing_up() =>
        Gen.Select(ShapeGen.Direction, ShapeGen.PointMm).Sample(
            (normal, point) => EndsOnBed(normal, point),
            iter: 200);

    /// <summary>Straight down, and within rounding of it, where the axis of the smallest turn is hardest to find.</summary>
    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(0, 0)]
    [InlineData(1e-13, 0)]
    [InlineData(0, 3e-12)]
    [InlineData(1e-11, 2e-11)]
    [InlineData(1e-9, 0)]
    [InlineData(1e-7, 1e-8)]
    [InlineData(1e-3, 0)]
    public void A_plane_facing_down_or_nearly_so_is_turned_over(double x, double y)
    {
        EndsOnBed(new(x, y, -1), new(3, 4, 5));
        EndsOnBed(new(x, y, 1), new(3, 4, 5));
    }

    private static void EndsOnBed(Vec3 normal, Vec3 point)
    {
        var n = normal.Normalized();
        var u = Vec3.Cross(n, Math.Abs(n.X) < 0.6 ? new(1, 0, 0) : new(0, 1, 0)).Normalized();
        var v = Vec3.Cross(n, u);
        // Relative to the point, so that float32 has digits to spare for the angle.
        var mesh = TestMeshes.Of([point + (u * 100), point + (v * 100), point - (u * 100), point + (n * 100)], [0, 1, 2, 0, 1, 3], point);
        var aligned = AlignToPlane.Apply(mesh, new(point, normal), s_run);

        // Three roundings to float32 of lengths up to 100 mm: below 2e-5 mm.
        for (var i = 0; i < 3; i++)
            aligned.Mesh.Vertex(i).Z.Should().BeApproximately(0, 2e-5);
        Vec3.Distance(aligned.Mesh.Vertex(3), new(0, 0, 100)).Should().BeLessThan(2e-5);
        aligned.Mesh.OriginMm.Length.Should().BeLessThan(1e-9, "the point ends at the origin");
        aligned.Effect.Measures!["rotationDeg"].Should().BeApproximately(Math.Acos(Math.Clamp(n.Z, -1, 1)) * 180 / Math.PI, 1e-5);
        MeshAssert.MovedAsStated(mesh, aligned.Mesh, aligned.Effect);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Another_target_may_be_given()
    {
        var box = Solids.Box(Vec3.Zero, new(1, 2, 3));
        var aligned = AlignToPlane.Apply(box, new(new(0, 0, 3), new(0, 0, 1), new(50, 60, 70), new(1, 0, 0)), s_run);
        var bounds = aligned.Mesh.BoundsMm();
        bounds.Max.X.Should().BeApproximately(50, 1e-5);
        bounds.Min.X.Should().BeApproximately(47, 1e-5);
        MeshAssert.IsSolid(aligned.Mesh);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_normal_of_zero_is_a_wrong_plan()
    {
        var ball = Solids.Icosphere(0, 1);
        foreach (var wrong in (AlignToPlaneParameters[])[
            new(Vec3.Zero, Vec3.Zero), new(new(double.NaN, 0, 0), new(0, 0, 1)), new(Vec3.Zero, new(0, 0, 1), null, Vec3.Zero),
            new(Vec3.Zero, new(0, 0, 1), new(0, double.PositiveInfinity, 0))])
        {
            var align = () => AlignToPlane.Apply(ball, wrong, s_run);
            align.Should().Throw<PlanException>("of {0}", wrong);
        }
    }
}
