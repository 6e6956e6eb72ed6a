using System.Numerics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

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
}
