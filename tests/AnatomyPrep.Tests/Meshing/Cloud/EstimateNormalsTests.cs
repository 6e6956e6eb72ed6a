using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Cloud;
using CsCheck;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Meshing.Cloud;

public class EstimateNormalsTests(ITestOutputHelper output)
{
    private static readonly RunContext s_run = RunContext.Default;

    /// <summary>
    /// Plane through k points strewn over a disc of radius r with weight 1 − s²/r², each σ off: the slope along x has the variance
    /// σ² Σ w² x² / (Σ w x²)². With n = k / (π r²) a mm², Σ w x² = k r²/12 · 1/... written out: ∫(1 − t²) t³ dt = 1/12 and ∫(1 − t²)² t³ dt = 1/24 over t
    /// from 0 to 1, so Σ w x² = n π r⁴ / 12 = k r² / 12, Σ w² x² = k r² / 24, and the variance is 6 σ² / (k r²). Both slopes together: mean square angle 12 σ² / (k r²).
    /// A sphere's plane is not tilted by curvature on average, but an uneven half of k points tilts it by about r / (2 R √k) more.
    /// Allowed: 1.3 times the root of both squares (the scatter of the point itself moves the middle of its ball).
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0)]
    [InlineData(0.05)]
    [InlineData(0.2)]
    public void Normals_of_a_noisy_sphere_are_within_the_derived_angle_and_all_outward(double noiseMm)
    {
        const double radius = 20;
        const int count = 20_000;
        var cloud = TestClouds.Sphere(count, radius, noiseMm, new Vec3(300, -200, 50), withNormals: false);

        var result = EstimateNormals.Apply(cloud, new(), s_run);

        var k = result.Effect.Measures!["neighbours"];
        var reach = Math.Sqrt(k * 4 * radius * radius / count);
        var bound = 1.3 * Math.Sqrt((12 * noiseMm * noiseMm / (k * reach * reach)) + Math.Pow(reach / (2 * radius * Math.Sqrt(k)), 2));
        var cosines = Enumerable.Range(0, count).Select(p => Vec3.Dot(result.Cloud.Normal(p), (cloud.Point(p) - new Vec3(300, -200, 50)).Normalized())).ToArray();
        cosines.Should().OnlyContain(c => c > 0.5);
        var rms = Math.Sqrt(cosines.Average(c => Math.Pow(Math.Acos(Math.Min(1, c)), 2)));
        output.WriteLine($"noise {noiseMm}: k {k}, rms angle {rms * 180 / Math.PI:F2} degrees, bound {bound * 180 / Math.PI:F2}");
        rms.Should().BeLessThan(bound);
        // A ball: n·(p − c) / |p − c| is 1 up to the angles.
        result.Effect.Measures["outwardness"].Should().BeGreaterThan(0.97);
        result.Findings.Select(f => f.Code).Should().Equal(FindingCodes.NormalsEstimated);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Both_sides_of_a_thin_plate_look_outward()
    {
        // Thickness 1.5 mm, spacing 0.45 mm: the neighbourhoods of the two faces nearly touch; the faces are connected around the edge.
        var truth = TestClouds.Plate(20_000, 25, 1.5, 0.05);

        var result = EstimateNormals.Apply(truth.WithoutNormals(), new(), s_run);

        Enumerable.Range(0, truth.Count).Count(p => Vec3.Dot(truth.Normal(p), result.Cloud.Normal(p)) < 0).Should().Be(0);
        result.Effect.Measures!["pieces"].Should().Be(1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Pieces_are_turned_outward_each_by_itself()
    {
        var truth = TestClouds.Join(TestClouds.Sphere(4000, 10), TestClouds.Torus(6000, 12, 4).Moved(new(60, 0, 0)), TestClouds.Sphere(3000, 6, centerMm: new(0, 90, 0)).Where(p => p.Y > 88));

        var result = EstimateNormals.Apply(truth.WithoutNormals(), new(), s_run);

        result.Effect.Measures!["pieces"].Should().Be(3);
        Enumerable.Range(0, truth.Count).Count(p => Vec3.Dot(truth.Normal(p), result.Cloud.Normal(p)) < 0).Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Turning_the_body_turns_the_normals() =>
        Gen.Int[0, 1_000_000].Sample(
            seed =>
            {
                var random = new Random(seed);
                var (axis, angle) = (TestClouds.Direction(random), random.NextDouble() * 6);
                var truth = TestClouds.Torus(3000, 12, 5, 0.05, seed);
                var turned = TestClouds.Of([.. Enumerable.Range(0, truth.Count).Select(p => Turn(truth.Point(p), axis, angle))]);

                var straight = EstimateNormals.Apply(truth.WithoutNormals(), new(Neighbours: 20), s_run).Cloud;
                var after = EstimateNormals.Apply(turned, new(Neighbours: 20), s_run).Cloud;

                // Float32 of the turned points: 1e-6 mm on neighbourhoods of 2 mm; where two axes are nearly equal that is magnified.
                var off = Enumerable.Range(0, truth.Count).Select(p => Vec3.Distance(Turn(straight.Normal(p), axis, angle), after.Normal(p))).Order().ToArray();
                off[(int)(0.99 * off.Length)].Should().BeLessThan(1e-3);
            },
            iter: 8);

    [Fact]
    [Trait("Kind", "Truth")]
    public void Given_normals_stay_and_missing_ones_follow_them()
    {
        var truth = TestClouds.Sphere(5000, 10);
        var gaps = truth.Normals.ToArray();
        for (var p = 0; p < truth.Count; p += 3)
            gaps.AsSpan(3 * p, 3).Clear();
        // The ones that are given point inward, and their sign is the scanner's to know.
        var inward = gaps.Select(x => -x).ToArray();

        EstimateNormals.Apply(truth, new(), s_run).Cloud.Should().BeSameAs(truth);
        var filled = EstimateNormals.Apply(new(truth.OriginMm, truth.PositionArray, gaps), new(), s_run);
        Enumerable.Range(0, truth.Count).Count(p => Vec3.Dot(truth.Normal(p), filled.Cloud.Normal(p)) < 0.9).Should().Be(0);
        filled.Effect.Measures!["given"].Should().Be(truth.Count - ((truth.Count + 2) / 3));
        var turned = EstimateNormals.Apply(new(truth.OriginMm, truth.PositionArray, inward), new(), s_run);
        Enumerable.Range(0, truth.Count).Count(p => Vec3.Dot(truth.Normal(p), turned.Cloud.Normal(p)) > -0.9).Should().Be(0);
        turned.Findings.Select(f => f.Code).Should().Contain(FindingCodes.NormalsInward);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Normals_that_contradict_each_other_are_found_and_can_be_estimated_anew()
    {
        var truth = TestClouds.Sphere(5000, 10);
        var mixed = truth.Normals.ToArray();
        for (var p = 0; p < truth.Count; p += 5)
            for (var axis = 0; axis < 3; axis++)
                mixed[(3 * p) + axis] *= -1;
        var across = truth.Normals.ToArray();
        for (var p = 0; p < truth.Count; p++)
            (across[3 * p], across[(3 * p) + 1], across[(3 * p) + 2]) = (across[(3 * p) + 1], across[(3 * p) + 2], across[3 * p]);

        // A fifth is turned over. Such a point disagrees when most of its 8 neighbours are not: probability of at most 3 turned ones 0.94.
        var found = EstimateNormals.Apply(new(truth.OriginMm, truth.PositionArray, mixed), new(), s_run);
        found.Effect.Measures!["disagreeShare"].Should().BeInRange(0.17, 0.23);
        found.Findings.Select(f => f.Code).Should().Contain(FindingCodes.NormalsInconsistent);
        EstimateNormals.Apply(new(truth.OriginMm, truth.PositionArray, across), new(), s_run).Findings.Select(f => f.Code).Should().Contain(FindingCodes.NormalsInconsistent);
        var anew = EstimateNormals.Apply(new(truth.OriginMm, truth.PositionArray, mixed), new(KeepGiven: false), s_run);
        Enumerable.Range(0, truth.Count).Count(p => Vec3.Dot(truth.Normal(p), anew.Cloud.Normal(p)) < 0.9).Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_flat_sheet_has_no_outside_and_that_is_said()
    {
        var sheet = TestClouds.Of([.. Enumerable.Range(0, 2500).Select(i => new Vec3(i % 50, i / 50, 0))]);

        var result = EstimateNormals.Apply(sheet, new(), s_run);

        result.Findings.Select(f => f.Code).Should().Contain(FindingCodes.OrientationUnsure);
        Enumerable.Range(0, sheet.Count).Select(p => result.Cloud.Normal(p).Z).Distinct().Should().ContainSingle().Which.Should().BeOneOf(-1, 1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Lines_spots_and_few_points_end_well()
    {
        FluentActions.Invoking(() => EstimateNormals.Apply(TestClouds.Sphere(2, 1), new(), s_run)).Should().Throw<BadInputException>();
        var line = TestClouds.Of([.. Enumerable.Range(0, 500).Select(i => new Vec3(i * 0.3, i * 0.2, i * 0.1))]);
        EstimateNormals.Apply(line, new(), s_run).Effect.Measures!["unknown"].Should().Be(500);
        EstimateNormals.Apply(new(Vec3.Zero, new float[3000]), new(), s_run).Effect.Measures!["unknown"].Should().Be(1000);
        EstimateNormals.Apply(TestClouds.Of([new(0, 0, 0), new(1, 0, 0), new(0, 1, 0)]), new(), s_run).Cloud.Count.Should().Be(3);
        foreach (var bad in (EstimateNormalsParameters[])[new(Neighbours: 3), new(Neighbours: 1000), new(RadiusMm: -1), new(RadiusMm: double.NaN)])
            FluentActions.Invoking(() => EstimateNormals.Apply(TestClouds.Sphere(100, 1), bad, s_run)).Should().Throw<PlanException>();
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Threads_and_the_order_of_the_points_change_not_one_bit()
    {
        var cloud = TestClouds.Plate(15_000, 20, 2, 0.1, withNormals: false);
        var expected = EstimateNormals.Apply(cloud, new(), TestClouds.Threads(1)).Cloud;
        foreach (var threads in (int[])[2, 3, 16])
            TestClouds.Hash(EstimateNormals.Apply(cloud, new(), TestClouds.Threads(threads)).Cloud).Should().Be(TestClouds.Hash(expected));

        var order = Enumerable.Range(0, cloud.Count).ToArray();
        new Random(5).Shuffle(order);
        var shuffled = EstimateNormals.Apply(cloud.Listed(order), new(), s_run).Cloud;
        TestClouds.Hash(shuffled).Should().Be(TestClouds.Hash(expected.Listed(order)));
    }

    // Rodrigues' formula.
    private static Vec3 Turn(Vec3 v, Vec3 axis, double angle) =>
        (v * Math.Cos(angle)) + (Vec3.Cross(axis, v) * Math.Sin(angle)) + (axis * (Vec3.Dot(axis, v) * (1 - Math.Cos(angle))));
}
