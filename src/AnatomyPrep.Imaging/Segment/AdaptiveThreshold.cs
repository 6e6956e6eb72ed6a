using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>How far local levels may go.</summary>
/// <param name="LowerHu">No local level is below this.</param>
/// <param name="UpperHu">No local level is above this: the level of thick bone.</param>
/// <param name="NeighbourhoodMm">How far around a place its two sides are looked for.</param>
public sealed record AdaptiveOptions(short LowerHu, short UpperHu, double NeighbourhoodMm);

/// <summary>A threshold that follows thin bone down to its own half height, within a stated range.</summary>
/// <remarks>
/// Method: the local level is the middle between the smallest and the largest value around (Bernsen, "Dynamic thresholding of
///   grey-level images", ICPR 1986), found for nodes a third of the neighbourhood apart and linear between them (Chow, Kaneko,
///   "Automatic boundary detection of the left ventricle from cineangiograms", Comput Biomed Res 5, 1972; both from memory), then
///   held within the range. A plate thinner than the blur reaches only a part of its value; the middle between its peak and
///   what lies beside it is where its edge has half its height. In thick bone, beside thick bone and in its marrow the level is the
///   upper one, so that these come out as with a plain threshold; in soft tissue it is the lower one.
/// Limits: where a thick bone lies within the neighbourhood of a thin one, the thick one decides. Noise spreads smallest and largest to
///   both sides alike. Air beside bone pulls the middle down to the lower level, never below.
/// Shapes: nodes hold extremes over the samples that are nearer to them than to others. The level goes with the region
///   (<see cref="Region.Levels"/>), so the surface lies where the values meet it.
/// Cost: one pass for extremes, three over the nodes, one for the comparison; memory: the region and 4 bytes a node, half a byte a sample at most. Same bits on any thread count.
/// </remarks>
public static unsafe class AdaptiveThreshold
{
    private const string Step = "adaptive-threshold";
    private const int LinesAtOnce = 256;

    /// <exception cref="BadInputException">The range is empty.</exception>
    public static Region Apply(Volume volume, AdaptiveOptions options, RunContext run)
    {
        if (options.LowerHu >= options.UpperHu)
            throw new BadInputException(Step, "plainHu", $"{options.UpperHu}", $"It must be above lowestHu, {options.LowerHu}.");
        var levels = Levels(volume, options, run);
        var region = new Region(volume.Columns, volume.Rows, volume.Slices, new(options.LowerHu, short.MaxValue), levels);
        Partition.For(run, volume.Slices, slice =>
        {
            var level = new short[volume.Columns];
            for (var row = 0; row < volume.Rows; row++)
            {
                levels.Row(row, slice, level);
                var hu = volume.Row(row, slice);
                var bits = region.RowPointer(row, slice);
                for (var i = 0; i < hu.Length; i++)
                    if (hu[i] >= level[i])
                        bits[(i + 1) >> 6] |= 1UL << ((i + 1) & 63);
            }
        });
        return region;
    }

    private static LevelField Levels(Volume volume, AdaptiveOptions options, RunContext run)
    {
        var map = volume.Map;
        var third = options.NeighbourhoodMm / 3;
        // At least every other column and row: nodes for all samples would take three times the volume.
        var step = Math.Max(2, (int)Math.Round(third / Math.Max(map.ColumnStepMm.Length, map.RowStepMm.Length)));
        var meanSliceMm = volume.Slices < 2 ? 1 : Math.Abs(Core.Geometry.Vec3.Dot(map.Normal, map.SliceOriginsMm[^1] - map.SliceOriginsMm[0])) / (volume.Slices - 1);
        var sliceStep = Math.Max(1, (int)Math.Round(third / meanSliceMm));
        int a = LevelField.NodesAlong(volume.Columns, step), b = LevelField.NodesAlong(volume.Rows, step), c = LevelField.NodesAlong(volume.Slices, sliceStep);
        var (low, high) = Extremes(volume, step, sliceStep, a, b, c, run);
        // A node stands for half a step around it already.
        int Reach(double nodeMm) => Math.Max(0, (int)Math.Round((options.NeighbourhoodMm / nodeMm) - 0.5));
        int reach = Reach(step * Math.Max(map.ColumnStepMm.Length, map.RowStepMm.Length)), sliceReach = Reach(sliceStep * meanSliceMm);
        foreach (var (values, sign) in new[] { (low, -1), (high, 1) })
        {
            Widen(values, a, 1, reach, b * c, line => line * a, sign, run);
            Widen(values, b, a, reach, a * c, line => (line / a * a * b) + (line % a), sign, run);
            Widen(values, c, a * b, sliceReach, a * b, line => line, sign, run);
        }

        for (var n = 0; n < low.Length; n++)
        {
            // Where everything around is bone there is no edge, and the level of thick bone holds.
            var middle = low[n] >= options.UpperHu ? options.UpperHu : (low[n] + high[n]) >> 1;
            low[n] = (short)Math.Clamp(middle, options.LowerHu, options.UpperHu);
        }

        return new(volume.Columns, volume.Rows, volume.Slices, step, sliceStep, low);
    }

    // Along lines of nodes: every node gets the largest value (smallest for sign -1) within the reach to both sides.
    private static void Widen(short[] values, int length, int stride, int reach, int lines, Func<int, int> first, int sign, RunContext run)
    {
        if (reach == 0)
            return;
        Partition.Ranges(run, lines, LinesAtOnce, (_, from, to) =>
        {
            var line = new short[length];
            for (var n = from; n < to; n++)
            {
                var at = first(n);
                for (var i = 0; i < length; i++)
                    line[i] = values[at + (i * stride)];
                for (var i = 0; i < length; i++)
                {
                    var best = line[i];
                    for (var o = Math.Max(0, i - reach); o <= Math.Min(length - 1, i + reach); o++)
                        if (sign * (line[o] - best) > 0)
                            best = line[o];
                    values[at + (i * stride)] = best;
                }
            }
        });
    }

    // Smallest and largest value of the samples nearest to every node.
    private static (short[] Low, short[] High) Extremes(Volume volume, int step, int sliceStep, int a, int b, int c, RunContext run)
    {
        var low = new short[a * b * c];
        var high = new short[a * b * c];
        Array.Fill(low, short.MaxValue);
        Array.Fill(high, short.MinValue);
        Partition.For(run, c, z =>
        {
            for (var k = Math.Max(0, (z * sliceStep) - (sliceStep / 2)); k < Math.Min(volume.Slices, (z * sliceStep) + ((sliceStep + 1) / 2)); k++)
            {
                for (var j = 0; j < volume.Rows; j++)
                {
                    var y = (j + (step / 2)) / step;
                    var row = volume.Row(j, k);
                    for (var i = 0; i < row.Length; i++)
                    {
                        var at = (((z * b) + y) * a) + ((i + (step / 2)) / step);
                        low[at] = Math.Min(low[at], row[i]);
                        high[at] = Math.Max(high[at], row[i]);
                    }
                }
            }
        });
        return (low, high);
    }
}
