using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>How to split.</summary>
/// <param name="PartsMm">For every part the points on it, LPS; at least two parts.</param>
/// <param name="GradientWeightMm">Steepness of 1000 HU/mm counts like being so much nearer to the surface; 0 looks at the shape alone.</param>
/// <param name="ReachMm">How far from a point the region may be.</param>
public sealed record SplitOptions(IReadOnlyList<IReadOnlyList<Vec3>> PartsMm, double GradientWeightMm = 0, double ReachMm = 3);

/// <summary>The parts of a region, which share no sample, and what no point lay on.</summary>
public sealed record SplitResult(IReadOnlyList<Region> Parts, Region Unseeded) : IDisposable
{
    public void Dispose()
    {
        foreach (var part in Parts)
            part.Dispose();
        Unseeded.Dispose();
    }
}

/// <summary>Parts a region at its narrow places between points that lie on the parts.</summary>
/// <remarks>
/// 1. The region is cut into basins, one around each place that is deepest under the surface (<see cref="Basins"/>): wherever it is
///    narrow there is a border between two. A part owns the basins its points lie in; where points of two parts lie in one, every
///    point owns the ball of half its depth around it instead.
/// 2. Basins that touch are joined by edges as strong as the square of the area they touch with, and every basin goes to the part
///    whose points a random walk from it meets first most likely (<see cref="RandomWalk"/>). So it is not the single widest passage
///    that decides, as when flooding from the points, but all ways together: a jaw stays whole although its joint touches the
///    skull in a wider place than some thin part of the skull itself has. The square makes necks count as such: own choice; with the
///    plain area the walk crosses a joint too easily (tried on the jaw and the first vertebra of a head, docs/methods/segment.md).
/// The cut runs along borders of basins, between samples; the surface marks it cut.
/// Pieces: what hangs together with no point is no part; it comes back apart.
/// Cost: distance map, O(samples), and the walk; basins on one thread. Memory: 10 bytes a sample of the block, 8 a sample of the region.
/// </remarks>
public static class Split
{
    private const string Step = "split";
    private const int MostParts = 250;

    /// <exception cref="BadInputException">A point lies outside the images or farther than the reach from the region, two parts share a sample,
    /// or the region is too large for the memory limit.</exception>
    public static SplitResult Apply(Volume volume, Region region, SplitOptions options, RunContext run)
    {
        if (options.PartsMm.Count is < 2 or > MostParts)
            throw new BadInputException(Step, "parts", $"{options.PartsMm.Count}", $"Give points for 2 to {MostParts} parts.");
        foreach (var part in options.PartsMm)
            Seeds.Nearest(volume, part, Step, "points");
        var box = RegionMeasures.Bounds(region, 1);
        var samples = (box.Columns + 2L) * (box.Rows + 2) * (box.Slices + 2);
        if (samples > int.MaxValue)
            throw new BadInputException(Step, "samples", $"{samples}", "Crop the images to the structure first.");
        run.Memory.Require(Step, (10 * samples) + (8 * region.CountSamples()), "Crop the images to the structure, or raise the memory limit.");
        using var distance = DistanceMap.Inside(region, volume.Map, run);
        var seeds = options.PartsMm.SelectMany((part, p) => part.Select(mm => new Seed(p, mm, NearestSample(volume, region, mm, options.ReachMm)))).ToArray();
        using var basins = Owned(volume, region, distance, options.GradientWeightMm, seeds, out var owner, run);
        while (owner.Count <= basins.Count)
            owner.Add(-1);
        var edges = basins.Contacts(volume.Map).OrderBy(c => c.Key.Low).ThenBy(c => c.Key.High).Select(c => (c.Key.Low, c.Key.High, c.Value * c.Value)).ToArray();
        var owners = new RandomWalk(owner.Count, edges).Owners([.. owner], options.PartsMm.Count, run);
        var regions = basins.Parts(region, options.PartsMm.Count + 1, b => owners[b] >= 0 ? owners[b] : options.PartsMm.Count, run);
        return new(regions[..^1], regions[^1]);
    }

    // The basins, and of every one the part whose points lie in it. Where points of two parts lie in one, no narrow place is between
    // them: then all points get a basin of their own, the ball around them.
    private static Basins Owned(Volume volume, Region region, DistanceMap distance, double gradientWeightMm, Seed[] seeds, out List<int> owner, RunContext run)
    {
        var basins = new Basins(volume, region, distance, gradientWeightMm, run);
        try
        {
            basins.Flood(run);
            var owners = seeds.GroupBy(s => basins.At(s.At.I, s.At.J, s.At.K)).ToDictionary(g => g.Key, g => g.Select(s => s.Part).Distinct().ToArray());
            if (owners.Values.Any(parts => parts.Length > 1))
            {
                basins.Dispose();
                basins = new Basins(volume, region, distance, gradientWeightMm, run);
                owner = TakeBalls(volume, region, distance, basins, seeds);
                basins.Flood(run);
                return basins;
            }

            owner = [.. Enumerable.Range(0, basins.Count + 1).Select(b => owners.TryGetValue(b, out var parts) ? parts[0] : -1)];
            return basins;
        }
        catch
        {
            basins.Dispose();
            throw;
        }
    }

    private static List<int> TakeBalls(Volume volume, Region region, DistanceMap distance, Basins basins, Seed[] seeds)
    {
        // Basin 0 does not exist; its place in the list stays unused.
        var owner = new List<int> { -1 };
        foreach (var seed in seeds)
        {
            owner.Add(seed.Part);
            TakeBall(volume, region, distance, basins, seed.At, basins.NewBasin(), owner, seed.PointMm);
        }

        return owner;
    }

    // A ball of half the depth lies well within the region, so it is all of one part.
    private static void TakeBall(Volume volume, Region region, DistanceMap distance, Basins basins, (int I, int J, int K) at, int basin, List<int> owner, Vec3 seedMm)
    {
        var map = volume.Map;
        var middle = map.Map(at.I, at.J, at.K);
        var radiusMm = Math.Min(distance[at.I, at.J, at.K], distance.LargestMm) / 2;
        int di = (int)(radiusMm / map.ColumnStepMm.Length) + 1, dj = (int)(radiusMm / map.RowStepMm.Length) + 1;
        for (var k = 0; k < volume.Slices; k++)
        {
            var height = Vec3.Dot(map.Normal, middle - map.SliceOriginsMm[k]);
            if (Math.Abs(height) > radiusMm)
                continue;
            var foot = map.Invert(middle - (map.Normal * height));
            for (var j = Math.Max(0, (int)foot.Y - dj); j <= Math.Min(volume.Rows - 1, (int)foot.Y + dj + 1); j++)
                for (var i = Math.Max(0, (int)foot.X - di); i <= Math.Min(volume.Columns - 1, (int)foot.X + di + 1); i++)
                    if (region[i, j, k] && Vec3.Distance(map.Map(i, j, k), middle) <= radiusMm)
                        Take(i, j, k);
        }

        Take(at.I, at.J, at.K);

        void Take(int i, int j, int k)
        {
            var before = basins.At(i, j, k);
            if (before > 0 && owner[before] != owner[basin])
                throw new BadInputException(Step, "points", Seeds.Text(seedMm), "A point of another part lies as near as half the depth of the region there: move one of them.");
            basins.Take(i, j, k, before > 0 ? before : basin);
        }
    }

    private static (int I, int J, int K) NearestSample(Volume volume, Region region, Vec3 seedMm, double reachMm)
    {
        var map = volume.Map;
        (int, int, int)? best = null;
        var nearestMm = reachMm + 1e-9;
        for (var k = 0; k < volume.Slices; k++)
        {
            var height = Vec3.Dot(map.Normal, seedMm - map.SliceOriginsMm[k]);
            if (Math.Abs(height) > reachMm)
                continue;
            var foot = map.Invert(seedMm - (map.Normal * height));
            int di = (int)(reachMm / map.ColumnStepMm.Length) + 2, dj = (int)(reachMm / map.RowStepMm.Length) + 2;
            for (var j = Math.Max(0, (int)foot.Y - dj); j <= Math.Min(volume.Rows - 1, (int)foot.Y + dj); j++)
            {
                for (var i = Math.Max(0, (int)foot.X - di); i <= Math.Min(volume.Columns - 1, (int)foot.X + di); i++)
                {
                    var mm = Vec3.Distance(map.Map(i, j, k), seedMm);
                    if (region[i, j, k] && mm < nearestMm)
                        (best, nearestMm) = ((i, j, k), mm);
                }
            }
        }

        return best ?? throw new BadInputException(Step, "points", Seeds.Text(seedMm), FormattableString.Invariant(
            $"No sample of the region lies within {reachMm} mm: put the point on the structure, or change the threshold."));
    }

    private readonly record struct Seed(int Part, Vec3 PointMm, (int I, int J, int K) At);
}
