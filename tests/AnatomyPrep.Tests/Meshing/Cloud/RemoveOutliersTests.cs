using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Cloud;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Meshing.Cloud;

public class RemoveOutliersTests(ITestOutputHelper output)
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void Strewn_points_go_and_the_surface_stays()
    {
        // Spacing 0.5 mm. Outliers in a box of 40 mm at least 2 mm off the sphere: their 16th neighbour on it is farther than
        // √(2² + (0.5 √(16/π))²) > 2.2 mm off, 1.5 times 1.13 mm being the least that goes; none may stay. Of the surface, noise of a fifth of the spacing
        // changes the mean distance of 16 by far less than half; the tail of the spacing's own scatter loses a few in a thousand at most.
        var sphere = TestClouds.Sphere(20_000, 20, 0.1);
        var strewn = Box(300, 40).Where(p => Math.Abs(p.Length - 20) > 2);

        var result = RemoveOutliers.Apply(TestClouds.Join(sphere, strewn), new(), s_run);

        var stay = Enumerable.Range(0, result.Cloud.Count).Select(result.Cloud.Point).ToArray();
        stay.Count(p => Math.Abs(p.Length - 20) > 2).Should().Be(0);
        output.WriteLine($"{20_000 - stay.Length} of 20,000 good points lost");
        stay.Length.Should().BeInRange(19_900, 20_000);
        result.Effect.Measures!["pointsRemoved"].Should().Be(20_000 + strewn.Count - stay.Length);
        result.Effect.Measures["removedShare"].Should().BeApproximately((20_000.0 + strewn.Count - stay.Length) / (20_000 + strewn.Count), 1e-12);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.OutliersRemoved);
        result.Cloud.HasNormals.Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_small_cluster_far_off_goes_and_a_large_one_stays()
    {
        var large = TestClouds.Sphere(5000, 10);
        var second = TestClouds.Sphere(3000, 8, centerMm: new(500, 0, 0));
        var small = TestClouds.Sphere(9, 0.3, centerMm: new(0, 60, 0));

        var result = RemoveOutliers.Apply(TestClouds.Join(large, second, small), new(), s_run);

        Enumerable.Range(0, result.Cloud.Count).Count(p => Math.Abs(result.Cloud.Point(p).Y - 60) < 1).Should().Be(0);
        Enumerable.Range(0, result.Cloud.Count).Count(p => result.Cloud.Point(p).X > 400).Should().BeGreaterThan(2950);
        RemoveOutliers.Apply(TestClouds.Join(large, small), new(Neighbours: 0, MinimumClusterPoints: 1), s_run).Findings.Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_thinly_scanned_half_is_not_an_outlier()
    {
        // Density 16 to 1 from one half to the other: spacing 0.33 and 1.3 mm. By a common limit the thin half would go.
        var cloud = TestClouds.Join(
            TestClouds.Sphere(20_000, 18, seed: 1).Where(p => p.X > 0),
            TestClouds.Sphere(1_250, 18, seed: 2).Where(p => p.X <= 0));

        var result = RemoveOutliers.Apply(cloud, new(ClusterGapMm: 5), s_run);

        Enumerable.Range(0, result.Cloud.Count).Count(p => result.Cloud.Point(p).X < -3).Should().BeGreaterThan((int)(0.95 * Enumerable.Range(0, cloud.Count).Count(p => cloud.Point(p).X < -3)));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_regular_grid_loses_nothing_and_comes_back_as_it_was()
    {
        var grid = TestClouds.Of([.. Enumerable.Range(0, 2500).Select(i => new Vec3(i % 50, i / 50, 0))]);

        var result = RemoveOutliers.Apply(grid, new(Deviations: 0.5), s_run);

        // Corners have the largest ratio: over a quarter of the neighbourhood of an inner point, below 1.5 against their own neighbours.
        result.Cloud.Should().BeSameAs(grid);
        result.Findings.Should().BeEmpty();
        result.Effect.Measures!["pointsRemoved"].Should().Be(0);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(0)]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(3)]
    [InlineData(17)]
    public void A_few_points_or_many_on_one_spot_stay(int count)
    {
        var few = TestClouds.Sphere(count, 5);
        RemoveOutliers.Apply(few, new(), s_run).Cloud.Count.Should().Be(count);
        var spot = new PointCloud(Vec3.Zero, new float[3 * 100 * count]);
        RemoveOutliers.Apply(spot, new(), s_run).Cloud.Count.Should().Be(100 * count);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Bad_parameters_are_named_and_nothing_left_is_said()
    {
        var sphere = TestClouds.Sphere(1000, 5);
        foreach (var bad in (RemoveOutliersParameters[])[new(Neighbours: -1), new(Neighbours: 1000), new(Deviations: 0), new(Deviations: double.NaN), new(ClusterGapMm: -1), new(MinimumClusterPoints: -1)])
            FluentActions.Invoking(() => RemoveOutliers.Apply(sphere, bad, s_run)).Should().Throw<PlanException>();
        FluentActions.Invoking(() => RemoveOutliers.Apply(sphere, new(ClusterGapMm: 1e-6, MinimumClusterPoints: 5), s_run)).Should().Throw<CheckFailedException>();
        var cancelled = new RunContext(cancellation: new CancellationToken(canceled: true));
        FluentActions.Invoking(() => RemoveOutliers.Apply(sphere, new(), cancelled)).Should().Throw<OperationCanceledException>();
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Threads_and_the_order_of_the_points_change_nothing()
    {
        var cloud = TestClouds.Join(TestClouds.Sphere(9000, 10, 0.05), Box(100, 30));
        var expected = RemoveOutliers.Apply(cloud, new(), TestClouds.Threads(1)).Cloud;
        foreach (var threads in (int[])[2, 3, 16])
            TestClouds.Hash(RemoveOutliers.Apply(cloud, new(), TestClouds.Threads(threads)).Cloud).Should().Be(TestClouds.Hash(expected));
        var shuffled = RemoveOutliers.Apply(cloud.Shuffled(3), new(), s_run).Cloud;
        Places(shuffled).Order().Should().Equal(Places(expected).Order());
    }

    /// <summary>The last 1,500 points of the file are the outliers; 26 of them lie within 1 mm of the skin, where noise of 0.25 mm hides them.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Outliers_of_a_head_scan_go()
    {
        const int good = 300_000;
        var cloud = PointCloudFile.Read(SharedData.File("data/meshes/head-points.ply"), new(), s_run).Cloud;
        var result = RemoveOutliers.Apply(cloud, new(), s_run);
        var kept = Places(result.Cloud).ToHashSet();
        var places = Places(cloud);
        var outliersLeft = places.Skip(good).Where(kept.Contains).ToArray();
        var goodLost = places.Take(good).Count(p => !kept.Contains(p));
        output.WriteLine($"{1500 - outliersLeft.Length} of 1,500 outliers gone, {goodLost} of 300,000 good points lost");

        var truth = MeshFile.Read(SharedData.File("data/meshes/head-truth.ply"), new(), s_run).Mesh;
        var off = SignedDistance.To(truth, s_run).Of([.. outliersLeft.Select(p => new Vec3(p.X, p.Y, p.Z) + cloud.OriginMm)], s_run);
        off.Count(d => Math.Abs(d) > 1.5).Should().Be(0);
        outliersLeft.Length.Should().BeLessThanOrEqualTo(26);
        goodLost.Should().BeLessThan(good / 500);
    }

    private static (float X, float Y, float Z)[] Places(PointCloud cloud) =>
        [.. Enumerable.Range(0, cloud.Count).Select(p => (cloud.Positions[3 * p], cloud.Positions[(3 * p) + 1], cloud.Positions[(3 * p) + 2]))];

    private static PointCloud Box(int count, double edgeMm)
    {
        var random = new Random(99);
        return TestClouds.Of([.. Enumerable.Range(0, count).Select(_ => new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * edgeMm * 2)]);
    }
}
