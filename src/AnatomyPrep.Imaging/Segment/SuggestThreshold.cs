using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>A level that follows from the images, and why.</summary>
/// <param name="SpreadHu">Half the distance between the quartiles of what was found; null where there is no such figure.</param>
/// <param name="Places">How many samples or edges it rests on.</param>
public sealed record SuggestedLevel(short LevelHu, double LowSideHu, double HighSideHu, double? SpreadHu, long Places, string Reasoning);

/// <summary>Thresholds found in the images instead of given.</summary>
public static unsafe class SuggestThreshold
{
    private const int Values = 1 << 16;

    // A finer range than this holds no two populations that a level could part.
    private const int NarrowestRangeHu = 10;

    /// <summary>The level between two populations of samples that leaves the least variance within both.</summary>
    /// <remarks>
    /// Method: Otsu, "A threshold selection method from gray-level histograms", IEEE SMC 9(1), 1979, on whole HU within a
    ///   stated range: the range decides which two populations are meant, since a CT holds more than two. It finds the level
    ///   that sorts samples best, not the one where an edge lies; with populations of very different size it leans to the
    ///   larger one. Ties: the middle of the best levels. Cost: one pass; memory: 512 kB a thread. Sums are exact, in whole numbers.
    /// </remarks>
    /// <exception cref="BadInputException">Fewer than two different values in the range.</exception>
    public static SuggestedLevel Otsu(Volume volume, HuWindow range, RunContext run)
    {
        RequireRange(range);
        var counts = Histogram(volume, run);
        long total = 0;
        Int128 sum = 0;
        for (int hu = range.LowerHu; hu <= range.UpperHu; hu++)
        {
            total += counts[hu - short.MinValue];
            sum += (Int128)counts[hu - short.MinValue] * hu;
        }

        long below = 0;
        Int128 belowSum = 0;
        double best = -1, lowMean = 0, highMean = 0;
        int from = 0, through = 0;
        for (int hu = range.LowerHu; hu < range.UpperHu; hu++)
        {
            below += counts[hu - short.MinValue];
            belowSum += (Int128)counts[hu - short.MinValue] * hu;
            if (below == 0 || below == total)
                continue;
            double low = (double)belowSum / below, high = (double)(sum - belowSum) / (total - below);
            var between = (double)below * (total - below) * (high - low) * (high - low);
            if (between > best)
                (best, from, through, lowMean, highMean) = (between, hu + 1, hu + 1, low, high);
            else if (between == best)
                through = hu + 1;
        }

        if (best < 0)
            throw new BadInputException("suggest-threshold", "fromHu", FormattableString.Invariant($"{range.LowerHu} to {range.UpperHu}"), "The images hold fewer than two values there: give a range that covers both materials.");
        var level = (short)(from + ((through - from) / 2));
        return new(level, lowMean, highMean, null, total, FormattableString.Invariant(
            $"{level} HU parts the {total} samples between {range.LowerHu} and {range.UpperHu} HU into two groups with the least spread (Otsu 1979), means {lowMean:F0} and {highMean:F0} HU. It sorts samples; the middle of those means, {(lowMean + highMean) / 2:F0} HU, is where a blurred edge between them stays in its place."));
    }

    /// <summary>The middle between the two sides of the boundary, measured along the edges themselves.</summary>
    /// <remarks>
    /// Method: half-maximum height; Spoor, Zonneveld, Macho, "Linear measurements of cortical bone and dental enamel by computed
    ///   tomography", Am J Phys Anthropol 91, 1993 (from memory). Every crossing of the present level along rows and columns
    ///   whose steepest direction is that axis is followed uphill and downhill while values go on rising or falling, at most
    ///   <paramref name="reachMm"/>; the middle of both ends counts once. The suggestion is the median of the middles; it becomes
    ///   the present level and is found again, up to eight times or until it stays. Slices are not crossed: they are the
    ///   coarsest direction. A wall thinner than the blur never reaches its own value, so its middle is low: the quartiles
    ///   say how much the edges differ.
    /// Cost: a pass over the volume a round; memory: 512 kB a thread. Counts are whole numbers.
    /// </remarks>
    /// <param name="startHu">A level that crosses the wanted boundary anywhere on its flank.</param>
    /// <exception cref="BadInputException">No edge crosses the level within the range.</exception>
    public static SuggestedLevel HalfMaximum(Volume volume, short startHu, HuWindow range, double reachMm, RunContext run)
    {
        RequireRange(range);
        var level = startHu;
        Middles found = default;
        var rounds = 0;
        for (; rounds < 8; rounds++)
        {
            found = FindMiddles(volume, level, range, reachMm, run);
            if (found.Edges == 0)
                throw new BadInputException("suggest-threshold", "startHu", FormattableString.Invariant($"{level}"), FormattableString.Invariant($"No edge crosses it with both sides between {range.LowerHu} and {range.UpperHu} HU: start on the flank of the boundary, or widen the range."));
            if (found.Median == level)
                break;
            level = (short)found.Median;
        }

        var spread = (found.UpperQuartile - found.LowerQuartile) / 2.0;
        return new(level, found.LowMean, found.HighMean, spread, found.Edges, FormattableString.Invariant(
            $"{level} HU is the median middle of {found.Edges} edges within {reachMm} mm (half-maximum rule), whose sides have {found.LowMean:F0} and {found.HighMean:F0} HU on average; half of the edges have their middle between {found.LowerQuartile} and {found.UpperQuartile} HU. Walls thinner than the blur pull it down."));
    }

    private static void RequireRange(HuWindow range)
    {
        if (range.UpperHu - range.LowerHu < NarrowestRangeHu)
            throw new BadInputException("suggest-threshold", "toHu", FormattableString.Invariant($"{range.UpperHu}"), FormattableString.Invariant($"Give a range of at least {NarrowestRangeHu} HU above fromHu."));
    }

    private static long[] Histogram(Volume volume, RunContext run)
    {
        var slabs = Partition.Pieces(volume.Slices, 16);
        var counts = new long[slabs][];
        Partition.For(run, slabs, s =>
        {
            var own = new long[Values];
            for (var slice = 16 * s; slice < Math.Min(volume.Slices, 16 * (s + 1)); slice++)
                foreach (var hu in volume.Slice(slice))
                    own[hu - short.MinValue]++;
            counts[s] = own;
        });
        return Sum(counts);
    }

    private static long[] Sum(long[][] parts)
    {
        var sum = new long[Values];
        foreach (var part in parts)
            for (var v = 0; v < Values; v++)
                sum[v] += part[v];
        return sum;
    }

    private static Middles FindMiddles(Volume volume, short level, HuWindow range, double reachMm, RunContext run)
    {
        var slabs = Partition.Pieces(volume.Slices, 16);
        var counts = new long[slabs][];
        var sums = new (long Low, long High)[slabs];
        int alongRow = Math.Max(1, (int)(reachMm / volume.Map.ColumnStepMm.Length)), acrossRows = Math.Max(1, (int)(reachMm / volume.Map.RowStepMm.Length));
        Partition.For(run, slabs, s =>
        {
            var own = new long[Values];
            long low = 0, high = 0;
            for (var slice = 16 * s; slice < Math.Min(volume.Slices, 16 * (s + 1)); slice++)
            {
                for (var row = 0; row < volume.Rows; row++)
                {
                    for (var i = 0; i < volume.Columns; i++)
                    {
                        Count(Follow(volume, i, row, slice, 1, 0, level, alongRow));
                        Count(Follow(volume, i, row, slice, 0, 1, level, acrossRows));
                    }
                }
            }

            counts[s] = own;
            sums[s] = (low, high);

            void Count((int Low, int High)? edge)
            {
                if (edge is not { } e || e.Low < range.LowerHu || e.High > range.UpperHu)
                    return;
                own[((e.Low + e.High) >> 1) - short.MinValue]++;
                low += e.Low;
                high += e.High;
            }
        });
        return Middles.Of(Sum(counts), sums.Sum(x => x.Low), sums.Sum(x => x.High));
    }

    // Both ends of the flank that crosses the level from sample (i, j) to its neighbour; null where none does along this axis.
    private static (int Low, int High)? Follow(Volume volume, int i, int j, int k, int di, int dj, short level, int reach)
    {
        if (i + di >= volume.Columns || j + dj >= volume.Rows)
            return null;
        long step = di + ((long)dj * volume.Columns);
        var at = volume.Samples + ((((long)k * volume.Rows) + j) * volume.Columns) + i;
        int here = *at, there = at[step];
        if ((here >= level) == (there >= level))
            return null;
        // Oblique crossings are left out: along them the flank is longer and reaches less of its ends.
        long other = di == 1 ? volume.Columns : 1;
        bool before = di == 1 ? j > 0 : i > 0, after = di == 1 ? j + 1 < volume.Rows : i + 1 < volume.Columns;
        var across = Math.Abs((after ? at[other] : here) - (before ? at[-other] : here));
        if (across > Math.Abs(there - here))
            return null;
        var up = there > here ? 1 : -1;
        int ahead = di == 1 ? volume.Columns - 1 - i : volume.Rows - 1 - j, behind = di == 1 ? i : j;
        var high = Climb(at + (up > 0 ? step : 0), up * step, Math.Min(reach, up > 0 ? ahead - 1 : behind), 1);
        var low = Climb(at + (up > 0 ? 0 : step), -up * step, Math.Min(reach, up > 0 ? behind : ahead - 1), -1);
        return (low, high);
    }

    // The last value while going on in one direction rises (sign 1) or falls (sign -1).
    private static int Climb(short* at, long step, int most, int sign)
    {
        int value = *at;
        for (var n = 1; n <= most && sign * (at[n * step] - value) > 0; n++)
            value = at[n * step];
        return value;
    }

    private readonly record struct Middles(long Edges, int Median, int LowerQuartile, int UpperQuartile, double LowMean, double HighMean)
    {
        public static Middles Of(long[] counts, long lowSum, long highSum)
        {
            var edges = counts.Sum();
            return edges == 0 ? default : new(edges, Rank(counts, (edges + 1) / 2), Rank(counts, (edges + 3) / 4), Rank(counts, ((3 * edges) + 3) / 4), lowSum / (double)edges, highSum / (double)edges);
        }

        private static int Rank(long[] counts, long rank)
        {
            long seen = 0;
            for (var v = 0; v < counts.Length; v++)
            {
                seen += counts[v];
                if (seen >= rank)
                    return v + short.MinValue;
            }

            return short.MaxValue;
        }
    }
}
