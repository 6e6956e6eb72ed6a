using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Cloud;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Cloud;

public class LineSnapTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_straight_line_beside_a_row_of_vertices_runs_through_them()
    {
        // x = 7.2 lies 0.2 of an edge from the column x = 7: nothing is cut, and the sheet ends there.
        var sheet = TestMeshes.GridSheet(20, 10, 20, 10);
        var keep = Keep(sheet, p => 7.2 - p.X);

        var clipped = SheetClip.Apply(sheet, keep, LineSnap.Find(sheet, keep));

        MeshMeasures.AreaMm2(clipped).Should().BeApproximately(70, 1e-4);
        MeshAssert.IsManifold(clipped);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_round_border_has_no_needles()
    {
        // Grid of 1 mm. Off the vertices a cut stays 0.3 of an edge from both ends; two at one corner, 45 degrees apart, are at least
        // 0.3 · √(1 + 2 − 2 √2 cos 45°) = 0.3 apart for edges 1 and √2, and no nearer than 0.3 sin 45° whatever the place.
        var sheet = TestMeshes.GridSheet(60, 60, 60, 60);
        var center = (sheet.BoundsMm().Min + sheet.BoundsMm().Max) / 2;
        var keep = Keep(sheet, p => 21.3 - Vec3.Distance(p, center));

        var plain = SheetClip.Apply(sheet, keep);
        var snapped = SheetClip.Apply(sheet, keep, LineSnap.Find(sheet, keep));

        ShortestBorderEdge(plain).Should().BeLessThan(0.15);
        ShortestBorderEdge(snapped).Should().BeGreaterThan(0.3 * Math.Sqrt(0.5));
        MeshMeasures.AreaMm2(snapped).Should().BeApproximately(Math.PI * 21.3 * 21.3, 0.3 * 2 * Math.PI * 21.3 / 4);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Any_figures_give_a_manifold_without_crossings() =>
        Gen.Select(Gen.Int[0, 1_000_000], Gen.Int[1, 99]).Sample(
            (seed, share) =>
            {
                var random = new Random(seed);
                var mesh = TestMeshes.Icosphere(3, 10);
                var keep = Enumerable.Range(0, mesh.VertexCount).Select(_ => random.Next(100) < share ? random.Next(20) == 0 ? float.PositiveInfinity : random.NextSingle() : random.Next(20) == 0 ? 0 : -random.NextSingle()).ToArray();

                var clipped = SheetClip.Apply(mesh, keep, LineSnap.Find(mesh, keep));

                MeshAssert.IsManifold(clipped);
                SelfIntersections.Find(clipped, TestClouds.Threads(1)).Pairs.Should().BeEmpty();
                clipped.Triangles.ToArray().Distinct().Should().HaveCount(clipped.VertexCount);
            },
            iter: 30);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void All_or_nothing()
    {
        var ball = TestMeshes.Icosphere(2, 10);
        LineSnap.Find(ball, [.. Enumerable.Repeat(1f, ball.VertexCount)]).Should().NotContain(true);
        LineSnap.Find(ball, new float[ball.VertexCount]).Should().NotContain(true);
        LineSnap.Find(Mesh.Empty, []).Should().BeEmpty();
    }

    private static float[] Keep(Mesh mesh, Func<Vec3, double> figure) => [.. Enumerable.Range(0, mesh.VertexCount).Select(v => (float)figure(mesh.Vertex(v)))];

    private static double ShortestBorderEdge(Mesh mesh)
    {
        var opposite = EdgeTable.Build(mesh).OppositeArray;
        return Enumerable.Range(0, opposite.Length).Where(h => opposite[h] < 0).Min(h => Vec3.Distance(mesh.Vertex(mesh.Triangles[h]), mesh.Vertex(mesh.Triangles[EdgeTable.Next(h)])));
    }
}
