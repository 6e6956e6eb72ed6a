using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Volumes;

/// <summary>
/// Which samples belong to a structure: one bit each, with an empty border of one sample on every side, and the HU
/// window whose levels say exactly where its boundary lies between samples.
/// </summary>
/// <remarks>
/// Layout: (rows + 2) × (slices + 2) bit rows of <see cref="WordsPerRow"/> 64-bit words; sample i is bit i + 1, so
/// bits 0 and columns + 1, and the rows and slices numbered -1 and rows (slices), are always 0. Memory: about
/// 1/8 byte a sample.
/// </remarks>
public sealed unsafe class Region : IDisposable
{
    private readonly NativeBuffer<ulong> _bits;

    public Region(int columns, int rows, int slices, HuWindow window)
    {
        Columns = columns;
        Rows = rows;
        Slices = slices;
        Window = window;
        WordsPerRow = (columns + 2 + 63) / 64;
        _bits = new NativeBuffer<ulong>((long)WordsPerRow * (rows + 2) * (slices + 2), zeroed: true);
    }

    public int Columns { get; }

    public int Rows { get; }

    public int Slices { get; }

    public HuWindow Window { get; }

    public int WordsPerRow { get; }

    public long Bytes => _bits.Bytes;

    public bool this[int column, int row, int slice] => ((RowPointer(row, slice)[(column + 1) >> 6] >> ((column + 1) & 63)) & 1) != 0;

    /// <summary>Bit row of row -1 … rows in slice -1 … slices.</summary>
    public Span<ulong> Row(int row, int slice)
    {
        if (row < -1 || row > Rows || slice < -1 || slice > Slices)
            throw new ArgumentOutOfRangeException(nameof(row));
        return new(RowPointer(row, slice), WordsPerRow);
    }

    /// <summary>As <see cref="Row"/>, unchecked, for inner loops.</summary>
    public ulong* RowPointer(int row, int slice) => _bits.Pointer + ((((long)(slice + 1) * (Rows + 2)) + row + 1) * WordsPerRow);

    public void Set(int column, int row, int slice, bool value)
    {
        if ((uint)column >= (uint)Columns || (uint)row >= (uint)Rows || (uint)slice >= (uint)Slices)
            throw new ArgumentOutOfRangeException(nameof(column));
        ref var word = ref RowPointer(row, slice)[(column + 1) >> 6];
        var bit = 1UL << ((column + 1) & 63);
        word = value ? word | bit : word & ~bit;
    }

    /// <summary>Number of samples inside.</summary>
    public long CountSamples()
    {
        long count = 0;
        for (long w = 0; w < _bits.Length; w++)
            count += System.Numerics.BitOperations.PopCount(_bits.Pointer[w]);
        return count;
    }

    public Region Copy()
    {
        var copy = new Region(Columns, Rows, Slices, Window);
        Buffer.MemoryCopy(_bits.Pointer, copy._bits.Pointer, copy._bits.Bytes, _bits.Bytes);
        return copy;
    }

    public void Dispose() => _bits.Dispose();
}
