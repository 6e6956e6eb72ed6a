using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Volumes;

/// <summary>
/// CT values in HU, int16, [slices][rows][columns], with the one map from index to patient. Immutable once built;
/// the runner owns and disposes it, steps only borrow.
/// </summary>
public sealed unsafe class Volume : IDisposable
{
    private readonly IDisposable _owner;
    private readonly short* _samples;
    private bool _disposed;

    public Volume(int columns, int rows, NativeBuffer<short> samplesHu, IndexToPatient map)
        : this(columns, rows, samplesHu, samplesHu.Pointer, samplesHu.Length, map)
    {
    }

    /// <param name="owner">Keeps <paramref name="samplesHu"/> alive; disposed with the volume (a buffer or a mapped file).</param>
    /// <param name="samplesHu">columns × rows × slices values.</param>
    /// <param name="length">Number of values behind <paramref name="samplesHu"/>.</param>
    public Volume(int columns, int rows, IDisposable owner, short* samplesHu, long length, IndexToPatient map)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(columns, 1);
        ArgumentOutOfRangeException.ThrowIfLessThan(rows, 1);
        Columns = columns;
        Rows = rows;
        Map = map;
        if (length != Count)
            throw new ArgumentException($"{columns} x {rows} x {map.Slices} samples need {Count} values, not {length}.", nameof(length));
        _owner = owner;
        _samples = samplesHu;
    }

    public int Columns { get; }

    public int Rows { get; }

    public int Slices => Map.Slices;

    public long Count => (long)Columns * Rows * Slices;

    public IndexToPatient Map { get; }

    /// <summary>All samples, x fastest. Valid until the volume is disposed.</summary>
    public short* Samples
    {
        get
        {
            ObjectDisposedException.ThrowIf(_disposed, this);
            return _samples;
        }
    }

    public short this[int column, int row, int slice] => Row(row, slice)[column];

    public ReadOnlySpan<short> Row(int row, int slice)
    {
        if ((uint)row >= (uint)Rows || (uint)slice >= (uint)Slices)
            throw new ArgumentOutOfRangeException(nameof(row));
        return new(Samples + ((((long)slice * Rows) + row) * Columns), Columns);
    }

    public ReadOnlySpan<short> Slice(int slice)
    {
        if ((uint)slice >= (uint)Slices)
            throw new ArgumentOutOfRangeException(nameof(slice));
        return new(Samples + ((long)slice * Rows * Columns), checked(Rows * Columns));
    }

    public void Dispose()
    {
        if (_disposed)
            return;
        _disposed = true;
        _owner.Dispose();
    }
}
