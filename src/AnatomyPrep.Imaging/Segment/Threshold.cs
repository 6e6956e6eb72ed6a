using System.Numerics;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Samples whose HU lie in a window.</summary>
/// <remarks>
/// Shapes: int16 HU [slices][rows][columns] → one bit a sample. Cost: one pass over the volume, 64 samples a step;
/// memory: the region (1/8 byte a sample). Same bits on any thread count and vector width: comparisons are exact.
/// </remarks>
public static unsafe class Threshold
{
    /// <exception cref="OperationCanceledException">Asked once per slice.</exception>
    public static Region Apply(Volume volume, HuWindow window, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfGreaterThan(window.LowerHu, window.UpperHu);
        var region = new Region(volume.Columns, volume.Rows, volume.Slices, window);
        try
        {
            Partition.For(run, volume.Slices, slice =>
            {
                var samples = volume.Samples + ((long)slice * volume.Rows * volume.Columns);
                for (var row = 0; row < volume.Rows; row++)
                    PackRow(samples + ((long)row * volume.Columns), volume.Columns, window, region.RowPointer(row, slice));
            });
        }
        catch
        {
            region.Dispose();
            throw;
        }

        return region;
    }

    /// <summary>Bit i + 1 of <paramref name="bits"/> says whether sample i is in the window.</summary>
    internal static void PackRow(short* samples, int columns, HuWindow window, ulong* bits)
    {
        // Word w holds samples 64w - 1 … 64w + 62; words that lie wholly inside the row take the vector path.
        var words = (columns + 2 + 63) / 64;
        for (var w = 0; w < words; w++)
        {
            var first = (64 * w) - 1;
            bits[w] = first >= 0 && first + 64 <= columns
                ? PackWord(samples + first, window)
                : PackPartialWord(samples, columns, first, window);
        }
    }

    // 64 samples as two vectors of 32 lanes; equals PackPartialWord sample by sample.
    private static ulong PackWord(short* at, HuWindow window)
    {
        var lower = Vector512.Create(window.LowerHu);
        var upper = Vector512.Create(window.UpperHu);
        var low = Vector512.Load(at);
        var high = Vector512.Load(at + 32);
        var inLow = Vector512.GreaterThanOrEqual(low, lower) & Vector512.LessThanOrEqual(low, upper);
        var inHigh = Vector512.GreaterThanOrEqual(high, lower) & Vector512.LessThanOrEqual(high, upper);
        return inLow.ExtractMostSignificantBits() | (inHigh.ExtractMostSignificantBits() << 32);
    }

    private static ulong PackPartialWord(short* samples, int columns, int first, HuWindow window)
    {
        ulong word = 0;
        for (var b = Math.Max(0, -first); b < 64 && first + b < columns; b++)
            if (window.Contains(samples[first + b]))
                word |= 1UL << b;
        return word;
    }
}
