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
/// Cost: one pass for extremes, one for the comparison; memory: the region and 6 bytes a node. Same bits on any thread count.
/// </remarks>
public static unsafe class AdaptiveThreshold
{
    private const string Step = "adaptive-threshold";

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
        var step = Math.Max(1, (int)Math.Round(third / Math.Max(map.ColumnStepMm.Length, map.RowStepMm.Length)));
        var meanSliceMm = volume.Slices < 2 ? 1 : Math.Abs(Core.Geometry.Vec3.Dot(map.Normal, map.SliceOriginsMm[^1] - map.SliceOriginsMm[0])) / (volume.Slices - 1);
        var sliceStep = Math.Max(1, (int)Math.Round(third / meanSliceMm));
        int a = LevelField.NodesAlong(volume.Columns, step), b = LevelField.NodesAlong(volume.Rows, step), c = LevelField.NodesAlong(volume.Slices, sliceStep);
        var (low, high) = Extremes(volume, step, sliceStep, a, b, c, run);
        // A node stands for half a step around it already.
        int Reach(double nodeMm) => Math.Max(0, (int)Math.Round((options.NeighbourhoodMm / nodeMm) - 0.5));
        int reach = Reach(step * Math.Max(map.ColumnStepMm.Length, map.RowStepMm.Length)), sliceReach = Reach(sliceStep * meanSliceMm);
        var nodes = new short[a * b * c];
        Partition.For(run, c, z =>
        {
            for (var y = 0; y < b; y++)
            {
                for (var x = 0; x < a; x++)
                {
                    int min = short.MaxValue, max = short.MinValue;
                    for (var k = Math.Max(0, z - sliceReach); k <= Math.Min(c - 1, z + sliceReach); k++)
                    {
                        for (var j = Math.Max(0, y - reach); j <= Math.Min(b - 1, y + reach); j++)
                        {
                            for (var i = Math.Max(0, x - reach); i <= Math.Min(a - 1, x + reach); i++)
                            {
                                var at = (((k * b) + j) * a) + i;
                                min = Math.Min(min, low[at]);
                                max = Math.Max(max, high[at]);
                            }
                        }
                    }

                    // Where everything around is bone there is no edge, and the level of thick bone holds.
                    var middle = min >= options.UpperHu ? options.UpperHu : (min + max) >> 1;
                    nodes[(((z * b) + y) * a) + x] = (short)Math.Clamp(middle, options.LowerHu, options.UpperHu);
                }
            }
        });
        return new(volume.Columns, volume.Rows, volume.Slices, step, sliceStep, nodes);
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
