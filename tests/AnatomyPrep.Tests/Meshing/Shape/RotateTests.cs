using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class RotateTests
{
    private static readonly RunContext s_run = new();

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_quarter_turn_about_z_carries_left_to_posterior()
    {
        // In LPS +x is left, +y posterior; right-handed about +z takes x to y.
        var box = Solids.Box(new(10, -1, 0), new(20, 1, 5));
        var turned = Rotate.Apply(box, new(new(0, 0, 2), 90, Vec3.Zero), s_run);
        var bounds = turned.Mesh.BoundsMm();
        Vec3.Distance(bounds.Min, new(-1, 10, 0)).Should().BeLessThan(1e-5);
        Vec3.Distance(bounds.Max, new(1, 20, 5)).Should().BeLessThan(1e-5);
        MeshAssert.IsSolid(turned.Mesh);
        MeshAssert.MovedAsStated(box, turned.Mesh, turned.Effect);
        turned.Findings.Should().BeEmpty();

        Vec3.Distance(Rotate.Apply(box, new(new(0, 0, 1), 90), s_run).Mesh.BoundsMm().Center, box.BoundsMm().Center).Should().BeLessThan(1e-5, "it turns about its centre where no point is given");
    }

    /// <summary>
    /// By a, then by −a about the same point: each pass rounds the coordinates relative to the mesh's origin to half a unit in the
    /// last place of the farthest vertex, and turning keeps lengths: √3 · ulp in all, plus double rounding of the origin's way.
    /// </summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void There_and_back_gives_the_mesh_within_rounding() =>
        Gen.Select(ShapeGen.Direction, Gen.Double[-360, 360], ShapeGen.PointMm, ShapeGen.PointMm).Sample(
            (axis, angleDeg, about, center) =>
            {
                var mesh = Solids.Icosphere(1, 40, center);
                var there = Rotate.Apply(mesh, new(axis, angleDeg, about), s_run);
                var back = Rotate.Apply(there.Mesh, new(axis, -angleDeg, about), s_run).Mesh;
                ShapeGen.FarthestMm(mesh, back).Should().BeLessThan((Math.Sqrt(3) * ShapeGen.UnitInLastPlace(mesh)) + 1e-11);
                MeshAssert.MovedAsStated(mesh, there.Mesh, there.Effect);
                // No vertex moves farther than the chord of the angle at its distance from the axis.
                there.Effect.MaxDisplacementMm.Should().BeLessThan((2 * Math.Abs(Math.Sin(angleDeg * Math.PI / 360)) * (40 + Vec3.Distance(center, about))) + 1e-3);
                there.Effect.VolumeAfterMm3.Should().BeApproximately(there.Effect.VolumeBeforeMm3!.Value, 1e-3 * there.Effect.VolumeBeforeMm3.Value);
            },
            iter: 200);

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_byte() =>
        ShapeGen.SameOnAnyThreads(run => Rotate.Apply(Solids.Icosphere(6, 90), new(new(1, 2, 3), 34.5), run));

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Axes_and_angles_that_are_no_numbers_are_a_wrong_plan()
    {
        foreach (var wrong in (RotateParameters[])[
            new(Vec3.Zero, 10), new(new(double.NaN, 0, 0), 10), new(new(1, 0, 0), double.NaN), new(new(1, 0, 0), double.PositiveInfinity),
            new(new(1, 0, 0), 1, new(0, 0, double.NaN))])
        {
            var turn = () => Rotate.Apply(Solids.Icosphere(0, 1), wrong, s_run);
            turn.Should().Throw<PlanException>("of {0}", wrong);
        }

        Rotate.Apply(Mesh.Empty, new(new(1, 0, 0), 30), s_run).Mesh.TriangleCount.Should().Be(0);
    }
}
