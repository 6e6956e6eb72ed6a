using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class ThicknessMapTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Theory]
    [InlineData(0.5)]
    [InlineData(1.0)]
    [InlineData(3.0)]
    public void A_plate_is_as_thick_as_it_is(double thickMm)
    {
        var plate = Plate(thickMm);
        var map = Wall(plate, 20);
        for (var v = 0; v < plate.VertexCount; v++)
        {
            var p = plate.Vertex(v);
            if (Math.Min(Math.Min(p.X, 40 - p.X), Math.Min(p.Y, 40 - p.Y)) <= thickMm)
                continue;
            ((double)map.RayMm[v]).Should().BeApproximately(thickMm, 1e-4 * thickMm);
            ((double)map.SphereMm[v]).Should().BeApproximately(thickMm, 1e-3 * thickMm);
        }
    }

    [Theory]
    [InlineData(50, 45)]
    [InlineData(20, 19)]
    [InlineData(30, 10)]
    public void The_wall_of_nested_spheres_is_the_difference_of_their_radii(double outer, double inner)
    {
        // Facets of subdivision 5 (2.1° edges) lie within 2e-4 of the radius below the sphere; both walls: below 4e-4 · outer/(outer − inner) of the wall.
        var shell = Solids.Merged(Solids.Icosphere(5, outer), Solids.InsideOut(Solids.Icosphere(5, inner)));
        var map = Wall(shell, 100);
        for (var v = 0; v < shell.VertexCount; v++)
        {
            ((double)map.RayMm[v]).Should().BeApproximately(outer - inner, 0.02 * (outer - inner));
            ((double)map.SphereMm[v]).Should().BeApproximately(outer - inner, 0.02 * (outer - inner));
        }

        // The gap inside is the hollow itself: from the inner wall, 2·inner across; from the outer wall nothing.
        var gap = ThicknessMap.Measure(shell, TriangleTree.Build(shell, s_run), ThicknessSide.Gap, 200, s_run);
        var (a, b) = (shell.VertexCount / 4, shell.VertexCount * 3 / 4);
        gap.SphereMm[a].Should().Be(float.PositiveInfinity);
        ((double)gap.SphereMm[b]).Should().BeApproximately(2 * inner, 0.04 * inner);
    }

    [Fact]
    public void Right_angled_edges_are_not_thin()
    {
        var cube = Solids.GridBox(10, 20);
        Wall(cube, 50).SphereMm.Should().OnlyContain(d => d > 9);
    }

    [Fact]
    public void A_wedge_is_thin_towards_its_edge_alone()
    {
        // 30° between the faces: the ball that touches both at distance s from the edge has the diameter 2·s·tan 15°; the ray s·tan 30°.
        var wedge = Wedge(30);
        var map = Wall(wedge, 100);
        // The far upper edge has 60° and is thin in its outermost half millimetre too.
        map.Below(wedge, 1, 0.1).Should().OnlyContain(p => p.AtMm.X < (1 / (2 * Math.Tan(Math.PI / 12))) + 0.5 || p.AtMm.X > 29);
        map.Below(wedge, 1, 0.1)[0].AtMm.X.Should().BeLessThan(0.1);
        var checkedVertices = 0;
        for (var v = 0; v < wedge.VertexCount; v++)
        {
            var p = wedge.Vertex(v);
            if (p.Z != 0 || p.X is < 2 or > 10 || p.Y is < 8 or > 22)
                continue;
            checkedVertices++;
            ((double)map.SphereMm[v]).Should().BeApproximately(2 * p.X * Math.Tan(Math.PI / 12), 0.02 * p.X);
        }

        checkedVertices.Should().BePositive();
    }

    [Fact]
    public void Gaps_are_measured_between_two_blocks()
    {
        var two = Solids.Merged(Solids.Icosphere(4, 10), Solids.Icosphere(4, 10, new(20.3, 0, 0)));
        var map = ThicknessMap.Measure(two, TriangleTree.Build(two, s_run), ThicknessSide.Gap, 10, s_run);
        var place = map.Below(two, 0.4, 0.01);
        place.Should().HaveCount(2, "either side");
        // Facets lie within 10·(1 − cos 2.3°) = 0.008 of the sphere, on either ball.
        place[0].LeastMm.Should().BeApproximately(0.3, 0.02);
        place[0].AtMm.X.Should().BeApproximately(10.15, 0.3);
        Wall(two, 30).Below(two, 5, 0.01).Should().BeEmpty();
    }

    [Fact]
    public void The_sphere_is_never_larger_than_the_ray()
    {
        var model = Solids.Merged(SupportNeedTests.TShape(), Solids.Torus(30, 6, 60, 24));
        var map = Wall(model, 100);
        for (var v = 0; v < model.VertexCount; v++)
            map.SphereMm[v].Should().BeLessThanOrEqualTo(map.RayMm[v]);
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var model = Solids.Torus(30, 6, 120, 48);
        var tree = TriangleTree.Build(model, s_run);
        var first = ThicknessMap.Measure(model, tree, ThicknessSide.Wall, 50, new RunContext(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
        {
            var other = ThicknessMap.Measure(model, tree, ThicknessSide.Wall, 50, new RunContext(threads: threads));
            other.RayMm.Should().Equal(first.RayMm);
            other.SphereMm.Should().Equal(first.SphereMm);
        }
    }

    [Fact]
    public void Nothing_is_nothing_and_a_reach_must_be_one()
    {
        Wall(Mesh.Empty, 5).SphereMm.Should().BeEmpty();
        ((Action)(() => Wall(Mesh.Empty, 0))).Should().Throw<PlanException>().Which.Parameter.Should().Be("reachMm");
    }

    private static ThicknessMap Wall(Mesh mesh, double reachMm) => ThicknessMap.Measure(mesh, TriangleTree.Build(mesh, s_run), ThicknessSide.Wall, reachMm, s_run);

    /// <summary>40 × 40, both faces cut into squares of 1 mm.</summary>
    private static Mesh Plate(double thickMm) => Solids.Moved(Solids.GridBox(40, 40), (_, p) => new(p.X, p.Y, p.Z / 40 * thickMm));

    /// <summary>A box squeezed to an edge at x = 0: bottom z = 0, top z = x · tan angle.</summary>
    private static Mesh Wedge(double angleDeg) => Solids.Moved(
        Solids.GridBox(30, 30), (_, p) => new(p.X + 0.05, p.Y, p.Z / 30 * (p.X + 0.05) * Math.Tan(angleDeg * Math.PI / 180)));
}
