using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Imaging.Volumes;

/// <summary>A block of a volume as a volume of its own, every sample where it was in the patient.</summary>
/// <remarks>
/// Samples are copied, never resampled. The new map has the old steps and the old slice origins moved to the first kept
/// column and row, so a sample's position agrees to the last bits of a double; tilt and uneven slices come along.
/// Peak memory: the input and the block. Cost: one copy; for a box in mm one look at every row.
/// </remarks>
public static class Crop
{
    private const string Step = "crop";

    // A face of the box that is meant to lie on a sample keeps it, whatever the last bits of the two say.
    private const double SlackMm = 1e-6;

    /// <summary>The smallest block that holds every sample whose position lies in <paramref name="boxMm"/> (LPS) or within 1e-6 mm of it.</summary>
    /// <exception cref="BadInputException">The box holds no sample, or only one slice of several.</exception>
    public static VolumeResult InMm(Volume source, Box3 boxMm, RunContext run) => InSamples(source, Holding(source, boxMm), run);

    /// <exception cref="BadInputException">The block reaches outside the volume, is empty, or holds one slice of several.</exception>
    public static unsafe VolumeResult InSamples(Volume source, SampleBox box, RunContext run)
    {
        Require(source, box);
        var count = (long)box.Columns * box.Rows * box.Slices;
        run.Memory.Require(Step, count * sizeof(short), "Crop to a smaller box, or raise the memory limit.");
        var samples = SampleMemory.For(count);
        try
        {
            Partition.For(run, box.Slices, k =>
            {
                for (var row = 0; row < box.Rows; row++)
                    source.Row(box.FirstRow + row, box.FirstSlice + k).Slice(box.FirstColumn, box.Columns)
                        .CopyTo(samples.Span((((long)k * box.Rows) + row) * box.Columns, box.Columns));
            });
            return new(new Volume(box.Columns, box.Rows, samples, Moved(source.Map, box)), Effect(source, box, count), []);
        }
        catch
        {
            samples.Dispose();
            throw;
        }
    }

    /// <summary>The smallest block that holds every sample of the volume whose position lies in the box.</summary>
    /// <remarks>Row by row, because under tilt, rotation or uneven spacing a box in the patient covers other columns in every row.</remarks>
    private static SampleBox Holding(Volume source, Box3 boxMm)
    {
        var wanted = boxMm.Grown(SlackMm);
        int c0 = int.MaxValue, c1 = -1, r0 = int.MaxValue, r1 = -1, s0 = int.MaxValue, s1 = -1;
        for (var k = 0; k < source.Slices; k++)
        {
            for (var row = 0; row < source.Rows; row++)
            {
                var (first, last) = ColumnsWithin(source, wanted, row, k);
                if (last < first)
                    continue;
                (c0, c1) = (Math.Min(c0, first), Math.Max(c1, last));
                (r0, r1) = (Math.Min(r0, row), Math.Max(r1, row));
                (s0, s1) = (Math.Min(s0, k), k);
            }
        }

        return s1 < 0
            ? throw new BadInputException(Step, "boxMm", Text(boxMm), $"The volume has no sample there: it covers {Text(Covered(source))} mm.")
            : new(c0, r0, s0, c1 - c0 + 1, r1 - r0 + 1, s1 - s0 + 1);
    }

    /// <summary>First and last column of a row that lie in the box; last below first where none does.</summary>
    private static (int First, int Last) ColumnsWithin(Volume source, Box3 box, int row, int slice)
    {
        var start = source.Map.Map(0, row, slice);
        var step = source.Map.ColumnStepMm;
        double first = 0, last = source.Columns - 1;
        for (var axis = 0; axis < 3; axis++)
        {
            double low = box.Min[axis] - start[axis], high = box.Max[axis] - start[axis];
            if (step[axis] == 0)
            {
                if (!(low <= 0 && high >= 0))
                    return (0, -1);
                continue;
            }

            var (from, to) = step[axis] > 0 ? (low / step[axis], high / step[axis]) : (high / step[axis], low / step[axis]);
            first = Math.Max(first, from);
            last = Math.Min(last, to);
        }

        return first <= last ? ((int)Math.Ceiling(first), (int)Math.Floor(last)) : (0, -1);
    }

    private static void Require(Volume source, SampleBox box)
    {
        RequireRange("columns", box.FirstColumn, box.Columns, source.Columns);
        RequireRange("rows", box.FirstRow, box.Rows, source.Rows);
        RequireRange("slices", box.FirstSlice, box.Slices, source.Slices);
        if (box.Slices == 1 && source.Slices > 1)
            throw new BadInputException(Step, "slices", "1", "A single slice has no thickness to build a surface from: give a box of at least two slices.");
    }

    private static void RequireRange(string what, int first, int count, int available)
    {
        if (first < 0 || count < 1 || (long)first + count > available)
            throw new BadInputException(
                Step, what, FormattableString.Invariant($"{count} from {first}"), FormattableString.Invariant($"The volume has {what} 0 to {available - 1}."));
    }

    private static IndexToPatient Moved(IndexToPatient map, SampleBox box)
    {
        var origins = new Vec3[box.Slices];
        for (var k = 0; k < origins.Length; k++)
            origins[k] = map.Map(box.FirstColumn, box.FirstRow, box.FirstSlice + k);
        return new(map.ColumnStepMm, map.RowStepMm, origins);
    }

    private static StepEffect Effect(Volume source, SampleBox box, long count) => new(Measures: new Dictionary<string, double>
    {
        ["firstColumn"] = box.FirstColumn,
        ["firstRow"] = box.FirstRow,
        ["firstSlice"] = box.FirstSlice,
        ["columns"] = box.Columns,
        ["rows"] = box.Rows,
        ["slices"] = box.Slices,
        ["keptShare"] = count / (double)source.Count,
    });

    private static Box3 Covered(Volume source)
    {
        var box = Box3.Empty;
        for (var k = 0; k < source.Slices; k++)
            for (var corner = 0; corner < 4; corner++)
                box = box.Including(source.Map.Map((corner & 1) * (source.Columns - 1), (corner >> 1) * (source.Rows - 1), k));
        return box;
    }

    private static string Text(Box3 box) => FormattableString.Invariant(
        $"x {box.Min.X:0.#} to {box.Max.X:0.#}, y {box.Min.Y:0.#} to {box.Max.Y:0.#}, z {box.Min.Z:0.#} to {box.Max.Z:0.#}");
}
