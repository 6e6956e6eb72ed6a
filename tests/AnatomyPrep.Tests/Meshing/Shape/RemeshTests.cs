using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class RemeshTests
{
    private static readonly RunContext s_run = new();

    /// <summary>
    /// A ball of 20 mm in edges of 1, 2 and 4 mm: area over that of the even triangle gives the number of triangles, within the
    /// spread of edges between 4/5 and 4/3 squared; a chord of 4/3·L lies L²·(16/9)/8R deep at its middle, a facet's centre 4/3 of that.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(4)]
    public void A_ball_comes_out_in_even_triangles_near_it(double edgeMm)
    {
        const double radius = 20;
        var ball = Solids.Icosphere(5, radius);
        var even = Remesh.Apply(ball, new(edgeMm), s_run);

        MeshAssert.IsSolid(even.Mesh);
        MeshAssert.Euler(even.Mesh).Should().Be(2);
        var triangles = 4 * Math.PI * radius * radius / (Math.Sqrt(3) / 4 * edgeMm * edgeMm);
        even.Mesh.TriangleCount.Should().BeInRange((int)(triangles * 9 / 16), (int)(triangles * 25 / 16));
        even.Effect.Measures!["evenEdgeShare"].Should().BeGreaterThan(0.9);
        even.Effect.Measures["meanEdgeMm"].Should().BeInRange(0.8 * edgeMm, 1.2 * edgeMm);
        even.Effect.Measures["smallestAngleDeg"].Should().BeGreaterThan(25);
        var deepMm = 16.0 / 9 * edgeMm * edgeMm / (8 * radius) * 4 / 3;
        // The icosphere itself lies 0.02 mm inside the ball at the centres of its facets.
        even.Effect.MaxDisplacementMm.Should().BeLessThan(deepMm + 0.02);
        for (var v = 0; v < even.Mesh.VertexCount; v++)
            even.Mesh.Vertex(v).Length.Should().BeInRange(radius - 0.021, radius + 1e-5, "vertices lie on the original");
        MeshAssert.VolumesAsStated(ball, even.Mesh, even.Effect);
    }

    /// <summary>The faces stay flat, the edges straight and the corners in their places: the volume is the cube's.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0.7)]
    [InlineData(3)]
    public void A_cube_keeps_its_edges_and_its_volume(double edgeMm)
    {
        var even = Remesh.Apply(Solids.GridBox(8, 16), new(edgeMm), s_run);
        MeshAssert.IsSolid(even.Mesh);
        even.Effect.VolumeAfterMm3.Should().BeApproximately(16 * 16 * 16, 1e-3);
        even.Effect.MaxDisplacementMm.Should().BeLessThan(1e-5);
        even.Effect.Measures!["evenEdgeShare"].Should().BeGreaterThan(0.8);
        for (var i = 0; i < 8; i++)
            Enumerable.Range(0, even.Mesh.VertexCount).Should().Contain(v => even.Mesh.Vertex(v) == new Vec3((i & 1) * 16, (i >> 1 & 1) * 16, (i >> 2) * 16));
        // Without features the edges are rounded off by less than an edge's length.
        Remesh.Apply(Solids.GridBox(8, 16), new(edgeMm, FeatureAngleDeg: 180), s_run).Effect.MaxDisplacementMm.Should().BeInRange(0.01, edgeMm);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Borders_and_rims_stay_where_they_are()
    {
        var sheet = Solids.Sheet(30, 20, 1, (x, y) => Math.Sin(x / 5) * Math.Cos(y / 4));
        var before = BorderOf(sheet);
        foreach (var pin in (bool[])[true, false])
        {
            var even = Remesh.Apply(sheet, new(0.5, PinBoundary: pin), s_run).Mesh;
            MeshAssert.IsManifold(even);
            var border = BorderOf(even);
            if (pin)
                before.IsSubsetOf(border).Should().BeTrue("border vertices stay");
            // Each border vertex lies on the border before: sides x = 0 or 30, y = 0 or 20.
            foreach (var p in border)
                Math.Min(Math.Min(Math.Abs(p.X), Math.Abs(p.X - 30)), Math.Min(Math.Abs(p.Y), Math.Abs(p.Y - 20))).Should().BeLessThan(1e-5);
            foreach (var corner in (Vec3[])[sheet.Vertex(0), sheet.Vertex(30), sheet.Vertex(20 * 31), sheet.Vertex((20 * 31) + 30)])
                border.Should().Contain(corner);
        }

        var cut = Cut.Apply(Solids.Icosphere(4, 10), new(new(0, 0, 2), new(0, 0, 1)), s_run).Mesh;
        var evenCut = Remesh.Apply(cut, new(0.8), s_run).Mesh;
        MeshAssert.IsSolid(evenCut);
        SmoothTests.Rim(cut).Select(cut.Local).ToHashSet().IsSubsetOf(SmoothTests.Rim(evenCut).Select(evenCut.Local).ToHashSet()).Should().BeTrue();
        MeshMeasures.AreaByOriginMm2(evenCut)[(int)Origin.Cut].Should().BeApproximately(MeshMeasures.AreaByOriginMm2(cut)[(int)Origin.Cut], 1e-3);

        static HashSet<Vec3> BorderOf(Mesh mesh)
        {
            var table = EdgeTable.Build(mesh);
            return [.. Enumerable.Range(0, mesh.Triangles.Length).Where(h => table.Opposite[h] == EdgeTable.Boundary).Select(h => mesh.Vertex(mesh.TriangleArray[h]))];
        }
    }

    /// <summary>PROVENANCE.md: a closed skull of 8.7 × 13.9 × 12.1 units, genus 2, volume 563.419638, area 501.618591.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData(0.2, null)]
    [InlineData(0.15, 0.05)]
    public void A_skull_keeps_its_form(double edge, double? limit)
    {
        var skull = TestMeshes.Shared("skull.obj");
        var even = Remesh.Apply(skull, new(edge, limit, FeatureAngleDeg: 180), s_run);
        KeepsItsForm(skull, even);
        even.Effect.VolumeAfterMm3.Should().BeApproximately(563.419638, 0.002 * 563.4);
        even.Effect.Measures!["evenEdgeShare"].Should().BeGreaterThan(limit is null ? 0.9 : 0.5);
        if (limit is { } mm)
            Math.Max(SimplifyTests.FarthestMm(skull, even.Mesh), SimplifyTests.FarthestMm(even.Mesh, skull)).Should().BeLessThanOrEqualTo(mm);
    }

    /// <summary>Noise with handles a voxel wide and edges of more than that: what would cross is left as it was.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Noise_never_comes_to_cross_itself_and_keeps_its_handles() =>
        Gen.Select(Gen.Int[0, 1 << 30], Gen.Double[0.3, 2], Gen.Bool, Gen.Double[0.05, 0.5]).Sample(
            (seed, edgeMm, limited, limitMm) =>
            {
                var mesh = SimplifyTests.NoiseSurface(7, seed);
                var even = Remesh.Apply(mesh, new(edgeMm, limited ? limitMm : null, FeatureAngleDeg: 90), s_run);
                KeepsItsForm(mesh, even);
                if (limited)
                    Math.Max(SimplifyTests.FarthestMm(mesh, even.Mesh), SimplifyTests.FarthestMm(even.Mesh, mesh)).Should().BeLessThanOrEqualTo(limitMm);
            },
            iter: 8);

    [Fact]
    [Trait("Kind", "Property")]
    public void The_effect_is_what_was_done()
    {
        var mesh = SmoothTests.Noisy(Solids.Icosphere(3, 20), 0.1, 1);
        var even = Remesh.Apply(mesh, new(2.5), s_run);
        even.Effect.MeanDisplacementMm.Should().BeApproximately(Enumerable.Range(0, mesh.VertexCount).Average(v => MeshAssert.Distance(mesh.Vertex(v), even.Mesh)), 1e-9);
        even.Effect.MaxDisplacementMm.Should().BeGreaterThanOrEqualTo(Enumerable.Range(0, even.Mesh.VertexCount).Max(v => MeshAssert.Distance(even.Mesh.Vertex(v), mesh)) - 1e-9);
        even.Effect.MaxDisplacementMm.Should().BeLessThanOrEqualTo(Math.Max(SimplifyTests.FarthestMm(mesh, even.Mesh), SimplifyTests.FarthestMm(even.Mesh, mesh)) + 1e-9);
        even.Effect.ChangedAreaMm2.Should().BeApproximately(MeshMeasures.AreaMm2(mesh), 1e-6);
        MeshAssert.VolumesAsStated(mesh, even.Mesh, even.Effect);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_byte()
    {
        var mesh = Solids.Merged(Solids.Torus(30, 10, 90, 40), SimplifyTests.NoiseSurface(6, 5));
        ShapeGen.SameOnAnyThreads(run => Remesh.Apply(mesh, new(1.3, 0.3), run));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Fins_strays_crossings_and_triangles_without_area_do_no_harm()
    {
        var ball = Solids.Icosphere(3, 10);
        var bad = new Mesh(
            Vec3.Zero,
            [.. ball.Positions, 0, 0, 30, 0, 0, 60],
            [.. ball.Triangles, ball.Triangles[0], ball.Triangles[1], ball.VertexCount, 5, 5, 6, 7, 7, 7]);
        var even = Remesh.Apply(bad, new(1), s_run).Mesh;
        even.Positions.ToArray().Should().OnlyContain(x => float.IsFinite(x));
        EdgeTable.Build(even).NonManifoldEdges.Should().Be(EdgeTable.Build(bad).NonManifoldEdges);

        var crossing = Solids.Merged(Solids.Icosphere(3, 10), Solids.Icosphere(3, 10, new(8, 0, 0)));
        var both = Remesh.Apply(crossing, new(1.5), s_run);
        MeshAssert.IsManifold(both.Mesh);
        both.Effect.Measures!["evenEdgeShare"].Should().BeGreaterThan(0.8);
        Remesh.Apply(Mesh.Empty, new(1), s_run).Mesh.TriangleCount.Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Parameters_out_of_range_are_a_wrong_plan()
    {
        var ball = Solids.Icosphere(1, 100);
        foreach (var (wrong, name) in ((RemeshParameters, string)[])[
            (new(0), "targetEdgeMm"), (new(-1), "targetEdgeMm"), (new(double.NaN), "targetEdgeMm"), (new(0.01), "targetEdgeMm"),
            (new(1, 0), "maxDistanceMm"), (new(1, double.NaN), "maxDistanceMm"), (new(1, FeatureAngleDeg: 0), "featureAngleDeg"), (new(1, Iterations: 0), "iterations")])
        {
            var remesh = () => Remesh.Apply(ball, wrong, s_run);
            remesh.Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }

        using var source = new CancellationTokenSource();
        source.Cancel();
        var cancelled = () => Remesh.Apply(Solids.Icosphere(3, 10), new(1), new(cancellation: source.Token));
        cancelled.Should().Throw<OperationCanceledException>();
    }

    private static void KeepsItsForm(Mesh before, ShapeResult even)
    {
        MeshAssert.IsManifold(even.Mesh);
        EdgeTable.Build(even.Mesh).BoundaryEdges.Should().Be(0);
        MeshAssert.Euler(even.Mesh).Should().Be(MeshAssert.Euler(before));
        SelfIntersections.Find(even.Mesh, s_run).Pairs.Should().NotContain(p => p.Contact != Contact.Touching);
        MeshAssert.VolumesAsStated(before, even.Mesh, even.Effect);
    }
}
