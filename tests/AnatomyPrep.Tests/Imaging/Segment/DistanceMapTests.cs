using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class DistanceMapTests
{
    private static readonly RunContext s_run = RunContext.Default;

    public static TheoryData<string> Maps => new("straight", "uneven", "tilted");

    [Theory]
    [MemberData(nameof(Maps))]
    [Trait("Kind", "Property")]
    public void Every_distance_is_that_to_the_nearest_sample_outside(string kind)
    {
        var map = Map(kind);
        for (var seed = 0; seed < 4; seed++)
        {
            using var region = Blobs(map, seed);
            using var distance = DistanceMap.Inside(region, map, s_run);
            var outside = RegionBits.All(region).Where(s => !region[s.I, s.J, s.K]).Select(s => map.Map(s.I, s.J, s.K)).ToArray();
            foreach (var (i, j, k) in RegionBits.All(region))
            {
                var p = map.Map(i, j, k);
                var truth = region[i, j, k] ? outside.Min(o => Vec3.Distance(o, p)) : 0;
                // Straight: float32 of a square. Tilted: read between samples, off by at most half a pixel's diagonal, 0.652 mm.
                ((double)distance[i, j, k]).Should().BeApproximately(truth, kind == "tilted" ? 0.652 : 1e-5 * Math.Max(1, truth));
            }
        }
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void A_block_agrees_with_the_reference_library()
    {
        // scipy 1.10.1, ndimage.distance_transform_edt, sampling (2, 1.5, 0.5), of ones (9, 11, 30) with zeros at
        // [4, 5, 14] and [0, 10, 29]: values at [8, 0, 0], [4, 5, 20], [0, 0, 29], [6, 8, 3] and the sum of all.
        var map = VolumeMap(9, 0.5, 1.5, 2);
        using var region = new Region(30, 11, 9, new HuWindow(0, 1));
        foreach (var (i, j, k) in RegionBits.All(region))
            region.Set(i, j, k, (i, j, k) is not ((14, 5, 4) or (29, 10, 0)));
        using var distance = DistanceMap.Inside(region, map, s_run);
        double[] found = [distance[0, 0, 8], distance[20, 5, 4], distance[29, 0, 0], distance[3, 8, 6], RegionBits.All(region).Sum(s => (double)distance[s.I, s.J, s.K])];
        double[] expected = [13.0096118, 3.0, 13.2853303, 8.1547532, 22580.01646];
        for (var n = 0; n < found.Length; n++)
            found[n].Should().BeApproximately(expected[n], 1e-5 * expected[n]);
    }

    [Fact]
    public void A_region_that_fills_the_images_has_no_outside()
    {
        using var region = new Region(5, 4, 3, new HuWindow(0, 1));
        foreach (var (i, j, k) in RegionBits.All(region))
            region.Set(i, j, k, true);
        using var distance = DistanceMap.Inside(region, Grid.Map(5, 4, 3), s_run);
        distance[2, 2, 1].Should().Be(float.PositiveInfinity);
        distance.LargestMm.Should().Be(0);
        using var nothing = region.Like();
        using var empty = DistanceMap.Inside(nothing, Grid.Map(5, 4, 3), s_run);
        empty[2, 2, 1].Should().Be(0);
    }

    [Theory]
    [MemberData(nameof(Maps))]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_no_bit(string kind)
    {
        var map = Map(kind);
        using var region = Blobs(map, 9);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            using var distance = DistanceMap.Inside(region, map, new RunContext(threads: threads));
            return string.Join(' ', RegionBits.All(region).Select(s => BitConverter.SingleToInt32Bits(distance[s.I, s.J, s.K])));
        }).Distinct().Should().ContainSingle();
    }

    private static IndexToPatient Map(string kind) => kind switch
    {
        "straight" => VolumeMap(8, 0.7, 1.1, 1.6),
        "uneven" => new(new Vec3(0.7, 0, 0), new Vec3(0, 1.1, 0), [new(0, 0, 0), new(0, 0, 1), new(0, 0, 2.5), new(0, 0, 3), new(0, 0, 7), new(0, 0, 8), new(0, 0, 9), new(0, 0, 9.7)]),
        _ => new(new Vec3(0.7, 0, 0), new Vec3(0, 1.1, 0), [new(0, 0, 0), new(0, 0.3, 1), new(0, 0.75, 2.5), new(0, 0.9, 3), new(0, 2.1, 7), new(0, 2.4, 8), new(0, 2.7, 9), new(0, 2.91, 9.7)]),
    };

    private static IndexToPatient VolumeMap(int slices, double x, double y, double z) =>
        new(new Vec3(x, 0, 0), new Vec3(0, y, 0), Enumerable.Range(0, slices).Select(k => new Vec3(0, 0, k * z)).ToArray());

    // Most of the samples, so that distances grow to several samples.
    private static Region Blobs(IndexToPatient map, int seed)
    {
        var random = new Random(seed);
        var region = new Region(17, 12, map.Slices, new HuWindow(0, 1));
        foreach (var (i, j, k) in RegionBits.All(region))
            region.Set(i, j, k, random.Next(60) != 0);
        return region;
    }
}
