using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Cloud;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Cloud;

public class SheetClipTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_sheet_cut_along_a_straight_line_has_the_area_of_one_side()
    {
        // The figure is linear, so the line is met exactly; x = 7.3 lies 0.3 from a column, farther than the clearance.
        var sheet = TestMeshes.GridSheet(20, 10, 20, 10);
        var keep = Enumerable.Range(0, sheet.VertexCount).Select(v => (float)(7.3 - sheet.Vertex(v).X)).ToArray();

        var clipped = SheetClip.Apply(sheet, keep);

        MeshMeasures.AreaMm2(clipped).Should().BeApproximately(73, 1e-4);
        MeshAssert.IsManifold(clipped);
        Enumerable.Range(0, clipped.VertexCount).Max(v => clipped.Vertex(v).X).Should().BeApproximately(7.3, 1e-6);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Any_figures_give_a_manifold_without_crossings_and_keep_origins() =>
        Gen.Select(Gen.Int[0, 1_000_000], Gen.Int[1, 99]).Sample(
            (seed, share) =>
            {
                var random = new Random(seed);
                var ball = TestMeshes.Icosphere(3, 10);
                var origins = Enumerable.Range(0, ball.TriangleCount).Select(_ => (Origin)random.Next(5)).ToArray();
                var mesh = new Mesh(ball.OriginMm, ball.PositionArray, ball.TriangleArray, origins);
                // Both ends of the range, exact zeros and infinities among them.
                var keep = Enumerable.Range(0, mesh.VertexCount).Select(_ => random.Next(100) < share ? random.Next(20) == 0 ? float.PositiveInfinity : random.NextSingle() : random.Next(20) == 0 ? 0 : -random.NextSingle()).ToArray();

                var clipped = SheetClip.Apply(mesh, keep);

                MeshAssert.IsManifold(clipped);
                SelfIntersections.Find(clipped, TestClouds.Threads(1)).Pairs.Should().BeEmpty();
                var stays = Enumerable.Range(0, mesh.VertexCount).Count(v => keep[v] > 0);
                clipped.Positions[..(3 * stays)].ToArray().Should().Equal(Enumerable.Range(0, mesh.VertexCount).Where(v => keep[v] > 0).SelectMany(v => mesh.Positions.Slice(3 * v, 3).ToArray()));
                MeshMeasures.AreaByOriginMm2(clipped).Zip(MeshMeasures.AreaByOriginMm2(mesh)).Should().OnlyContain(a => a.First <= a.Second * 1.00001);
            },
            iter: 30);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void All_or_nothing()
    {
        var ball = TestMeshes.Icosphere(2, 10);
        SheetClip.Apply(ball, [.. Enumerable.Repeat(1f, ball.VertexCount)]).Triangles.SequenceEqual(ball.Triangles).Should().BeTrue();
        SheetClip.Apply(ball, new float[ball.VertexCount]).TriangleCount.Should().Be(0);
        SheetClip.Apply(Mesh.Empty, []).TriangleCount.Should().Be(0);
    }
}
