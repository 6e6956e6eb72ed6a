using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>Which points are taken for faults of the scanner.</summary>
/// <param name="Neighbours">Neighbours that a point's distance is averaged over; 0 leaves this test out.</param>
/// <param name="Deviations">A point goes when its distance, over that of its neighbours, is so many standard deviations above the usual.</param>
/// <param name="ClusterGapMm">Points no farther apart belong to one cluster; 0 takes four times the usual spacing.</param>
/// <param name="MinimumClusterPoints">Clusters with fewer points go; 0 takes one in a thousand, from 10 to 100; 1 leaves this test out.</param>
public sealed record RemoveOutliersParameters(int Neighbours = 16, double Deviations = 5, double ClusterGapMm = 0, int MinimumClusterPoints = 0);

/// <summary>Removes points that lie off the surface: single ones by their distance to their neighbours, and small clusters far from the rest.</summary>
/// <remarks>
/// First test: mean distance to the k nearest points, as in Rusu, Marton, Blodow, Dolha, Beetz, "Towards 3D point cloud based object
///   maps for household environments", Robotics and Autonomous Systems 56, 2008 (from memory), but divided by the mean of the same
///   figure over those neighbours, as the local outlier factor does (Breunig, Kriegel, Ng, Sander, SIGMOD 2000; from memory), so that a thinly scanned
///   place is not taken for a fault; and judged by median and median deviation, which outliers do not move. Never below
///   <see cref="LeastRatio"/>: where points lie on a regular grid the deviation is 0.
/// Second test: what is left falls into clusters, linked where two of the eight nearest lie within the gap.
/// Gives the points that stay, in their order; the same object when all do.
/// Measures: pointsRemoved, removedShare, removedByDistance, removedInClusters, clustersRemoved, clusterGapMm, spacingMm.
/// Cost: 2.6 µs a point and core. Memory: the index and 100 bytes a point.
/// </remarks>
public static class RemoveOutliers
{
    /// <summary>A point whose distance exceeds its neighbours' by less than this factor always stays.</summary>
    public const double LeastRatio = 1.5;

    private const string Step = "remove outliers";
    private const int FewestPoints = 4;
    private const double GapOverSpacing = 4;
    private const double DeviationPerMedian = 1.4826;
    private const double ShareToWarn = 0.05;

    /// <exception cref="PlanException">A parameter is out of its range.</exception>
    /// <exception cref="BadInputException">A coordinate is not finite.</exception>
    /// <exception cref="CheckFailedException">No point would stay.</exception>
    public static CloudResult Apply(PointCloud cloud, RemoveOutliersParameters parameters, RunContext run)
    {
        Check(parameters);
        if (cloud.Count < FewestPoints)
            return new(cloud, Effect(cloud, 0, 0, 0, 0, 0), []);
        run.Report(Step, "index", 0);
        var index = PointIndex.Build(cloud, run);
        run.Report(Step, "distances", 0.2);
        var lists = NeighbourLists.Find(index, Math.Max(parameters.Neighbours, PointSpacing.Neighbours), run);
        var stays = new bool[index.Count];
        Array.Fill(stays, true);
        if (parameters.Neighbours > 0)
            TestDistances(lists, parameters, stays, run);
        var byDistance = stays.Count(s => !s);
        run.Report(Step, "clusters", 0.7);
        var spacing = PointSpacing.Percentile(PointSpacing.Local(index, lists, run), 0.5);
        var gap = parameters.ClusterGapMm > 0 ? parameters.ClusterGapMm : GapOverSpacing * spacing;
        var (inClusters, clusters) = TestClusters(lists, gap, parameters.MinimumClusterPoints, stays);
        var removed = byDistance + inClusters;
        if (removed == cloud.Count)
            throw new CheckFailedException(Step, "points that hang together", "none: every point would go; raise clusterGapMm or lower minClusterPoints");
        run.Report(Step, "clusters", 1);
        var effect = Effect(cloud, byDistance, inClusters, clusters, gap, spacing);
        return removed == 0 ? new(cloud, effect, []) : new(Kept(index, stays), effect, [Told(cloud.Count, byDistance, inClusters, clusters)]);
    }

    private static void Check(RemoveOutliersParameters p)
    {
        if (p.Neighbours is < 0 or > PointIndex.MostNeighbours)
            throw new PlanException(Step, null, "neighbours", FormattableString.Invariant($"{p.Neighbours}"), $"0 to {PointIndex.MostNeighbours}");
        if (!(p.Deviations > 0) || !double.IsFinite(p.Deviations))
            throw new PlanException(Step, null, "deviations", FormattableString.Invariant($"{p.Deviations}"), "a number above 0");
        if (!(p.ClusterGapMm >= 0) || !double.IsFinite(p.ClusterGapMm))
            throw new PlanException(Step, null, "clusterGapMm", FormattableString.Invariant($"{p.ClusterGapMm}"), "0 or a length in mm");
        if (p.MinimumClusterPoints < 0)
            throw new PlanException(Step, null, "minClusterPoints", FormattableString.Invariant($"{p.MinimumClusterPoints}"), "0 or a number of points");
    }

    private static void TestDistances(NeighbourLists lists, RemoveOutliersParameters parameters, bool[] stays, RunContext run)
    {
        var k = Math.Min(parameters.Neighbours, lists.K);
        var mean = new float[stays.Length];
        lists.Ranges(run, (from, to) =>
        {
            for (var p = from; p < to; p++)
            {
                double sum = 0;
                foreach (var q in lists.Of(p)[..k])
                    sum += Math.Sqrt(lists.DistanceSquared(p, q));
                mean[p] = (float)(sum / k);
            }
        });
        var ratio = new float[stays.Length];
        lists.Ranges(run, (from, to) =>
        {
            for (var p = from; p < to; p++)
            {
                double around = 0;
                foreach (var q in lists.Of(p)[..k])
                    around += mean[q];
                ratio[p] = mean[p] == 0 ? 0 : (float)(mean[p] * k / around);
            }
        });
        var usual = PointSpacing.Percentile(ratio, 0.5);
        var off = new float[ratio.Length];
        for (var p = 0; p < off.Length; p++)
            off[p] = Math.Abs(ratio[p] - usual);
        var limit = Math.Max(LeastRatio, usual + (parameters.Deviations * DeviationPerMedian * PointSpacing.Percentile(off, 0.5)));
        for (var p = 0; p < stays.Length; p++)
            stays[p] = ratio[p] <= limit;
    }

    private static (int Points, int Clusters) TestClusters(NeighbourLists lists, double gapMm, int minimum, bool[] stays)
    {
        var fewest = minimum > 0 ? minimum : Math.Clamp(stays.Length / 1000, 10, 100);
        // A cloud of a few points has no main part that they could be isolated from.
        if (minimum == 0 && stays.Length < 10 * fewest)
            return (0, 0);
        var sets = Clusters(lists, gapMm, stays);
        int points = 0, clusters = 0;
        for (var p = 0; p < stays.Length; p++)
        {
            if (!stays[p])
                continue;
            var root = sets.Find(p).Root;
            if (sets.Size(root) >= fewest)
                continue;
            points++;
            clusters += root == p ? 1 : 0;
        }

        for (var p = 0; p < stays.Length; p++)
            stays[p] = stays[p] && sets.Size(sets.Find(p).Root) >= fewest;
        return (points, clusters);
    }

    private static SignedSets Clusters(NeighbourLists lists, double gapMm, bool[] stays)
    {
        var k = Math.Min(PointSpacing.Neighbours, lists.K);
        var sets = new SignedSets(stays.Length);
        for (var p = 0; p < stays.Length; p++)
        {
            if (!stays[p])
                continue;
            foreach (var q in lists.Of(p)[..k])
                if (stays[q] && lists.DistanceSquared(p, q) <= gapMm * gapMm)
                    sets.Join(p, q, false);
        }

        return sets;
    }

    private static PointCloud Kept(PointIndex index, bool[] stays)
    {
        var cloud = index.Cloud;
        var keep = new bool[cloud.Count];
        for (var p = 0; p < stays.Length; p++)
            keep[index.Order[p]] = stays[p];
        return new(cloud.OriginMm, Chosen(cloud.Positions, keep), cloud.HasNormals ? Chosen(cloud.Normals, keep) : null);
    }

    private static float[] Chosen(ReadOnlySpan<float> threes, bool[] keep)
    {
        var chosen = new float[3 * keep.Count(k => k)];
        var at = 0;
        for (var p = 0; p < keep.Length; p++)
        {
            if (!keep[p])
                continue;
            threes.Slice(3 * p, 3).CopyTo(chosen.AsSpan(at));
            at += 3;
        }

        return chosen;
    }

    private static StepEffect Effect(PointCloud cloud, int byDistance, int inClusters, int clusters, double gapMm, double spacingMm) =>
        new(Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["pointsRemoved"] = byDistance + inClusters,
            ["removedShare"] = cloud.Count == 0 ? 0 : (byDistance + inClusters) / (double)cloud.Count,
            ["removedByDistance"] = byDistance,
            ["removedInClusters"] = inClusters,
            ["clustersRemoved"] = clusters,
            ["clusterGapMm"] = gapMm,
            ["spacingMm"] = spacingMm,
        });

    private static Finding Told(int points, int byDistance, int inClusters, int clusters)
    {
        var share = (byDistance + inClusters) / (double)points;
        return new(
            FindingCodes.OutliersRemoved,
            share > ShareToWarn ? Severity.Caution : Severity.Note,
            FormattableString.Invariant($"{byDistance + inClusters} of {points} points ({share:P2}) were removed as outliers: {byDistance} by their distance to their neighbours, {inClusters} in {clusters} small clusters."),
            share > ShareToWarn ? "Look whether thin parts are missing; otherwise raise deviations or lower minClusterPoints." : "None needed, unless thin parts are missing.");
    }
}
