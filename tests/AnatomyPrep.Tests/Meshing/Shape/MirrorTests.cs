using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class MirrorTests
{
    private static readonly RunContext s_run = new();

    [Fact]
    [Trait("Kind", "Truth")]
    public void Left_becomes_right_and_outward_stays_outward()
    {
        // A head-like box off the middle: its left is +x in LPS.
        var mesh = Solids.Box(new(10, -20, -30), new(70, 90, 120));
        var mirrored = Mirror.Apply(mesh, new(Vec3.Zero, new(5, 0, 0)), s_run);

        mirrored.Mesh.BoundsMm().Should().Be(new Box3(new(-70, -20, -30), new(-10, 90, 120)));
        MeshAssert.IsSolid(mirrored.Mesh);
        mirrored.Effect.VolumeAfterMm3.Should().Be(mirrored.Effect.VolumeBeforeMm3);
        mirrored.Findings.Should().ContainSingle(f => f.Code == FindingCodes.SideMirrored && f.Severity == Severity.Caution);
        MeshAssert.MovedAsStated(mesh, mirrored.Mesh, mirrored.Effect);
    }

    /// <summary>Along an axis only signs change, so every bit comes back.</summary>
    [Theory]
    [Trait("Kind", "Property")]
    [InlineData(1, 0, 0)]
    [InlineData(0, -3, 0)]
    [InlineData(0, 0, 0.1)]
    public void Twice_in_a_plane_along_an_axis_gives_the_same_bits(double x, double y, double z)
    {
        var origins = Enumerable.Range(0, 320).Select(t => (Origin)(t % 5)).ToArray();
        var ball = Solids.Icosphere(2, 10, new(20.3, 40.7, 80.1));
        var mesh = new Mesh(new(0.5, -3, 700.25), ball.PositionArray, ball.TriangleArray, origins);
        MirrorParameters plane = new(new(1, 2, 4), new(x, y, z));
        var once = Mirror.Apply(mesh, plane, s_run).Mesh;
        var twice = Mirror.Apply(once, plane, s_run).Mesh;

        MeshAssert.SameBytes(once, mesh).Should().BeFalse();
        MeshAssert.SameBits(twice, mesh).Should().BeTrue();
    }

    /// <summary>
    /// In any plane: each pass rounds a coordinate to float32, at most half a unit in the last place of the largest distance r
    /// from the mesh's origin, and the second pass keeps the length of the first one's error: √3 · ulp(r) in all, plus double
    /// rounding of the mesh's origin.
    /// </summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Twice_in_any_plane_gives_the_mesh_back_within_rounding() =>
        Gen.Select(ShapeGen.Direction, ShapeGen.PointMm, ShapeGen.PointMm).Sample(
            (normal, point, center) =>
            {
                var mesh = Solids.Icosphere(1, 30, center);
                var once = Mirror.Apply(mesh, new(point, normal), s_run);
                var twice = Mirror.Apply(once.Mesh, new(point, normal), s_run).Mesh;
                twice.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue();
                ShapeGen.FarthestMm(mesh, twice).Should().BeLessThan((Math.Sqrt(3) * ShapeGen.UnitInLastPlace(mesh)) + 1e-11);
                MeshAssert.MovedAsStated(mesh, once.Mesh, once.Effect);
                once.Effect.VolumeAfterMm3.Should().BePositive();
            },
            iter: 200);

    /// <summary>Points of the plane stay: a mirrored point is p − 2(n·(p − q))n.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Each_vertex_goes_to_the_other_side_at_the_same_distance()
    {
        var mesh = Solids.Icosphere(2, 50, new(10, 20, 30));
        Vec3 point = new(5, 5, 5), normal = new Vec3(1, -2, 0.5).Normalized();
        var mirrored = Mirror.Apply(mesh, new(point, normal * 7), s_run).Mesh;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var height = Vec3.Dot(normal, mesh.Vertex(v) - point);
            Vec3.Distance(mirrored.Vertex(v), mesh.Vertex(v) - (normal * (2 * height))).Should().BeLessThan(ShapeGen.UnitInLastPlace(mirrored));
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_plane_without_direction_is_a_wrong_plan()
    {
        foreach (var normal in (Vec3[])[Vec3.Zero, new(double.NaN, 0, 1), new(double.PositiveInfinity, 0, 0)])
        {
            var mirror = () => Mirror.Apply(Solids.Icosphere(0, 1), new(Vec3.Zero, normal), s_run);
            mirror.Should().Throw<PlanException>().Which.Parameter.Should().Be("normal");
        }

        Mirror.Apply(Mesh.Empty, new(Vec3.Zero, new(1, 0, 0)), s_run).Mesh.VertexCount.Should().Be(0);
    }
}
