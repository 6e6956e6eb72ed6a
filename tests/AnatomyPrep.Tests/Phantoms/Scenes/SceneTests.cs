using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Tests.Phantoms.Scenes;

public sealed class SceneTests
{
    public static TheoryData<string> ScenesWithLayersApart =>
        [.. PhantomCatalogue.Names.Where(n => PhantomCatalogue.Create(n).Scene.LayersApart)];

    [Theory]
    [Trait("Kind", "Truth")]
    [MemberData(nameof(ScenesWithLayersApart))]
    public void Every_edge_is_the_straight_ramp_between_its_two_materials(string name)
    {
        var scene = PhantomCatalogue.Create(name).Scene;
        var random = new Random(11);
        var tried = 0;
        foreach (var layer in scene.Layers)
            for (var n = 0; n < 250; n++)
            {
                // A point in the layer's edge: thrown into its bounds, then walked most of the way to the surface.
                var box = layer.Solid.BoundsMm.Grown(scene.RampHalfWidthMm);
                var p = box.Min + new Vec3(random.NextDouble() * box.Size.X, random.NextDouble() * box.Size.Y, random.NextDouble() * box.Size.Z);
                var wanted = ((random.NextDouble() * 2) - 1) * scene.RampHalfWidthMm;
                p = Walk(layer.Solid, p, wanted);
                var d = layer.Solid.DistanceMm(p);
                if (Math.Abs(d) > scene.RampHalfWidthMm)
                    continue;
                tried++;
                var share = Math.Min(0.5 - (d / (2 * scene.RampHalfWidthMm)), Ramp.Peak(scene.RampHalfWidthMm, layer.ThinnestMm));
                var expected = layer.OutsideHu + ((layer.InsideHu - layer.OutsideHu) * share);
                if (Math.Abs(scene.HuAt(p) - expected) > 1e-9)
                    scene.HuAt(p).Should().Be(expected, "of {0} at {1}", layer.Name, p);
            }

        tried.Should().BeGreaterThan(scene.Layers.Count * 100);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("head", 300)]
    [InlineData("head", -470)]
    [InlineData("shells", 300)]
    [InlineData("vessel", 235)]
    [InlineData("plates", 400)]
    [InlineData("plates", 620)]
    [InlineData("wedge", 300)]
    public void Solid_at_a_level_holds_exactly_the_points_at_or_above_it(string name, double levelHu)
    {
        var scene = PhantomCatalogue.Create(name).Scene;
        var solid = scene.SolidAt(levelHu);
        var random = new Random(5);
        var box = scene.FieldOfViewMm;
        int inside = 0, wrong = 0;
        for (var n = 0; n < 4000; n++)
        {
            var p = box.Min + new Vec3(random.NextDouble() * box.Size.X, random.NextDouble() * box.Size.Y, random.NextDouble() * box.Size.Z);
            // Half of them at the surface itself.
            if (n % 2 == 0)
                p = Walk(solid, p, (random.NextDouble() - 0.5) * 0.1);
            var d = solid.DistanceMm(p);
            if (Math.Abs(d) < 1e-9)
                continue;
            wrong += (scene.HuAt(p) >= levelHu) == (d < 0) ? 0 : 1;
            inside += d < 0 ? 1 : 0;
        }

        wrong.Should().Be(0);
        inside.Should().BeGreaterThan(500);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Head_has_five_closed_surfaces_and_three_bodies()
    {
        var truth = SceneTruth.At(PhantomCatalogue.Create("head").Scene, 300, RunContext.Default);
        truth.Surfaces.Should().HaveCount(5);
        // Four spheres and a torus.
        truth.Euler.Should().Be(8);
        truth.Bodies.Should().Be(3);
        // The sinus by hand: air -1000 in bone 1000 at 300 HU, f = -700 / -2000, d = W (1 − 2f) = 2 · 0.3 = 0.6 mm.
        var sinus = truth.Surfaces.Single(s => s.Layer == "sinus");
        sinus.OffsetMm.Should().BeApproximately(0.6, 1e-12);
        sinus.VolumeMm3.Should().BeApproximately(4.0 / 3 * Math.PI * Math.Pow(11.6, 3), 1e-9);
        sinus.SolidSide.Should().Be(-1);
        // The sinus wall: bone in brain 40, f = 260 / 960.
        var wall = truth.Surfaces.Single(s => s.Layer == "sinus wall");
        wall.VolumeMm3.Should().BeApproximately(4.0 / 3 * Math.PI * Math.Pow(15 + (2 * (1 - (520.0 / 960))), 3), 1e-9);
        truth.VolumeMm3.Should().BeApproximately(truth.Surfaces.Sum(s => s.SolidSide * s.VolumeMm3), 1e-6);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Head_without_skin_and_air_is_found_by_counting_points()
    {
        // 10^5 points thrown at random give the bone's share of the box within 5 sigma.
        var scene = PhantomCatalogue.Create("head").Scene;
        var truth = SceneTruth.At(scene, 300, RunContext.Default);
        var box = scene.FieldOfViewMm;
        var random = new Random(3);
        const int N = 100_000;
        var hits = 0;
        for (var n = 0; n < N; n++)
            hits += scene.HuAt(box.Min + new Vec3(random.NextDouble() * box.Size.X, random.NextDouble() * box.Size.Y, random.NextDouble() * box.Size.Z)) >= 300 ? 1 : 0;
        var whole = box.Size.X * box.Size.Y * box.Size.Z;
        var share = truth.VolumeMm3!.Value / whole;
        hits.Should().BeCloseTo((int)(N * share), (uint)(5 * Math.Sqrt(N * share * (1 - share))));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Thin_plates_fade_as_their_blur_says_and_are_gone_above_their_peak()
    {
        var scene = PhantomCatalogue.Create("plates").Scene;
        // Thickness t under an edge 1.2 mm wide peaks at 40 + 1160 min(1, t / 1.2).
        double Peak(int plate) => scene.HuAt(scene.Landmarks[plate].PositionMm);
        Peak(0).Should().BeApproximately(40 + (1160 * 0.5 / 1.2), 1e-9);
        Peak(1).Should().BeApproximately(40 + (1160 * 0.8 / 1.2), 1e-9);
        Peak(2).Should().BeApproximately(40 + (1160 / 1.2), 1e-9);
        Peak(3).Should().Be(1200);
        SceneTruth.At(scene, 226, RunContext.Default).Bodies.Should().Be(5);
        // 0.5 mm peaks at 523 HU.
        SceneTruth.At(scene, 620, RunContext.Default).Surfaces.Select(s => s.Layer).Should().Equal("plate 0.8 mm", "plate 1 mm", "plate 2 mm", "plate 3 mm");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Level_moves_the_faces_of_the_linear_block_by_its_slope()
    {
        var scene = PhantomCatalogue.Create("linear-block").Scene;
        // 1000 HU over 8 mm: 50 HU are 0.4 mm.
        Ramp.OffsetMm(450, 1000, 0, scene.RampHalfWidthMm).Should().BeApproximately(0.4, 1e-12);
        Ramp.OffsetMm(550, 1000, 0, scene.RampHalfWidthMm).Should().BeApproximately(-0.4, 1e-12);
        SceneTruth.At(scene, 500, RunContext.Default).VolumeMm3.Should().BeApproximately(64000, 1e-6);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Wedge_with_letters_has_the_volume_of_ramp_and_strokes()
    {
        var truth = SceneTruth.At(PhantomCatalogue.Create("wedge").Scene, 500, RunContext.Default);
        // Ramp 56 long, 26 to 10 thick, 84 wide; the letters stand 4 mm out: areas by the shoelace rule.
        const double LetterL = (14 * 5) + (5 * 19);
        const double LetterR = 321.9 - 36;
        const double Expected = ((26 + 10) / 2.0 * 56 * 84) + (4 * (LetterL + LetterR));
        truth.VolumeMm3.Should().BeApproximately(Expected, truth.Surfaces.Sum(s => s.UncertaintyMm3));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Touching_bones_are_one_body_that_is_two_balls_less_a_lens()
    {
        var truth = SceneTruth.At(PhantomCatalogue.Create("touching-bones").Scene, 520, RunContext.Default);
        truth.Bodies.Should().Be(1);
        var marks = PhantomCatalogue.Create("touching-bones").Scene.Landmarks;
        var overlap = 36 - Vec3.Distance(marks[0].PositionMm, marks[1].PositionMm);
        overlap.Should().BeInRange(0.5, 2.5);
        var lens = Math.PI * (72 + 36 - overlap) * overlap * overlap / 12;
        truth.VolumeMm3.Should().BeApproximately((8.0 / 3 * Math.PI * Math.Pow(18, 3)) - lens, 1e-6);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Asking_for_a_solid_that_holds_the_background_is_refused()
    {
        var ask = () => PhantomCatalogue.Create("head").Scene.SolidAt(-2000);
        ask.Should().Throw<InvalidOperationException>();
    }

    private static Vec3 Walk(Solid solid, Vec3 p, double wanted)
    {
        const double H = 1e-5;
        for (var step = 0; step < 5; step++)
        {
            double Along(Vec3 axis) => (solid.DistanceMm(p + (axis * H)) - solid.DistanceMm(p - (axis * H))) / (2 * H);
            var slope = new Vec3(Along(new Vec3(1, 0, 0)), Along(new Vec3(0, 1, 0)), Along(new Vec3(0, 0, 1)));
            p -= slope.Normalized() * (solid.DistanceMm(p) - wanted);
        }

        return p;
    }
}
