using System.Numerics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Volumes of regions: every sample counts for the space it stands for (<see cref="IndexToPatient.SampleVolumeMm3"/>).</summary>
public static unsafe class RegionMeasures
{
    public static double VolumeMm3(Region region, IndexToPatient map, RunContext run) => Volumes(region, region, map, run).Both;

    /// <summary>Volume before and after a step, and what was added and removed; mm³.</summary>
    public static StepEffect Effect(Region before, Region after, IndexToPatient map, RunContext run, params (string Name, double Value)[] more)
    {
        var (both, removed, added) = Volumes(before, after, map, run);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["addedMm3"] = added,
            ["removedMm3"] = removed,
        };
        foreach (var (name, value) in more)
            measures.Add(name, value);
        return new(VolumeBeforeMm3: both + removed, VolumeAfterMm3: both + added, Measures: measures);
    }

    /// <summary>Volume in both regions, only in the first, only in the second; mm³.</summary>
    public static (double Both, double FirstOnly, double SecondOnly) Volumes(Region first, Region second, IndexToPatient map, RunContext run)
    {
        var counts = new (long Both, long First, long Second)[first.Slices];
        Partition.For(run, first.Slices, slice =>
        {
            var count = (Both: 0L, First: 0L, Second: 0L);
            for (var row = 0; row < first.Rows; row++)
            {
                ulong* a = first.RowPointer(row, slice), b = second.RowPointer(row, slice);
                for (var w = 0; w < first.WordsPerRow; w++)
                {
                    count.Both += BitOperations.PopCount(a[w] & b[w]);
                    count.First += BitOperations.PopCount(a[w] & ~b[w]);
                    count.Second += BitOperations.PopCount(b[w] & ~a[w]);
                }
            }

            counts[slice] = count;
        });
        double both = 0, firstOnly = 0, secondOnly = 0;
        for (var slice = 0; slice < counts.Length; slice++)
        {
            var sampleMm3 = map.SampleVolumeMm3(slice);
            both += counts[slice].Both * sampleMm3;
            firstOnly += counts[slice].First * sampleMm3;
            secondOnly += counts[slice].Second * sampleMm3;
        }

        return (both, firstOnly, secondOnly);
    }

    /// <summary>The smallest block that holds the region, wider by a margin where the images go on; all zeros for an empty region.</summary>
    public static SampleBox Bounds(Region region, int margin)
    {
        int i0 = int.MaxValue, i1 = -1, j0 = int.MaxValue, j1 = -1, k0 = int.MaxValue, k1 = -1;
        for (var k = 0; k < region.Slices; k++)
        {
            for (var j = 0; j < region.Rows; j++)
            {
                var bits = region.Row(j, k);
                var first = bits.IndexOfAnyExcept(0UL);
                if (first < 0)
                    continue;
                var last = bits.LastIndexOfAnyExcept(0UL);
                i0 = Math.Min(i0, (64 * first) + BitOperations.TrailingZeroCount(bits[first]) - 1);
                i1 = Math.Max(i1, (64 * last) + 62 - BitOperations.LeadingZeroCount(bits[last]));
                (j0, j1, k0, k1) = (Math.Min(j0, j), Math.Max(j1, j), Math.Min(k0, k), k);
            }
        }

        if (k1 < 0)
            return default;
        (i0, j0, k0) = (Math.Max(0, i0 - margin), Math.Max(0, j0 - margin), Math.Max(0, k0 - margin));
        (i1, j1, k1) = (Math.Min(region.Columns - 1, i1 + margin), Math.Min(region.Rows - 1, j1 + margin), Math.Min(region.Slices - 1, k1 + margin));
        return new(i0, j0, k0, i1 - i0 + 1, j1 - j0 + 1, k1 - k0 + 1);
    }
}
