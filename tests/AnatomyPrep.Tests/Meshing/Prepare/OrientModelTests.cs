using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class OrientModelTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    public void A_cube_on_its_corner_is_laid_on_a_face()
    {
        var tilted = Turned(Solids.Box(new(0, 0, 0), new(30, 30, 30)), new Vec3(1, 1, 1));
        var found = OrientModel.Search(tilted, new(Profiles.Extrusion), s_run);
        found.AsGiven.SupportMm3.Should().Be(0, "at 54.7° its faces need none, but it stands on a point");
        found.Chosen.SupportMm3.Should().Be(0);
        found.Chosen.ContactMm2.Should().Be(0);
        found.Chosen.HeightMm.Should().BeApproximately(30, 1e-3);
        // From the middle of a 30 mm cube, 15 to every side of the base: 45°; the base is known to a pixel of the raster.
        found.Chosen.ToppleDeg.Should().BeApproximately(45, 2);
    }

    [Fact]
    public void A_T_is_laid_where_it_needs_none()
    {
        var found = OrientModel.Search(SupportNeedTests.TShape(), new(Profiles.LeastSupport), s_run);
        found.AsGiven.ContactMm2.Should().BeApproximately(1500, 1e-3);
        found.Chosen.SupportMm3.Should().Be(0);
        Vec3.Dot(found.Chosen.Up, new(0, 0, -1)).Should().BeGreaterThan(0.7, "on the slab, or leaning no more than the limit");
    }

    [Fact]
    public void A_cup_upside_down_is_turned_over()
    {
        var cup = Cup(upsideDown: true);
        var found = OrientModel.Search(cup, new(Profiles.Extrusion), s_run);
        found.AsGiven.ContactMm2.Should().BeApproximately(20 * 20, 1e-2, "the inner ceiling");
        found.Chosen.ContactMm2.Should().Be(0);
        found.Chosen.SupportMm3.Should().Be(0);
        found.Chosen.Up.Z.Should().BeApproximately(-1, 1e-6, "its opening upward again");
    }

    [Fact]
    public void All_ways_of_a_sphere_are_alike()
    {
        var found = OrientModel.Search(Solids.Icosphere(4, 20), new(Profiles.LeastSupport), s_run);
        // 0.216882 r³ = 1735; facets of 5° and a raster of 0.4 mm leave a few percent between directions.
        found.Tried.Should().OnlyContain(o => Math.Abs(o.SupportMm3 - 1735) < 0.12 * 1735);
        found.Chosen.SupportMm3.Should().BeLessThanOrEqualTo(found.Tried.Min(o => o.SupportMm3) * 1.05);
    }

    [Fact]
    public void What_shall_stay_free_stays_free()
    {
        // Without a wish a slab lies on either large side; with one of them marked it lies on the other... on which the mark then looks up.
        var t = SupportNeedTests.TShape();
        var kept = Enumerable.Range(0, t.TriangleCount).Select(i => Math.Abs(Centre(t, i).X - 40) < 1e-6).ToArray();
        kept.Should().Contain(true);
        var profile = Profiles.Extrusion with { Weights = new(0.1, 0.1, 0, 0, 0, 10) };
        var found = OrientModel.Search(t, new(profile, Kept: kept), s_run);
        found.Chosen.KeptMm2.Should().Be(0);
        found.Tried.Should().Contain(o => o.KeptMm2 > 0);
    }

    [Fact]
    public void The_inside_of_a_hollow_ball_is_out_of_reach_and_its_outside_is_not()
    {
        var ball = Solids.Merged(Solids.Icosphere(4, 30), Solids.InsideOut(Solids.Icosphere(4, 24)));
        var found = OrientModel.Search(ball, new(Profiles.Extrusion), s_run);
        for (var i = 0; i < ball.TriangleCount; i++)
            found.Shadowed[i].Should().Be(Centre(ball, i).Length < 27);
        found.Chosen.ShadowedMm2.Should().BePositive();
    }

    [Fact]
    public void The_front_holds_the_chosen_and_nothing_that_is_beaten()
    {
        var found = OrientModel.Search(SupportNeedTests.TShape(), new(Profiles.Extrusion), s_run);
        found.Pareto[0].Should().Be(found.Chosen);
        foreach (var a in found.Pareto)
            found.Tried.Should().NotContain(o => o.Dominates(a));
        found.Chosen.Score.Should().Be(found.Tried.Min(o => o.Score));
        found.Why.Should().Contain("mm²");
    }

    [Fact]
    public void Same_answer_on_any_number_of_threads()
    {
        var model = Solids.Merged(SupportNeedTests.TShape(), Solids.Icosphere(3, 9, new(70, 10, 10)));
        var first = OrientModel.Search(model, new(Profiles.Extrusion, 60), new RunContext(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
        {
            var other = OrientModel.Search(model, new(Profiles.Extrusion, 60), new RunContext(threads: threads));
            other.Tried.Should().Equal(first.Tried);
            other.Shadowed.Should().Equal(first.Shadowed);
        }
    }

    [Fact]
    public void Nothing_and_nonsense_are_refused()
    {
        ((Action)(() => OrientModel.Search(Mesh.Empty, new(Profiles.Extrusion), s_run))).Should().Throw<CheckFailedException>();
        ((Action)(() => OrientModel.Search(SupportNeedTests.TShape(), new(Profiles.Extrusion, 3), s_run))).Should().Throw<PlanException>().Which.Parameter.Should().Be("directions");
        ((Action)(() => OrientModel.Search(SupportNeedTests.TShape(), new(Profiles.Extrusion, RasterPixels: 5), s_run))).Should().Throw<PlanException>().Which.Parameter.Should().Be("rasterPixels");
    }

    [Fact]
    public void Directions_are_spread_evenly()
    {
        var directions = OrientModel.Spread(200);
        directions.Should().OnlyContain(d => Math.Abs(d.Length - 1) < 1e-12);
        // An even share of the sphere is a cap of acos(1 − 2/200) = 8.1°; no point of a good lattice is farther from its nearest than twice that.
        foreach (var p in OrientModel.Spread(999))
            directions.Max(d => Vec3.Dot(d, p)).Should().BeGreaterThan(Math.Cos(2 * 8.1 * Math.PI / 180));
    }

    /// <summary>Outside 24 × 24 × 30, wall 2, inside 20 × 20 × 28.</summary>
    internal static Mesh Cup(bool upsideDown)
    {
        Vec3[] p =
        [
            new(0, 0, 0), new(24, 0, 0), new(24, 24, 0), new(0, 24, 0), new(0, 0, 30), new(24, 0, 30), new(24, 24, 30), new(0, 24, 30),
            new(2, 2, 2), new(22, 2, 2), new(22, 22, 2), new(2, 22, 2), new(2, 2, 30), new(22, 2, 30), new(22, 22, 30), new(2, 22, 30),
        ];
        var triangles = new List<int> { 0, 2, 1, 0, 3, 2, 8, 9, 10, 8, 10, 11 };
        for (var i = 0; i < 4; i++)
        {
            var j = (i + 1) % 4;
            triangles.AddRange([i, j, 4 + j, i, 4 + j, 4 + i]);
            triangles.AddRange([8 + i, 12 + j, 8 + j, 8 + i, 12 + i, 12 + j]);
            triangles.AddRange([4 + i, 4 + j, 12 + j, 4 + i, 12 + j, 12 + i]);
        }

        var cup = Solids.Of(p, [.. triangles]);
        return upsideDown ? Solids.Moved(cup, (_, v) => new(v.X, -v.Y, -v.Z)) : cup;
    }

    private static Vec3 Centre(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
    }

    /// <summary>Turned so that <paramref name="up"/> points upward.</summary>
    private static Mesh Turned(Mesh mesh, Vec3 up)
    {
        up = up.Normalized();
        var right = Vec3.Cross(up, new Vec3(1, 0, 0)).Normalized();
        var back = Vec3.Cross(up, right);
        return Solids.Moved(mesh, (_, v) => new(Vec3.Dot(v, right), Vec3.Dot(v, back), Vec3.Dot(v, up)));
    }
}
