using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class SupportNeedTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_up = new(0, 0, 1);

    [Theory]
    [InlineData(45, 0.146447)]
    [InlineData(30, 0.066987)]
    [InlineData(60, 0.25)]
    public void A_sphere_overhangs_with_the_share_of_its_cap(double limitDeg, double share)
    {
        // Shares (1 − cos limit)/2 from reference-values.md, section 3. A triangle counts as a whole by its normal: those on the rim of the cap
        // are in or out by their middle, an error of second order in the edge, 1.2° here; their area is smaller than the sphere's by 3e-4.
        // The tip on the bed does not count: 0.02 mm of height, 2π·10·0.02 of 4π·100, a thousandth; so the tip is put back by hand.
        var ball = Solids.Icosphere(6, 10);
        var (lies, _) = SupportNeed.Measure(ball, s_up, limitDeg, 0.5, s_run);
        var onBed = Enumerable.Range(0, ball.TriangleCount).Where(t => Corners(ball, t).Max(p => p.Z) <= -10 + SupportNeed.BedMm).Sum(t => MeshMeasures.TriangleAreaMm2(ball, t));
        ((lies.ContactMm2 + onBed) / (4 * Math.PI * 100)).Should().BeApproximately(share, 0.005 * share);
    }

    [Fact]
    public void Columns_under_a_sphere_take_the_volume_of_the_integral()
    {
        // r³(π/2 − (2π/3)(1 − 2^−1.5)), computed in reference-values.md; midpoint sums of 0.1 mm pixels over a smooth field are within 0.5 %.
        var (lies, error) = SupportNeed.Measure(Solids.Icosphere(6, 10), s_up, 45, 0.1, s_run);
        lies.SupportMm3.Should().BeApproximately(216.8817, 0.005 * 216.8817);
        error.Should().BeLessThan(0.02 * 216.8817);
        lies.StandingMm3.Should().Be(0);
        lies.HeightMm.Should().BeApproximately(20, 1e-4);
    }

    [Fact]
    public void A_slab_on_a_post_has_exactly_its_underside()
    {
        // Underside 40 × 40 − 10 × 10, all of it 20 above the bed; the pixel grid divides the edges, so that even the volume is exact but for half a pixel at the rim.
        var t = TShape();
        var (lies, _) = SupportNeed.Measure(t, s_up, 45, 0.25, s_run);
        lies.ContactMm2.Should().BeApproximately(1500, 1e-3);
        lies.SupportMm3.Should().BeApproximately(30000, 0.03 * 30000);
        var (turned, _) = SupportNeed.Measure(t, -s_up, 45, 0.25, s_run);
        turned.ContactMm2.Should().Be(0);
        turned.SupportMm3.Should().Be(0);
        turned.ToppleDeg.Should().BeGreaterThan(lies.ToppleDeg - 1e-9);
    }

    [Fact]
    public void Exactly_at_the_limit_nothing_overhangs()
    {
        var cube = Solids.Box(new(0, 0, 0), new(10, 10, 10));
        var (onEdge, _) = SupportNeed.Measure(cube, new(0, 1, 1), 45, 0.1, s_run);
        onEdge.ContactMm2.Should().Be(0);
        var (flatter, _) = SupportNeed.Measure(cube, new(0, 1, 1.01), 45, 0.1, s_run);
        flatter.ContactMm2.Should().BeApproximately(100, 1e-3, "one face is a little flatter now");
    }

    [Fact]
    public void A_cube_on_its_corner_overhangs_with_three_faces_only_where_the_limit_says_so()
    {
        // The faces stand at acos(1/√3) = 54.7356° to the bed.
        var cube = Solids.Box(new(0, 0, 0), new(10, 10, 10));
        SupportNeed.Measure(cube, new(1, 1, 1), 54.7, 0.1, s_run).Lies.ContactMm2.Should().Be(0);
        var (lies, _) = SupportNeed.Measure(cube, new(1, 1, 1), 54.8, 0.05, s_run);
        lies.ContactMm2.Should().BeApproximately(300, 1e-3);
        // Under the cube: shadow area √3·a² times the mean height of the three lower faces, a/√3 · (their mean of (x+y+z)/√3 is a·(1/2+1/2)/√3): √3·100 · 10/√3 = 1000.
        lies.SupportMm3.Should().BeApproximately(1000, 5);
        lies.ToppleDeg.Should().BeGreaterThan(0);
    }

    [Fact]
    public void What_stands_on_the_model_is_told_apart()
    {
        // A table over a low block: under the part of the top that is over the block the support stands on the block.
        var model = Solids.Merged(
            Solids.Box(new(0, 0, 0), new(20, 20, 5)),
            Solids.Box(new(0, 0, 15), new(20, 20, 20)));
        var (lies, _) = SupportNeed.Measure(model, s_up, 45, 0.1, s_run);
        lies.SupportMm3.Should().BeApproximately(20 * 20 * 10, 0.03 * 4000);
        lies.StandingMm3.Should().Be(lies.SupportMm3);
    }

    [Fact]
    public void In_powder_nothing_overhangs()
    {
        SupportNeed.Measure(TShape(), s_up, 0, 0.5, s_run).Lies.Should().Match<Orientation>(o => o.ContactMm2 == 0 && o.SupportMm3 == 0);
        SupportNeed.Overhanging(TShape(), s_up, 0, s_run).Should().NotContain(true);
    }

    internal static Mesh TShape() => new TBuilder().Build();

    private static IEnumerable<Vec3> Corners(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return [mesh.Vertex(a), mesh.Vertex(b), mesh.Vertex(c)];
    }

    /// <summary>A slab 40 × 40 × 5 from z = 20 on a post 10 × 10 × 20, one closed surface.</summary>
    private sealed class TBuilder
    {
        public Mesh Build()
        {
            Vec3[] p =
            [
                new(15, 15, 0), new(25, 15, 0), new(25, 25, 0), new(15, 25, 0),
                new(15, 15, 20), new(25, 15, 20), new(25, 25, 20), new(15, 25, 20),
                new(0, 0, 20), new(40, 0, 20), new(40, 40, 20), new(0, 40, 20),
                new(0, 0, 25), new(40, 0, 25), new(40, 40, 25), new(0, 40, 25),
            ];
            var triangles = new List<int> { 0, 2, 1, 0, 3, 2, 12, 13, 14, 12, 14, 15 };
            for (var i = 0; i < 4; i++)
            {
                var j = (i + 1) % 4;
                triangles.AddRange([i, j, 4 + j, i, 4 + j, 4 + i]);
                triangles.AddRange([4 + i, 4 + j, 8 + j, 4 + i, 8 + j, 8 + i]);
                triangles.AddRange([8 + i, 8 + j, 12 + j, 8 + i, 12 + j, 12 + i]);
            }

            return Solids.Of(p, [.. triangles]);
        }
    }
}
