using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>How far every sample of a region lies from the nearest sample outside it, in mm; 0 outside.</summary>
/// <remarks>
/// Method: Felzenszwalb, Huttenlocher, "Distance Transforms of Sampled Functions", Theory of Computing 8, 2012 (from memory): squared
///   distances along columns, then rows, then slices, each the lower envelope of parabolas, with the true, also uneven,
///   positions as abscissae: exact up to float32. Where slices slip sideways (gantry tilt) the directions do not part; then the
///   third pass looks at neighbouring slices one by one, nearest first, until none can be nearer, and reads the in-slice distance
///   between samples by linear interpolation: off by at most half a pixel's diagonal.
/// Border: beyond the images nothing is known, so it does not count as outside.
/// Shapes: the smallest block that holds the region, one sample wider where the images go on. Cost: O(samples) straight, times
///   the slices within the distance under tilt. Memory: 4 bytes a sample of the block. Same bytes on any thread count.
/// </remarks>
public sealed unsafe class DistanceMap : IDisposable
{
    // A slip below this share of a pixel is rounding of positions.
    private const double StraightWithin = 1e-3;

    private readonly NativeBuffer<float> _mm;

    private DistanceMap(SampleBox box)
    {
        Box = box;
        _mm = new NativeBuffer<float>((long)box.Columns * box.Rows * box.Slices);
    }

    /// <summary>The block of samples that is covered; empty for an empty region.</summary>
    public SampleBox Box { get; }

    public float LargestMm { get; private set; }

    /// <summary>Distances of the block, column fastest.</summary>
    public float* Values => _mm.Pointer;

    /// <summary>Distance at a sample of the volume; 0 beyond the block.</summary>
    public float this[int column, int row, int slice]
    {
        get
        {
            int i = column - Box.FirstColumn, j = row - Box.FirstRow, k = slice - Box.FirstSlice;
            return (uint)i < (uint)Box.Columns && (uint)j < (uint)Box.Rows && (uint)k < (uint)Box.Slices ? Row(j, k)[i] : 0;
        }
    }

    /// <exception cref="Core.Findings.BadInputException">The block does not fit the memory limit.</exception>
    /// <exception cref="OperationCanceledException">Asked once per slice.</exception>
    public static DistanceMap Inside(Region region, IndexToPatient map, RunContext run)
    {
        var box = RegionMeasures.Bounds(region, 1);
        run.Memory.Require("distance", 4L * box.Columns * box.Rows * box.Slices, "Crop the images to the structure, or raise the memory limit.");
        var distance = new DistanceMap(box);
        try
        {
            distance.AlongColumns(region, map, run);
            distance.AlongRows(map, run);
            if (IsStraight(map))
                distance.AlongSlices(map, run);
            else
                distance.AcrossSlippedSlices(map, run);
            distance.ToMm(run);
            return distance;
        }
        catch
        {
            distance.Dispose();
            throw;
        }
    }

    public void Dispose() => _mm.Dispose();

    private static bool IsStraight(IndexToPatient map)
    {
        var n = map.Normal;
        for (var k = 0; k < map.Slices; k++)
        {
            var run = map.SliceOriginsMm[k] - map.SliceOriginsMm[0];
            if ((run - (n * Vec3.Dot(n, run))).Length > StraightWithin * Math.Min(map.ColumnStepMm.Length, map.RowStepMm.Length))
                return false;
        }

        return true;
    }

    private float* Row(int j, int k) => _mm.Pointer + ((((long)k * Box.Rows) + j) * Box.Columns);

    // Squared distance along the row to the nearest outside sample; infinite where the row has none.
    private void AlongColumns(Region region, IndexToPatient map, RunContext run)
    {
        var stepMm = (float)map.ColumnStepMm.Length;
        Partition.For(run, Box.Slices, k =>
        {
            for (var j = 0; j < Box.Rows; j++)
            {
                var to = Row(j, k);
                var bits = region.RowPointer(Box.FirstRow + j, Box.FirstSlice + k);
                var since = float.PositiveInfinity;
                for (var i = 0; i < Box.Columns; i++)
                {
                    var bit = Box.FirstColumn + i + 1;
                    since = ((bits[bit >> 6] >> (bit & 63)) & 1) == 0 ? 0 : since + stepMm;
                    to[i] = since;
                }

                since = float.PositiveInfinity;
                for (var i = Box.Columns - 1; i >= 0; i--)
                {
                    since = to[i] == 0 ? 0 : since + stepMm;
                    var nearest = Math.Min(to[i], since);
                    to[i] = nearest * nearest;
                }
            }
        });
    }

    private void AlongRows(IndexToPatient map, RunContext run)
    {
        var at = new double[Box.Rows];
        for (var j = 0; j < at.Length; j++)
            at[j] = j * map.RowStepMm.Length;
        Partition.For(run, Box.Slices, k =>
        {
            var envelope = new Envelope(at);
            for (var i = 0; i < Box.Columns; i++)
                envelope.Apply(Row(0, k) + i, Box.Columns);
        });
    }

    private void AlongSlices(IndexToPatient map, RunContext run)
    {
        var at = new double[Box.Slices];
        for (var k = 0; k < at.Length; k++)
            at[k] = Vec3.Dot(map.Normal, map.SliceOriginsMm[Box.FirstSlice + k]);
        Partition.For(run, Box.Rows, j =>
        {
            var envelope = new Envelope(at);
            for (var i = 0; i < Box.Columns; i++)
                envelope.Apply(Row(j, 0) + i, (long)Box.Rows * Box.Columns);
        });
    }

    private void AcrossSlippedSlices(IndexToPatient map, RunContext run)
    {
        using var inSlice = new NativeBuffer<float>(_mm.Length);
        Buffer.MemoryCopy(_mm.Pointer, inSlice.Pointer, inSlice.Bytes, _mm.Bytes);
        for (long s = 0; s < inSlice.Length; s++)
            inSlice.Pointer[s] = MathF.Sqrt(inSlice.Pointer[s]);
        Vec3 n = map.Normal, c = map.ColumnStepMm, r = map.RowStepMm;
        Partition.For(run, Box.Slices, k =>
        {
            var order = Enumerable.Range(0, Box.Slices).Where(o => o != k)
                .Select(o => (Slice: o, Between: map.SliceOriginsMm[Box.FirstSlice + k] - map.SliceOriginsMm[Box.FirstSlice + o]))
                .Select(o => (o.Slice, HeightMm: Math.Abs(Vec3.Dot(n, o.Between)), Columns: Vec3.Dot(o.Between, c) / c.LengthSquared, Rows: Vec3.Dot(o.Between, r) / r.LengthSquared))
                .OrderBy(o => o.HeightMm).ThenBy(o => o.Slice).ToArray();
            for (var j = 0; j < Box.Rows; j++)
            {
                var to = Row(j, k);
                for (var i = 0; i < Box.Columns; i++)
                {
                    double best = to[i];
                    foreach (var o in order)
                    {
                        if (o.HeightMm * o.HeightMm >= best)
                            break;
                        var flat = Between(inSlice.Pointer + ((long)o.Slice * Box.Rows * Box.Columns), i + o.Columns, j + o.Rows, c.Length, r.Length);
                        best = Math.Min(best, (flat * flat) + (o.HeightMm * o.HeightMm));
                    }

                    to[i] = (float)best;
                }
            }
        });
    }

    // Linear between four samples of a slice. From a place beyond the block, whose samples are a convex set: over its nearest place, at a right angle.
    private double Between(float* slice, double i, double j, double columnMm, double rowMm)
    {
        double x = Math.Clamp(i, 0, Box.Columns - 1), y = Math.Clamp(j, 0, Box.Rows - 1);
        var within = BetweenSamples(slice, x, y);
        double di = (i - x) * columnMm, dj = (j - y) * rowMm;
        return di == 0 && dj == 0 ? within : Math.Sqrt((within * within) + (di * di) + (dj * dj));
    }

    private double BetweenSamples(float* slice, double i, double j)
    {
        int i0 = (int)i, j0 = (int)j, i1 = Math.Min(i0 + 1, Box.Columns - 1), j1 = Math.Min(j0 + 1, Box.Rows - 1);
        double x = i - i0, y = j - j0;
        float* near = slice + ((long)j0 * Box.Columns), far = slice + ((long)j1 * Box.Columns);
        // A row without any outside sample is infinitely far, and infinity times zero must not become a number.
        if (float.IsInfinity(near[i0]) || float.IsInfinity(near[i1]) || float.IsInfinity(far[i0]) || float.IsInfinity(far[i1]))
            return double.PositiveInfinity;
        var a = near[i0] + ((near[i1] - near[i0]) * x);
        var b = far[i0] + ((far[i1] - far[i0]) * x);
        return a + ((b - a) * y);
    }

    private void ToMm(RunContext run)
    {
        var largest = new float[Box.Slices];
        Partition.For(run, Box.Slices, k =>
        {
            for (var j = 0; j < Box.Rows; j++)
            {
                var row = Row(j, k);
                for (var i = 0; i < Box.Columns; i++)
                {
                    row[i] = MathF.Sqrt(row[i]);
                    // A region that fills the images has no outside at all.
                    if (float.IsFinite(row[i]))
                        largest[k] = Math.Max(largest[k], row[i]);
                }
            }
        });
        LargestMm = largest.DefaultIfEmpty().Max();
    }

    /// <summary>Lower envelope of parabolas over fixed abscissae; scratch for one thread.</summary>
    private readonly struct Envelope(double[] at)
    {
        private readonly int[] _apex = new int[at.Length];
        private readonly double[] _from = new double[at.Length + 1];
        private readonly double[] _value = new double[at.Length];

        public void Apply(float* values, long stride)
        {
            var n = at.Length;
            var last = -1;
            for (var q = 0; q < n; q++)
            {
                double height = values[q * stride];
                _value[q] = height;
                if (double.IsPositiveInfinity(height))
                    continue;
                var meet = double.NegativeInfinity;
                while (last >= 0 && (meet = Meet(_apex[last], q)) <= _from[last])
                    last--;
                _from[++last] = last == 0 ? double.NegativeInfinity : meet;
                _apex[last] = q;
            }

            if (last < 0)
                return;
            for (int q = 0, p = 0; q < n; q++)
            {
                while (p < last && _from[p + 1] <= at[q])
                    p++;
                var d = at[q] - at[_apex[p]];
                values[q * stride] = (float)((d * d) + _value[_apex[p]]);
            }
        }

        // Where the later parabola goes below the earlier one.
        private double Meet(int p, int q) => (_value[q] + (at[q] * at[q]) - _value[p] - (at[p] * at[p])) / (2 * (at[q] - at[p]));
    }
}
