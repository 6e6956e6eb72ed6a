using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class MoveTests
{
    private static readonly RunContext s_run = new();

    [Fact]
    [Trait("Kind", "Property")]
    public void A_move_changes_no_position_byte_and_no_volume_bit() =>
        Gen.Select(ShapeGen.PointMm, ShapeGen.PointMm).Sample(
            (by, center) =>
            {
                var mesh = Solids.Icosphere(1, 40, center);
                var moved = Move.Apply(mesh, new(by), s_run);
                moved.Mesh.Positions.SequenceEqual(mesh.Positions).Should().BeTrue();
                moved.Mesh.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue();
                // The sum and the difference are rounded once each, by at most half a unit in the last place of what they give.
                var rounding = Math.Pow(2, -52) * (mesh.OriginMm.Length + by.Length);
                Vec3.Distance(moved.Mesh.OriginMm - mesh.OriginMm, by).Should().BeLessThanOrEqualTo(rounding);
                moved.Effect.MeanDisplacementMm.Should().BeApproximately(by.Length, 1e-9);
                moved.Effect.MaxDisplacementMm.Should().BeApproximately(by.Length, 1e-9);
                moved.Effect.VolumeAfterMm3.Should().BeApproximately(moved.Effect.VolumeBeforeMm3!.Value, 1e-9 * moved.Effect.VolumeBeforeMm3.Value);
                MeshAssert.MovedAsStated(mesh, moved.Mesh, moved.Effect);
                moved.Findings.Should().BeEmpty();
            },
            iter: 100);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_move_by_no_number_is_a_wrong_plan()
    {
        var move = () => Move.Apply(Solids.Icosphere(0, 1), new(new(0, double.NaN, 0)), s_run);
        move.Should().Throw<PlanException>().Which.Parameter.Should().Be("byMm");
        Move.Apply(Mesh.Empty, new(new(1, 2, 3)), s_run).Effect.MaxDisplacementMm.Should().Be(0);
    }
}
