using System.IO.MemoryMappedFiles;
using System.Runtime.InteropServices;
using System.Text.Json;

namespace AnatomyPrep.Service.Viewing;

/// <summary>A direction in which a volume is cut: what stays the same on the slice.</summary>
public enum SliceAxis
{
    /// <summary>One column: rows across, slices down.</summary>
    Column,

    /// <summary>One row: columns across, slices down.</summary>
    Row,

    /// <summary>One slice: columns across, rows down.</summary>
    Slice,
}

/// <summary>The HU of a source, unpacked and mapped from a file; slices of it in the three index directions.</summary>
/// <remarks>Cost of a slice: one copy; across columns one value from each row of the file, which reads all pages once. Memory: the slice; the file belongs to the kernel's cache.</remarks>
internal sealed unsafe class UnpackedVolume : IDisposable
{
    private const string Samples = "samples.bin";
    private const string HeaderFile = "volume.json";

    private readonly MemoryMappedFile _file;
    private readonly MemoryMappedViewAccessor _view;
    private readonly short* _samples;

    /// <exception cref="IOException">Missing, or not of the size that its header says.</exception>
    public UnpackedVolume(string folder)
    {
        Header = File.ReadAllBytes(Path.Combine(folder, HeaderFile));
        SamplesPath = Path.Combine(folder, Samples);
        var shape = JsonSerializer.Deserialize<Shape>(Header, JsonSerializerOptions.Web) ?? throw new IOException("empty header");
        (Columns, Rows, Slices) = (shape.Columns, shape.Rows, shape.Slices);
        if (new FileInfo(SamplesPath).Length != 2L * Columns * Rows * Slices)
            throw new IOException("The unpacked volume has not the size that its header says.");
        _file = MemoryMappedFile.CreateFromFile(SamplesPath, FileMode.Open, null, 0, MemoryMappedFileAccess.Read);
        _view = _file.CreateViewAccessor(0, 0, MemoryMappedFileAccess.Read);
        byte* start = null;
        _view.SafeMemoryMappedViewHandle.AcquirePointer(ref start);
        _samples = (short*)(start + _view.PointerOffset);
    }

    /// <summary>JSON, as the program wrote it.</summary>
    public byte[] Header { get; }

    public string SamplesPath { get; }

    public int Columns { get; }

    public int Rows { get; }

    public int Slices { get; }

    public int Count(SliceAxis axis) => axis switch { SliceAxis.Column => Columns, SliceAxis.Row => Rows, _ => Slices };

    /// <summary>One slice as int16, little-endian.</summary>
    public byte[] Slice(SliceAxis axis, int index)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(index);
        ArgumentOutOfRangeException.ThrowIfGreaterThanOrEqual(index, Count(axis));
        var (across, down) = axis switch { SliceAxis.Column => (Rows, Slices), SliceAxis.Row => (Columns, Slices), _ => (Columns, Rows) };
        var bytes = new byte[2 * across * down];
        var values = MemoryMarshal.Cast<byte, short>(bytes.AsSpan());
        long area = (long)Columns * Rows;
        switch (axis)
        {
            case SliceAxis.Slice:
                new ReadOnlySpan<short>(_samples + (index * area), across * down).CopyTo(values);
                break;
            case SliceAxis.Row:
                for (var k = 0; k < down; k++)
                    new ReadOnlySpan<short>(_samples + (k * area) + ((long)index * Columns), across).CopyTo(values[(k * across)..]);
                break;
            default:
                for (var k = 0; k < down; k++)
                {
                    var from = _samples + (k * area) + index;
                    for (var j = 0; j < across; j++)
                        values[(k * across) + j] = from[(long)j * Columns];
                }

                break;
        }

        // Nothing else keeps the file mapped while its pointer is read.
        GC.KeepAlive(this);
        return bytes;
    }

    public void Dispose()
    {
        _view.SafeMemoryMappedViewHandle.ReleasePointer();
        _view.Dispose();
        _file.Dispose();
    }

    private sealed record Shape(int Columns, int Rows, int Slices);
}
