using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class ScaleTests
{
    private static readonly RunContext s_run = new();

    /// <summary>
    /// A skull of 12 units made 178 mm high (the breadth and height of a model are what a room's shelf or a box asks for). Either
    /// end is rounded to float32 once, half a unit in the last place of at most 178 mm: 8e-6 mm each.
    /// </summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData(0, 0, 1)]
    [InlineData(0, -1, 0)]
    [InlineData(0.3, 0.4, -0.5)]
    public void A_skull_comes_out_178_mm_high(double x, double y, double z)
    {
        var skull = Solids.Read(SharedData.File("data/meshes/skull.obj"));
        var axis = new Vec3(x, y, z).Normalized();
        var scaled = Scale.Apply(skull, new(TargetHeightMm: 178, Axis: new(x, y, z)), s_run);

        HeightMm(scaled.Mesh, axis).Should().BeApproximately(178, 1e-4);
        scaled.Effect.Measures!["heightMm"].Should().BeApproximately(HeightMm(scaled.Mesh, axis), 1e-9);
        var factor = scaled.Effect.Measures["factor"];
        factor.Should().BeApproximately(178 / HeightMm(skull, axis), 1e-9);
        var finding = scaled.Findings.Should().ContainSingle().Subject;
        finding.Code.Should().Be(FindingCodes.ModelScaled);
        finding.Severity.Should().Be(Severity.Caution);
        // f³, with the relative rounding of three coordinates.
        scaled.Effect.VolumeAfterMm3.Should().BeApproximately(factor * factor * factor * scaled.Effect.VolumeBeforeMm3!.Value, 1e-6 * scaled.Effect.VolumeAfterMm3!.Value);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_stated_point_stays_and_all_else_moves_from_it()
    {
        var box = Solids.Box(new(0, 0, 0), new(2, 4, 8));
        var scaled = Scale.Apply(box, new(Factor: 0.5, AboutMm: new(2, 4, 8)), s_run);
        scaled.Mesh.BoundsMm().Should().Be(new Box3(new(1, 2, 4), new(2, 4, 8)));
        MeshAssert.MovedAsStated(box, scaled.Mesh, scaled.Effect);

        Scale.Apply(box, new(Factor: 0.5), s_run).Mesh.BoundsMm().Center.Should().Be(new Vec3(1, 2, 4));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Life_size_is_no_finding_and_changes_nothing()
    {
        var ball = Solids.Icosphere(2, 10);
        var same = Scale.Apply(ball, new(Factor: 1), s_run);
        same.Findings.Should().BeEmpty();
        MeshAssert.SameBits(same.Mesh, ball).Should().BeTrue();
        same.Effect.MaxDisplacementMm.Should().Be(0);
    }

    /// <summary>
    /// By f, then by 1/f about the same point: each pass rounds a coordinate relative to the mesh's origin by half a unit in the
    /// last place, 2^-24 of it, and the first error is scaled back: 2·2^-24·|x| each, √3 times that for the point.
    /// </summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void By_a_factor_and_its_inverse_gives_the_mesh_back_within_rounding() =>
        Gen.Select(Gen.Double[0.01, 100], ShapeGen.PointMm, ShapeGen.PointMm).Sample(
            (factor, about, center) =>
            {
                var mesh = Solids.Icosphere(1, 40, center);
                var there = Scale.Apply(mesh, new(Factor: factor, AboutMm: about), s_run);
                var back = Scale.Apply(there.Mesh, new(Factor: 1 / factor, AboutMm: about), s_run).Mesh;
                for (var v = 0; v < mesh.VertexCount; v++)
                {
                    var bound = (2 * Math.Pow(2, -24) * mesh.Local(v).Length) + (1e-12 * (1 + (about.Length * (1 + (1 / factor)))));
                    Vec3.Distance(mesh.Vertex(v), back.Vertex(v)).Should().BeLessThanOrEqualTo(bound);
                }

                MeshAssert.MovedAsStated(mesh, there.Mesh, there.Effect);
            },
            iter: 200);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Vertices_that_no_triangle_uses_have_no_say_in_the_height()
    {
        var box = Solids.Box(Vec3.Zero, new(1, 2, 3));
        var stray = new Mesh(Vec3.Zero, [.. box.Positions, 0, 0, -1000], box.TriangleArray);
        var scaled = Scale.Apply(stray, new(TargetHeightMm: 6), s_run);
        scaled.Effect.Measures!["factor"].Should().Be(2);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_cannot_be_meant_is_refused()
    {
        var ball = Solids.Icosphere(1, 10);
        foreach (var wrong in (ScaleParameters[])[
            new(), new(1, 2), new(Factor: 0), new(Factor: -1), new(Factor: double.NaN), new(Factor: double.PositiveInfinity),
            new(TargetHeightMm: 0), new(TargetHeightMm: -3), new(TargetHeightMm: double.NaN),
            new(Factor: 2, Axis: Vec3.Zero), new(Factor: 2, AboutMm: new(double.NaN, 0, 0))])
        {
            var scale = () => Scale.Apply(ball, wrong, s_run);
            scale.Should().Throw<PlanException>("of {0}", wrong);
        }

        var flat = () => Scale.Apply(Solids.Sheet(2, 2, 1), new(TargetHeightMm: 5), s_run);
        flat.Should().Throw<CheckFailedException>();
        var empty = () => Scale.Apply(Mesh.Empty, new(TargetHeightMm: 5), s_run);
        empty.Should().Throw<CheckFailedException>();
        var huge = () => Scale.Apply(ball, new(Factor: 1e38), s_run);
        huge.Should().Throw<CheckFailedException>("a coordinate would not be a number any more");
    }

    private static double HeightMm(Mesh mesh, Vec3 axis)
    {
        var heights = Enumerable.Range(0, mesh.VertexCount).Select(v => Vec3.Dot(mesh.Vertex(v), axis)).ToArray();
        return heights.Max() - heights.Min();
    }
}
