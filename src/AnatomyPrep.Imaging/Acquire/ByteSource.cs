using System.IO.Compression;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Bytes at an offset, never beyond the end: what the header walker reads from.</summary>
internal abstract class ByteSource
{
    /// <summary>Largest number of bytes that one <see cref="Read"/> may ask for.</summary>
    public const int LargestRead = 16 * 1024;

    public abstract long Length { get; }

    /// <summary>Exactly <paramref name="count"/> bytes, or an empty span when they do not all exist. Valid until the next call.</summary>
    public abstract ReadOnlySpan<byte> Read(long offset, int count);
}

/// <summary>A block of memory.</summary>
internal sealed class MemoryBytes(ReadOnlyMemory<byte> bytes) : ByteSource
{
    public override long Length => bytes.Length;

    public override ReadOnlySpan<byte> Read(long offset, int count) =>
        offset < 0 || count > bytes.Length - offset ? default : bytes.Span.Slice((int)offset, count);

    /// <summary>Undoes DEFLATE (RFC 1951), as the deflated transfer syntax asks for; stops at <paramref name="limitBytes"/>.</summary>
    /// <exception cref="InvalidDataException">The stream is broken, or larger than the limit.</exception>
    public static MemoryBytes Inflate(Stream deflated, long limitBytes)
    {
        using var inflater = new DeflateStream(deflated, CompressionMode.Decompress);
        using var all = new MemoryStream();
        var block = new byte[64 * 1024];
        for (int n; (n = inflater.Read(block)) > 0;)
        {
            if (all.Length + n > limitBytes)
                throw new InvalidDataException("larger than the limit");
            all.Write(block, 0, n);
        }

        return new MemoryBytes(all.GetBuffer().AsMemory(0, (int)all.Length));
    }
}

/// <summary>A file seen through a window of 32 KB, so that the header of a large file costs one small read.</summary>
internal sealed class FileBytes(SafeFileHandle file) : ByteSource
{
    private readonly byte[] _window = new byte[2 * LargestRead];
    private long _start;
    private int _filled;

    public override long Length { get; } = RandomAccess.GetLength(file);

    public override ReadOnlySpan<byte> Read(long offset, int count)
    {
        ArgumentOutOfRangeException.ThrowIfGreaterThan(count, LargestRead);
        if (offset < 0 || count > Length - offset)
            return default;
        if (offset < _start || offset + count > _start + _filled)
            Fill(offset);
        return offset + count <= _start + _filled ? _window.AsSpan((int)(offset - _start), count) : default;
    }

    private void Fill(long offset)
    {
        (_start, _filled) = (offset, 0);
        for (int n; _filled < _window.Length && (n = RandomAccess.Read(file, _window.AsSpan(_filled), offset + _filled)) > 0;)
            _filled += n;
    }
}
