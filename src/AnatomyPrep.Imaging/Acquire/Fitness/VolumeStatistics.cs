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
            return seen.Sum(System.Numerics.BitOperations.PopCount);
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
        int metal = 0, air = 0;
        foreach (var hu in samples)
        {
            slice.Seen[(ushort)hu >> 6] |= 1UL << (hu & 63);
            metal += hu >= MetalHu ? 1 : 0;
            air += hu is >= -1100 and <= -900 ? 1 : 0;
        }

        (slice.Metal, slice.AirSamples) = (metal, air);
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

    private static void CountBlocks(Volume volume, int k, int side, Slice slice)
    {
        int across = volume.Columns / side, down = volume.Rows / side, count = side * side;
        var means = new double[across * down];
        var scatters = new double[across * down];
        var sums = new long[across];
        var squares = new long[across];
        for (var block = 0; block < down; block++)
        {
            Array.Clear(sums);
            Array.Clear(squares);
            for (var j = block * side; j < (block + 1) * side; j++)
                AddRow(volume.Row(j, k), side, sums, squares);
            for (var b = 0; b < across; b++)
            {
                var mean = sums[b] / (double)count;
                means[(block * across) + b] = mean;
                // With the correction for the mean being taken from the same samples.
                scatters[(block * across) + b] = Math.Sqrt(Math.Max(0, (squares[b] / (double)count) - (mean * mean)) * count / (count - 1));
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

    private static void AddRow(ReadOnlySpan<short> row, int side, long[] sums, long[] squares)
    {
        for (var b = 0; b < sums.Length; b++)
        {
            long sum = 0, square = 0;
            foreach (int hu in row.Slice(b * side, side))
            {
                sum += hu;
                square += hu * hu;
            }

            sums[b] += sum;
            squares[b] += square;
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
            var x = a.Slice(row, columns);
            var y = b.Slice(row, columns);
            for (var i = 0; i < x.Length; i++)
            {
                if (Math.Max(x[i], y[i]) <= BodyHu)
                    continue;
                sum += Math.Abs(x[i] - y[i]);
                count++;
            }
        }

        return count == 0 ? 0 : sum / (double)count;
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
