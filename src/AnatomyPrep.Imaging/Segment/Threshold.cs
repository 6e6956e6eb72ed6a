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
        // Counted from the lower end without a sign, a sample in the window is at most the window's width: one comparison instead of two.
        var lower = Vector512.Create(window.LowerHu);
        var width = Vector512.Create((ushort)(window.UpperHu - window.LowerHu));
        // Samples are compared 64 at a time from the first on and moved up by the one bit of the empty border.
        ulong carried = 0;
        var whole = columns / 64;
        for (var w = 0; w < whole; w++)
        {
            var at = samples + (64 * w);
            var low = Vector512.LessThanOrEqual((Vector512.Load(at) - lower).AsUInt16(), width).ExtractMostSignificantBits();
            var high = Vector512.LessThanOrEqual((Vector512.Load(at + 32) - lower).AsUInt16(), width).ExtractMostSignificantBits();
            var word = low | (high << 32);
            bits[w] = (word << 1) | carried;
            carried = word >> 63;
        }

        ulong last = 0;
        for (var b = 64 * whole; b < columns; b++)
            if (window.Contains(samples[b]))
                last |= 1UL << (b & 63);
        bits[whole] = (last << 1) | carried;
        // The border's bit has a word of its own where the samples fill theirs.
        if (columns % 64 == 63)
            bits[whole + 1] = 0;
    }
}
