using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class LandmarkCheckTests
{
    private const double ToleranceMm = 0.5;
    private const double Degrees = 180 / Math.PI;

    private static readonly RunContext s_run = new();
    private static readonly Mesh s_ball = TestMeshes.Icosphere(5, 50);
    private static readonly Landmark[] s_ends = [new("left", new(51.5, 0, 0)), new("right", new(-52, 0, 0)), new("top", new(0, 0, 52)), new("front", new(0, -52, 0))];

    /// <summary>Corners of the ball lie on its axes, so landmarks put outside come to lie exactly there: 100 mm apart, 102 on a ball 2 % larger.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Distances_on_a_ball_are_its_diameter()
    {
        var same = OnBall(Affine3.Identity);
        same.Findings.Should().BeEmpty();
        same.Distances[0].SourceMm.Should().BeApproximately(100, 1e-5);
        same.Distances[0].DifferenceMm.Should().BeApproximately(0, 1e-9);
        same.Landmarks[0].SourceOffMm.Should().BeApproximately(1.5, 1e-5);

        var larger = OnBall(Affine3.Scale(1.02));
        larger.Distances[0].DifferenceMm.Should().BeApproximately(2, 1e-5);
        larger.Findings.Select(f => f.Code).Should().Contain(FindingCodes.DistanceDiffers);
    }

    /// <summary>
    /// Thales: over a diameter every angle is right, and at its ends both are 45°. On a ball 10 % taller the angle at the top is 2·atan(50/55): 5.4° less, where
    /// half a millimetre across a leg of 70.7 mm makes 0.4° and U is 0.8°. Its corner at the side is not quite the nearest point, by 0.01 mm: 0.01°.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Angles_on_a_ball_are_those_of_Thales()
    {
        var same = OnBall(Affine3.Identity);
        same.Angles[0].SourceDeg.Should().BeApproximately(90, 1e-5);
        same.Angles[1].SourceDeg.Should().BeApproximately(45, 1e-5);
        same.Angles.Should().OnlyContain(a => Math.Abs(a.DifferenceDeg) < 1e-9);

        var taller = OnBall(new(new(1, 0, 0), new(0, 1, 0), new(0, 0, 1.1), Vec3.Zero));
        taller.Angles[0].ModelDeg.Should().BeApproximately(2 * Math.Atan(50 / 55.0) * Degrees, 0.01);
        taller.Findings.Where(f => f.Code == FindingCodes.AngleDiffers).Should().HaveCount(2).And.OnlyContain(f => f.Severity == Severity.Caution && f.Place!.PositionMm != null);
    }

    /// <summary>Along x only the columns count: u = sqrt(2)·0.5/sqrt(12) for a step of 0.5 mm, U twice that.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Along_the_columns_the_uncertainty_is_that_of_their_step()
    {
        var d = OnBall(Affine3.Identity).Distances[0];
        d.FromColumnsMm.Should().BeApproximately(0.5 / Math.Sqrt(6), 1e-6);
        d.FromRowsMm.Should().BeApproximately(0, 1e-6);
        d.FromSlicesMm.Should().BeApproximately(0, 1e-6);
        d.ExpandedMm.Should().BeApproximately(2 * 0.5 / Math.Sqrt(6), 1e-6);
    }

    /// <summary>
    /// At the top, legs of L = 50·√2 and at right angles: each end moves the angle by 1/L along the other leg, the vertex by √2/L along z. With columns of 0.5 mm
    /// and slices of 1 mm u² = (2·(0.5/√2)²)/12L² of columns and (2·(1/√2)² + 2)/12L² of slices.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void The_uncertainty_of_a_right_angle_is_that_of_its_legs()
    {
        var a = OnBall(Affine3.Identity).Angles[0];
        var leg = 50 * Math.Sqrt(2);
        a.FromColumnsDeg.Should().BeApproximately(Degrees * Math.Sqrt(0.25 / 12) / leg, 1e-6);
        a.FromRowsDeg.Should().BeApproximately(0, 1e-6);
        a.FromSlicesDeg.Should().BeApproximately(Degrees * Math.Sqrt(3.0 / 12) / leg, 1e-6);
        a.StandardDeg.Should().BeApproximately(Degrees * Math.Sqrt(3.25 / 12) / leg, 1e-6);
        a.ExpandedDeg.Should().BeApproximately(2 * a.StandardDeg, 1e-12);
    }

    /// <summary>JCGM 100:2008, 4.3.7, example 1 (from memory): a value known to lie evenly within ±0.40 has a standard uncertainty of 0.23.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void One_end_has_the_uncertainty_of_the_guides_own_example()
    {
        var map = new IndexToPatient(new(0.8, 0, 0), new(0, 0.5, 0), [.. Enumerable.Range(-100, 201).Select(k => new Vec3(-100, -100, k))]);
        var d = LandmarkCheck.Measure(new(s_ends, [(0, 1)], []), On(s_ball, Affine3.Identity, map), ToleranceMm, s_run).Distances[0];
        Math.Round(d.FromColumnsMm / Math.Sqrt(2), 2).Should().Be(0.23);
    }

    /// <summary>
    /// The propagated uncertainty beside the spread of 40,000 draws of every index within half a step (JCGM 101). Their standard deviation is itself uncertain by 1/√(2n) = 0.35 %;
    /// what the gradient leaves out is of the order of (step/leg)², under 0.1 %: 2 % is five times both.
    /// </summary>
    [Theory]
    [InlineData(0, 2, 1)]
    [InlineData(3, 0, 2)]
    [InlineData(1, 3, 2)]
    [Trait("Kind", "Outside")]
    public void The_budget_is_the_spread_of_drawn_points(int from, int at, int to)
    {
        var map = Tilted();
        var figures = LandmarkCheck.Measure(new(s_ends, [(from, to)], [(from, at, to)]), On(s_ball, Affine3.Identity, map), ToleranceMm, s_run);
        Vec3[] points = [.. figures.Landmarks.Select(l => l.SourceMm)];
        var random = new Random(7);
        double[] lengths = new double[40_000], angles = new double[lengths.Length], volumes = new double[lengths.Length];
        for (var n = 0; n < lengths.Length; n++)
        {
            Vec3[] drawn = [.. points.Select(p => p + (map.ColumnStepMm * (random.NextDouble() - 0.5)) + (map.RowStepMm * (random.NextDouble() - 0.5)) + (map.SliceStepMm(0) * (random.NextDouble() - 0.5)))];
            lengths[n] = Vec3.Distance(drawn[from], drawn[to]);
            Vec3 one = drawn[from] - drawn[at], other = drawn[to] - drawn[at];
            angles[n] = Degrees * Math.Acos(Vec3.Dot(one.Normalized(), other.Normalized()));
            volumes[n] = Vec3.Dot(drawn[1] - drawn[0], Vec3.Cross(drawn[2] - drawn[0], drawn[3] - drawn[0])) / 6;
        }

        figures.Distances[0].StandardMm.Should().BeApproximately(Deviation(lengths), 0.02 * Deviation(lengths));
        figures.Angles[0].StandardDeg.Should().BeApproximately(Deviation(angles), 0.02 * Deviation(angles));
        figures.Handedness!.ExpandedMm3.Should().BeApproximately(2 * Deviation(volumes), 0.04 * Deviation(volumes));
    }

    /// <summary>
    /// A straight angle has no gradient. Three points in a row along x, legs of 40 mm: the ends bend it by 1/40 of what they leave the line, the middle by 2/40,
    /// so the mean square is 6/1600 of the sum of the steps' squares across, (0.5² + 1²)/12. Drawn points agree within 2 %.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_straight_angle_is_uncertain_by_how_far_it_may_be_bent()
    {
        Landmark[] row = [new("a", new(-40, 0, 10)), new("b", new(0, 0, 10)), new("c", new(40, 0, 10))];
        var a = LandmarkCheck.Measure(new(row, [], [(0, 1, 2)]), On(TestMeshes.Box(new(-50, -20, -10), new(50, 20, 10)), Affine3.Identity, Straight()), ToleranceMm, s_run).Angles[0];
        a.SourceDeg.Should().BeApproximately(180, 1e-6);
        a.StandardDeg.Should().BeApproximately(Degrees * Math.Sqrt(6.0 / 1600 * 1.25 / 12), 1e-9);
        a.FromColumnsDeg.Should().Be(0);

        var random = new Random(7);
        var square = 0.0;
        const int draws = 40_000;
        for (var n = 0; n < draws; n++)
        {
            Vec3[] p = [.. row.Select(l => l.AtMm + new Vec3(0.5 * (random.NextDouble() - 0.5), 0.5 * (random.NextDouble() - 0.5), random.NextDouble() - 0.5))];
            var bent = Degrees * (Math.PI - Math.Acos(Vec3.Dot((p[0] - p[1]).Normalized(), (p[2] - p[1]).Normalized())));
            square += bent * bent / draws;
        }

        a.StandardDeg.Should().BeApproximately(Math.Sqrt(square), 0.02 * a.StandardDeg);
    }

    /// <summary>Slices 2 mm apart in a gantry tilted about x by 30 degrees, their step along z: along z it counts whole, rows by their share along z.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Tilt_and_thickness_are_in_the_budget()
    {
        Landmark[] ends = [new("foot", new(0, 0, -50)), new("head", new(0, 0, 50))];
        var surfaces = On(s_ball, Affine3.Identity, Tilted());
        var thin = LandmarkCheck.Measure(new(ends, [(0, 1)], []), surfaces, ToleranceMm, s_run).Distances[0];
        thin.FromSlicesMm.Should().BeApproximately(2 / Math.Sqrt(6), 1e-5);
        thin.FromRowsMm.Should().BeApproximately(0.25 / Math.Sqrt(6), 1e-5);
        thin.StandardMm.Should().BeApproximately(Math.Sqrt((4 + 0.0625) / 6), 1e-5);

        // Twice as thick as the slices' distance across them, 2·cos 30°.
        var thick = LandmarkCheck.Measure(new(ends, [(0, 1)], []), surfaces with { SliceThicknessMm = 4 * Math.Cos(Math.PI / 6) }, ToleranceMm, s_run).Distances[0];
        thick.FromSlicesMm.Should().BeApproximately(4 / Math.Sqrt(6), 1e-5);
    }

    /// <summary>A turn and a scale of 2 keep the sign and make eight times of 50·50·100/6 mm³; a mirror changes nothing but the sign.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Only_a_mirror_image_turns_four_points_the_other_way_round()
    {
        var plain = Handed(Affine3.Identity)!;
        Math.Abs(plain.SourceMm3).Should().BeApproximately(250_000 / 6.0, 0.1);
        plain.Mirrored.Should().BeFalse();
        plain.Points.Should().BeEquivalentTo("left", "right", "top", "front");

        var turned = Handed(Affine3.Rotate(new(1, 2, 3), 2).After(Affine3.Scale(2)))!;
        turned.Mirrored.Should().BeFalse();
        turned.ModelMm3.Should().BeApproximately(8 * plain.SourceMm3, 1);

        var mirrored = Handed(Affine3.Mirror(new(3, 0, 0), new(1, 1, 0)))!;
        mirrored.Mirrored.Should().BeTrue();
        mirrored.ModelMm3.Should().BeApproximately(-plain.SourceMm3, 0.1);

        // Four points of one plane look the same in a mirror.
        LandmarkCheck.Measure(new([.. s_ends[..3], new("bottom", new(0, 0, -50))], [], []), On(s_ball, Affine3.Identity, Straight()), ToleranceMm, s_run).Handedness.Should().BeNull();

        static Handedness? Handed(Affine3 placement) => LandmarkCheck.Measure(new(s_ends, [], []), On(s_ball, Affine3.Identity, Straight()) with { ModelFromPatient = placement }, ToleranceMm, s_run).Handedness;
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_point_far_from_the_surface_is_told_and_not_measured()
    {
        var figures = LandmarkCheck.Measure(new([.. s_ends, new("lost", new(0, 0, 0))], [(0, 4)], [(0, 4, 1)]), On(s_ball, Affine3.Identity, Straight()), ToleranceMm, s_run);
        figures.Distances.Should().BeEmpty();
        figures.Angles.Should().BeEmpty();
        figures.Findings.Should().HaveCount(2).And.OnlyContain(f => f.Code == FindingCodes.LandmarkFar, "it is far from the images' surface and from the model");
    }

    /// <summary>Both lie outside the same corner, so both come to lie on it; half a millimetre beside it is within U of the leg.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void Points_that_come_to_lie_on_each_other_are_told_and_not_measured()
    {
        var figures = LandmarkCheck.Measure(new([.. s_ends, new("left too", new(52, 0, 0)), new("beside", new(50, 0.4, 0))], [(0, 4)], [(5, 0, 1)]), On(s_ball, Affine3.Identity, Straight()), ToleranceMm, s_run);
        figures.Distances.Should().BeEmpty();
        figures.Angles.Should().BeEmpty();
        figures.Findings.Should().HaveCount(2).And.OnlyContain(f => f.Code == FindingCodes.LandmarksCoincide);
    }

    private static LandmarkFigures OnBall(Affine3 model) => LandmarkCheck.Measure(new(s_ends, [(0, 1), (1, 2)], [(0, 2, 1), (2, 0, 1)]), On(s_ball, model, Straight()), ToleranceMm, s_run);

    private static LandmarkSurfaces On(Mesh source, Affine3 model, IndexToPatient map) =>
        new(TriangleTree.Build(source, s_run), TriangleTree.Build(source.Moved(model), s_run), Affine3.Identity, map, null);

    private static IndexToPatient Straight() => new(new(0.5, 0, 0), new(0, 0.5, 0), [.. Enumerable.Range(-100, 201).Select(k => new Vec3(-100, -100, k))]);

    private static IndexToPatient Tilted() =>
        new(new(0.5, 0, 0), new(0, 0.5 * Math.Cos(Math.PI / 6), 0.5 * Math.Sin(Math.PI / 6)), [.. Enumerable.Range(-60, 121).Select(k => new Vec3(-100, -100, 2 * k))]);

    private static double Deviation(double[] values)
    {
        var mean = values.Average();
        return Math.Sqrt(values.Sum(v => (v - mean) * (v - mean)) / (values.Length - 1));
    }
}
