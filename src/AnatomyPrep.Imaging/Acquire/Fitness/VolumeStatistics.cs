using System.Buffers;
using System.Numerics;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Acquire.Fitness;

/// <summary>What one walk over a volume counts; everything that fitness asks of samples comes from it.</summary>
/// <remarks>
/// Slices are cut into blocks of about 6 mm; a block is known by the mean and the standard deviation (SD) of its samples. Blocks
/// of the mean of soft tissue and of air tell the noise, homogeneous blocks of the mean of enhanced vessels tell contrast.
/// Differences of neighbouring slices are taken on every other row. Counts are sums in slice order: the same on
/// any number of threads. Cost: one read of every sample and a half; memory 30 KB a slice.
/// </remarks>
internal sealed class VolumeStatistics
{
    /// <summary>Smaller pictures say nothing about noise or streaks.</summary>
    public const int SmallestSide = 64;
    public const short MetalHu = 3000;
    public const double BinHu = 0.5;
    private const int Bins = 400;
    private const double BlockMm = 6;
    private const short TissueHu = -300;
    private const short BodyHu = -500;

    private readonly Slice[] _slices;

    private VolumeStatistics(Slice[] slices) => _slices = slices;

    public static VolumeStatistics Count(Volume volume, RunContext run)
    {
        var slices = new Slice[volume.Slices];
        var side = Math.Clamp((int)Math.Round(BlockMm / Math.Sqrt(volume.Map.ColumnStepMm.Length * volume.Map.RowStepMm.Length)), 4, 48);
        var done = 0;
        Partition.For(run, slices.Length, k =>
        {
            var slice = new Slice();
            CountSamples(volume, k, slice);
            CountBlocks(volume, k, side, slice);
            if (k + 1 < slices.Length)
                slice.DifferenceHu = Difference(volume.Slice(k), volume.Slice(k + 1), volume.Columns);
            slices[k] = slice;
            run.Report("acquire", "judging fitness", Interlocked.Increment(ref done) / (double)slices.Length);
        });
        return new(slices);
    }

    /// <summary>Number of blocks by SD, in bins of <see cref="BinHu"/>.</summary>
    public long[] SoftBlocks => Sum(s => s.Soft);

    public long[] AirBlocks => Sum(s => s.Air);

    /// <summary>With the mean of vessels under contrast, or of spongy bone, and within the body.</summary>
    public long[] BrightBlocks => Sum(s => s.Bright);

    /// <summary>Samples at or above <see cref="MetalHu"/> in each slice.</summary>
    public IReadOnlyList<int> Metal => [.. _slices.Select(s => s.Metal)];

    public long AirSamples => _slices.Sum(s => (long)s.AirSamples);

    public int DifferentValues
    {
        get
        {
            var seen = new ulong[1024];
            foreach (var slice in _slices)
                for (var w = 0; w < seen.Length; w++)
                    seen[w] |= slice.Seen[w];
            return seen.Sum(BitOperations.PopCount);
        }
    }

    /// <summary>Share of the samples on the border of the pictures that are tissue.</summary>
    public double BorderTissueShare => _slices.Sum(s => (long)s.BorderTissue) / (double)_slices.Sum(s => (long)s.Border);

    /// <summary>Mean absolute difference of each slice to the next, where either is body; 0 where there is none.</summary>
    public IReadOnlyList<double> DifferencesHu => [.. _slices.SkipLast(1).Select(s => s.DifferenceHu)];

    /// <summary>Blocks of soft tissue by SD over the slices that are asked for.</summary>
    public long[] SoftBlocksOf(Func<int, bool> slice)
    {
        var sum = new long[Bins];
        for (var k = 0; k < _slices.Length; k++)
            if (slice(k))
                for (var b = 0; b < Bins; b++)
                    sum[b] += _slices[k].Soft[b];
        return sum;
    }

    /// <summary>The SD most blocks have: the peak of the histogram smoothed over five bins; null with fewer than 100 blocks.</summary>
    public static double? PeakHu(long[] blocks)
    {
        if (blocks.Sum() < 100)
            return null;
        var (best, at) = (-1L, 0);
        for (var b = 0; b < Bins; b++)
        {
            var smooth = 0L;
            for (var n = Math.Max(0, b - 2); n <= Math.Min(Bins - 1, b + 2); n++)
                smooth += blocks[n];
            if (smooth > best)
                (best, at) = (smooth, b);
        }

        return (at + 0.5) * BinHu;
    }

    /// <summary>The SD half of the blocks stay under; null with fewer than 100 blocks.</summary>
    public static double? MedianHu(long[] blocks)
    {
        var half = blocks.Sum() / 2;
        if (half < 50)
            return null;
        var b = 0;
        for (var below = blocks[0]; below <= half; below += blocks[++b])
        {
        }

        return (b + 0.5) * BinHu;
    }

    public static long CountUpTo(long[] blocks, double sdHu)
    {
        var count = 0L;
        for (var b = 0; b < Bins && (b + 0.5) * BinHu <= sdHu; b++)
            count += blocks[b];
        return count;
    }

    private static void CountSamples(Volume volume, int k, Slice slice)
    {
        var samples = volume.Slice(k);
        slice.Metal = CountFrom(samples, MetalHu, short.MaxValue);
        slice.AirSamples = CountFrom(samples, -1100, -900);
        MarkSeen(samples, slice.Seen);
        for (var j = 0; j < volume.Rows; j++)
        {
            var row = volume.Row(j, k);
            if (j == 0 || j == volume.Rows - 1)
            {
                slice.Border += row.Length;
                foreach (var hu in row)
                    slice.BorderTissue += hu > TissueHu ? 1 : 0;
            }
            else
            {
                slice.Border += 2;
                slice.BorderTissue += (row[0] > TissueHu ? 1 : 0) + (row[^1] > TissueHu ? 1 : 0);
            }
        }
    }

    // Counted from the lower end without a sign, a value between the two is at most their distance.
    private static int CountFrom(ReadOnlySpan<short> samples, short lower, short upper)
    {
        var (count, i) = (0, 0);
        var (from, width) = (Vector512.Create(lower), Vector512.Create((ushort)(upper - lower)));
        for (; i <= samples.Length - Vector512<short>.Count; i += Vector512<short>.Count)
            count += BitOperations.PopCount(Vector512.LessThanOrEqual((Vector512.Create(samples[i..]) - from).AsUInt16(), width).ExtractMostSignificantBits());
        for (; i < samples.Length; i++)
            count += samples[i] >= lower && samples[i] <= upper ? 1 : 0;
        return count;
    }

    // A byte for every value first: neighbouring samples are alike, and setting bits of one word again and again would wait for itself.
    private static void MarkSeen(ReadOnlySpan<short> samples, ulong[] seen)
    {
        var bytes = ArrayPool<byte>.Shared.Rent(1 << 16);
        Array.Clear(bytes);
        foreach (var hu in samples)
            bytes[(ushort)hu] = 0xFF;
        for (var w = 0; w < seen.Length; w++)
            seen[w] = Vector512.Create<byte>(bytes.AsSpan(64 * w, 64)).ExtractMostSignificantBits();
        ArrayPool<byte>.Shared.Return(bytes);
    }

    private static void CountBlocks(Volume volume, int k, int side, Slice slice)
    {
        int across = volume.Columns / side, down = volume.Rows / side, count = side * side;
        var means = new double[across * down];
        var scatters = new double[across * down];
        // Of every column of the picture, over the rows of a block.
        var sums = new int[volume.Columns];
        var squares = new long[volume.Columns];
        for (var block = 0; block < down; block++)
        {
            Array.Clear(sums);
            Array.Clear(squares);
            for (var j = block * side; j < (block + 1) * side; j++)
                AddRow(volume.Row(j, k), sums, squares);
            for (var b = 0; b < across; b++)
            {
                var (sum, square) = (0L, 0L);
                for (var i = b * side; i < (b + 1) * side; i++)
                {
                    sum += sums[i];
                    square += squares[i];
                }

                var mean = sum / (double)count;
                means[(block * across) + b] = mean;
                // With the correction for the mean being taken from the same samples.
                scatters[(block * across) + b] = Math.Sqrt(Math.Max(0, (square / (double)count) - (mean * mean)) * count / (count - 1));
            }
        }

        for (var b = 0; b < means.Length; b++)
        {
            var bin = Math.Min(Bins - 1, (int)(scatters[b] / BinHu));
            if (means[b] is >= 0 and <= 100)
                slice.Soft[bin]++;
            else if (means[b] is >= -1100 and <= -900 && scatters[b] > 0)
                slice.Air[bin]++;
            else if (means[b] is >= 150 and <= 500 && IsWithinBody(means, across, b))
                slice.Bright[bin]++;
        }
    }

    private static void AddRow(ReadOnlySpan<short> row, int[] sums, long[] squares)
    {
        var i = 0;
        for (; i <= row.Length - Vector256<int>.Count; i += Vector256<int>.Count)
        {
            var hu = Wide(Vector128.Create(row[i..]));
            (Vector256.Create(sums.AsSpan(i)) + hu).CopyTo(sums, i);
            var (near, far) = Vector256.Widen(hu * hu);
            (Vector256.Create(squares.AsSpan(i)) + near).CopyTo(squares, i);
            (Vector256.Create(squares.AsSpan(i + 4)) + far).CopyTo(squares, i + 4);
        }

        for (; i < row.Length; i++)
        {
            sums[i] += row[i];
            squares[i] += row[i] * row[i];
        }
    }

    /// <summary>A quarter of the blocks up to two away are fat or soft tissue: those of a table are not.</summary>
    private static bool IsWithinBody(double[] means, int across, int block)
    {
        int column = block % across, row = block / across, down = means.Length / across, soft = 0;
        for (var r = Math.Max(0, row - 2); r <= Math.Min(down - 1, row + 2); r++)
            for (var c = Math.Max(0, column - 2); c <= Math.Min(across - 1, column + 2); c++)
                soft += means[(r * across) + c] is >= -150 and <= 120 ? 1 : 0;
        return soft >= 6;
    }

    private static double Difference(ReadOnlySpan<short> a, ReadOnlySpan<short> b, int columns)
    {
        long sum = 0, count = 0;
        for (var row = 0; row < a.Length; row += 2 * columns)
        {
            var (rowSum, rowCount) = DifferenceOfRow(a.Slice(row, columns), b.Slice(row, columns));
            sum += rowSum;
            count += rowCount;
        }

        return count == 0 ? 0 : sum / (double)count;
    }

    private static (long Sum, int Count) DifferenceOfRow(ReadOnlySpan<short> x, ReadOnlySpan<short> y)
    {
        var (sum, count, i) = (0L, 0, 0);
        var inLanes = Vector256<int>.Zero;
        for (; i <= x.Length - Vector128<short>.Count; i += Vector128<short>.Count)
        {
            var (near, far) = (Vector128.Create(x[i..]), Vector128.Create(y[i..]));
            var body = Vector128.GreaterThan(Vector128.Max(near, far), Vector128.Create(BodyHu));
            count += BitOperations.PopCount(body.ExtractMostSignificantBits());
            // A lane takes 65,535 at most, of a row of 16,384 samples 134 million.
            inLanes += Vector256.Abs(Wide(near & body) - Wide(far & body));
        }

        for (; i < x.Length; i++)
        {
            if (Math.Max(x[i], y[i]) <= BodyHu)
                continue;
            sum += Math.Abs(x[i] - y[i]);
            count++;
        }

        return (sum + Vector256.Sum(Vector256.WidenLower(inLanes)) + Vector256.Sum(Vector256.WidenUpper(inLanes)), count);
    }

    private static Vector256<int> Wide(Vector128<short> values)
    {
        var (low, high) = Vector128.Widen(values);
        return Vector256.Create(low, high);
    }

    private long[] Sum(Func<Slice, int[]> of)
    {
        var sum = new long[Bins];
        foreach (var slice in _slices)
            for (var b = 0; b < Bins; b++)
                sum[b] += of(slice)[b];
        return sum;
    }

    private sealed class Slice
    {
        public int[] Soft { get; } = new int[Bins];

        public int[] Air { get; } = new int[Bins];

        public int[] Bright { get; } = new int[Bins];

        public ulong[] Seen { get; } = new ulong[1024];

        public int Metal { get; set; }

        public int AirSamples { get; set; }

        public int Border { get; set; }

        public int BorderTissue { get; set; }

        public double DifferenceHu { get; set; }
    }
}
