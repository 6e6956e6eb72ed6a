using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Volumes;

/// <summary>
/// Which samples belong to a structure: one bit each, with an empty border of one sample on every side, and the HU
/// window whose levels say exactly where its boundary lies between samples.
/// </summary>
/// <remarks>
/// What a step changes are the bits; window and levels stay those of the threshold that began the region, so that wherever
/// its boundary still is a crossing of the level, grey values place it. <see cref="Like"/> makes a region of the same kind.
/// Layout: (rows + 2) × (slices + 2) bit rows of <see cref="WordsPerRow"/> 64-bit words; sample i is bit i + 1, so
/// bits 0 and columns + 1, and the rows and slices numbered -1 and rows (slices), are always 0. Memory: about
/// 1/8 byte a sample.
/// </remarks>
public sealed unsafe class Region : IDisposable
{
    private readonly NativeBuffer<ulong> _bits;

    /// <param name="levels">Lower levels that differ from place to place; null where the window's own holds everywhere.</param>
    public Region(int columns, int rows, int slices, HuWindow window, LevelField? levels = null)
    {
        if (levels is not null && (levels.Columns != columns || levels.Rows != rows || levels.Slices != slices))
            throw new ArgumentException("Levels and region differ in size.", nameof(levels));
        Levels = levels;
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

    /// <summary>Local lower levels; where null, <see cref="HuWindow.LowerHu"/> holds everywhere.</summary>
    public LevelField? Levels { get; }

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

    /// <summary>The level that samples of the structure reach or exceed here.</summary>
    public short LowerHu(int column, int row, int slice) => Levels is null ? Window.LowerHu : Levels[column, row, slice];

    /// <summary>Number of samples inside.</summary>
    public long CountSamples()
    {
        long count = 0;
        for (long w = 0; w < _bits.Length; w++)
            count += System.Numerics.BitOperations.PopCount(_bits.Pointer[w]);
        return count;
    }

    public bool IsEmpty
    {
        get
        {
            for (long w = 0; w < _bits.Length; w++)
                if (_bits.Pointer[w] != 0)
                    return false;
            return true;
        }
    }

    /// <summary>An empty region of the same size, window and levels.</summary>
    public Region Like() => new(Columns, Rows, Slices, Window, Levels);

    public Region Copy()
    {
        var copy = Like();
        Buffer.MemoryCopy(_bits.Pointer, copy._bits.Pointer, copy._bits.Bytes, _bits.Bytes);
        return copy;
    }

    public void Dispose() => _bits.Dispose();
}
