using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Cloud;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Cloud;

public class PointIndexTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Property")]
    public void Neighbours_are_those_of_a_search_through_all_points() =>
        Gen.Select(Gen.Int[0, 1_000_000], Gen.Int[1, 400], Gen.Int[1, 20], Gen.Int[0, 2]).Sample(
            (seed, count, k, kind) =>
            {
                var cloud = Strewn(seed, count, kind);
                var index = PointIndex.Build(cloud, s_run);
                k = Math.Min(k, count);
                Span<int> at = new int[k];
                Span<float> squared = new float[k];
                var random = new Random(seed);
                for (var i = 0; i < 20; i++)
                {
                    var (x, y, z) = ((float)TestClouds.Normal(random), (float)TestClouds.Normal(random), (float)TestClouds.Normal(random));
                    index.Nearest(x, y, z, at, squared).Should().Be(k);
                    var all = Enumerable.Range(0, count).Select(p => (Squared: Squared(index, p, x, y, z), Place: p)).Order().Take(k).ToArray();
                    at.ToArray().Should().Equal(all.Select(a => a.Place));
                    squared.ToArray().Should().Equal(all.Select(a => a.Squared));
                }
            },
            iter: 100);

    [Fact]
    [Trait("Kind", "Property")]
    public void Lists_of_all_points_agree_with_single_searches_however_the_points_lie() =>
        Gen.Select(Gen.Int[0, 1_000_000], Gen.Int[2, 3000], Gen.Int[1, 24], Gen.Int[0, 3]).Sample(
            (seed, count, k, kind) =>
            {
                var index = PointIndex.Build(Strewn(seed, count, kind), s_run);
                var lists = NeighbourLists.Find(index, k, TestClouds.Threads(2));
                lists.K.Should().Be(Math.Min(k, count - 1));
                Span<int> at = new int[lists.K + 1];
                Span<float> squared = new float[lists.K + 1];
                for (var p = 0; p < count; p += 1 + (count / 50))
                {
                    index.Nearest(index.X[p], index.Y[p], index.Z[p], at, squared);
                    var others = at.ToArray().Where(q => q != p).Take(lists.K);
                    lists.Of(p).ToArray().Should().Equal(others);
                }
            },
            iter: 40);

    [Fact]
    [Trait("Kind", "Property")]
    public void Order_depends_on_the_points_and_not_on_how_they_are_listed()
    {
        var cloud = TestClouds.Sphere(5000, 10);
        var first = PointIndex.Build(cloud, s_run);
        var other = PointIndex.Build(cloud.Shuffled(7), s_run);

        other.X.Should().Equal(first.X);
        other.Y.Should().Equal(first.Y);
        other.Z.Should().Equal(first.Z);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void One_two_three_and_sixteen_threads_give_the_same_tree()
    {
        var cloud = TestClouds.Sphere(70_000, 10);
        var expected = PointIndex.Build(cloud, TestClouds.Threads(1));
        foreach (var threads in (int[])[2, 3, 16])
        {
            var index = PointIndex.Build(cloud, TestClouds.Threads(threads));
            index.Order.Should().Equal(expected.Order);
            NeighbourLists.Find(index, 8, TestClouds.Threads(threads)).Of(12_345).ToArray().Should().Equal(NeighbourLists.Find(expected, 8, s_run).Of(12_345).ToArray());
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Points_that_are_no_numbers_or_absurdly_far_are_refused()
    {
        foreach (var bad in (float[])[float.NaN, float.PositiveInfinity, 1e30f])
            FluentActions.Invoking(() => PointIndex.Build(new PointCloud(Vec3.Zero, [0, 0, 0, 0, bad, 0]), s_run)).Should().Throw<BadInputException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_sorted_or_equal_list_does_not_make_the_tree_slow()
    {
        // Quickselect with bad pivots would take n²: 10^10 steps, minutes. Bounded by sorting; the test only has to end.
        var ascending = new PointCloud(Vec3.Zero, [.. Enumerable.Range(0, 100_000).SelectMany(i => (float[])[i, 0, 0])]);
        var organ = new PointCloud(Vec3.Zero, [.. Enumerable.Range(0, 100_000).SelectMany(i => (float[])[Math.Min(i, 100_000 - i), 0, 0])]);
        var equal = new PointCloud(Vec3.Zero, new float[300_000]);

        PointIndex.Build(ascending, s_run).Order.Should().Equal(Enumerable.Range(0, 100_000));
        PointIndex.Build(equal, s_run).Order.Should().Equal(Enumerable.Range(0, 100_000));
        PointIndex.Build(organ, s_run).X.Take(100_000).Should().BeInAscendingOrder();
    }

    // Even, in two far clusters, on a coarse lattice (many equal distances and equal points), on one spot.
    private static PointCloud Strewn(int seed, int count, int kind)
    {
        var random = new Random(seed);
        return new(Vec3.Zero, [.. Enumerable.Range(0, count).SelectMany(i => kind switch
        {
            0 => (float[])[(float)TestClouds.Normal(random), (float)TestClouds.Normal(random), (float)TestClouds.Normal(random)],
            1 => [(float)((random.NextDouble() * 1e-3) + (i % 2 * 1e6)), (float)random.NextDouble() * 1e-3f, 0],
            2 => [random.Next(5), random.Next(5), random.Next(5)],
            _ => [1, 2, 3],
        })]);
    }

    private static float Squared(PointIndex index, int p, float x, float y, float z)
    {
        float dx = index.X[p] - x, dy = index.Y[p] - y, dz = index.Z[p] - z;
        return (dx * dx) + (dy * dy) + (dz * dz);
    }
}
