using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class InnerAirTests
{
    private static readonly RunContext s_run = RunContext.Default;

    // A head of 32 mm radius in air with a closed sinus of 7 mm radius at (12, 0, 8), and an airway of 5 mm radius along y at
    // (-8, y, -6) that opens to the outside in front (-y) and ends inside. Edges 4 mm wide, middle -480 HU.
    private static readonly Vec3 s_sinus = new(12, 0, 8);

    private static Volume Head()
    {
        static double Hu(Vec3 p)
        {
            var airway = Math.Max(Math.Sqrt(Math.Pow(p.X + 8, 2) + Math.Pow(p.Z + 6, 2)) - 5, p.Y - 6);
            var d = Math.Max(p.Length - 32, -Math.Min(Vec3.Distance(p, s_sinus) - 7, airway));
            return -480 - (260 * Math.Clamp(d, -2, 2));
        }

        return Grid.FromPatient(81, 81, Grid.Map(81, 81, 81), Hu);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_closed_sinus_is_inner_air_by_itself_and_is_as_large_as_it_is()
    {
        using var volume = Head();
        var result = InnerAir.Apply(volume, new(-480, 0, [], []), s_run);
        using (result.Region)
        {
            var mesh = FlyingEdges.Extract(volume, result.Region, s_run).Mesh;
            MeshFacts.Measure(mesh, s_run).Solid.Should().BeTrue();
            // Vertices lie inside the ball by at most h²/8(R - h) (surface.md, eq. 1): 0.021 mm of 7, 0.9 % of the volume.
            var ball = 4.0 / 3 * Math.PI * 343;
            MeshMeasures.SignedVolumeMm3(mesh).Should().BeInRange(0.985 * ball, ball);
            MeshMeasures.AreaByOriginMm2(mesh)[(int)Origin.Cut].Should().Be(0);
            result.Effect.Measures!["spaces"].Should().Be(1, "the airway opens to the outside");
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_lid_closes_an_opening_where_it_is_put()
    {
        using var volume = Head();
        var lid = new Lid(new(-8, -18, -6), new(0, 1, 0), 8);
        using var air = InnerAir.Apply(volume, new(-480, 0, [lid], [new(-8, 0, -6)]), s_run).Region;
        var mesh = FlyingEdges.Extract(volume, air, s_run).Mesh;
        MeshFacts.Measure(mesh, s_run).Solid.Should().BeTrue();
        // The lid takes the samples at y = -18; the first one behind it lies at -17, the face half way.
        mesh.BoundsMm().Min.Y.Should().BeApproximately(-17.5, 1e-4);
        var cutMm2 = MeshMeasures.AreaByOriginMm2(mesh)[(int)Origin.Cut];
        // A disc of 5 mm radius, and a rim of one cell around it.
        cutMm2.Should().BeInRange(0.9 * Math.PI * 25, (Math.PI * 25) + (2 * Math.PI * 5 * Math.Sqrt(2)));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_seal_closes_an_opening_narrower_than_its_double()
    {
        using var volume = Head();
        using var open = InnerAir.Apply(volume, new(-480, 4, [], []), s_run).Region;
        using var closed = InnerAir.Apply(volume, new(-480, 6, [], []), s_run).Region;
        var airway = volume.Map.Invert(new Vec3(-8, 3, -6));
        open[(int)airway.X, (int)airway.Y, (int)airway.Z].Should().BeFalse("the opening is 10 mm wide, 8 do not close it");
        closed[(int)airway.X, (int)airway.Y, (int)airway.Z].Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Filling_the_inside_leaves_the_skin_where_it_was()
    {
        using var volume = Head();
        using var skin = Threshold.Apply(volume, new(-480, short.MaxValue), s_run);
        using var filled = FillInside.Apply(volume, skin, 6, s_run).Region;
        var mesh = FlyingEdges.Extract(volume, filled, s_run).Mesh;
        MeshFacts.Measure(mesh, s_run).Should().Match<MeshFacts>(f => f.Solid && f.Components == 1);
        var lid = new Vec3(-8, -30, -6);
        for (var v = 0; v < mesh.VertexCount; v++)
            if (Vec3.Distance(mesh.Vertex(v), lid) > 15)
                mesh.Vertex(v).Length.Should().BeApproximately(32, (1 / (8 * 31.0)) + 0.003 + FlyingEdges.ClearanceMm);
        var areas = MeshMeasures.AreaByOriginMm2(mesh);
        areas[(int)Origin.Filled].Should().BeInRange(0.5 * Math.PI * 25, 4 * Math.PI * 25, "the lid was not measured");
        areas[(int)Origin.Cut].Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Lids_without_a_direction_and_points_without_air_are_named()
    {
        using var volume = Head();
        ((Action)(() => InnerAir.Apply(volume, new(-480, 0, [new Lid(Vec3.Zero, Vec3.Zero, 5)], []), s_run))).Should().Throw<BadInputException>().WithMessage("*lidNormals*length but zero*");
        ((Action)(() => InnerAir.Apply(volume, new(-480, 0, [], [new Vec3(0, 20, 0)]), s_run))).Should().Throw<BadInputException>().WithMessage("*within 3 mm*");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Head();
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            var run = new RunContext(threads: threads);
            using var air = InnerAir.Apply(volume, new(-480, 3, [new Lid(new(-8, -18, -6), new(0.1, 1, 0.2), 8)], [], Support: new()), run).Region;
            return RegionBits.Hash(air);
        }).Distinct().Should().ContainSingle();
    }
}
