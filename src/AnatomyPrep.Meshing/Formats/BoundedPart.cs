using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Bytes a package may still unpack to.</summary>
/// <remarks>
/// Deflate packs 1032 to 1 at most; model text about 6 to 1. More than <see cref="Ratio"/> to 1 is no model but a trap, and
/// so is more than <see cref="MostBytes"/>. The first <see cref="FreeBytes"/> are free, for small files with much repetition.
/// </remarks>
internal sealed class UnpackAllowance(long packedBytes)
{
    internal const int Ratio = 100;
    internal const long FreeBytes = 4L << 20;
    internal const long MostBytes = 32L << 30;

    internal long Left { get; private set; } = Math.Min(MostBytes, FreeBytes + (Ratio * packedBytes));

    /// <summary>False when more was taken than was left.</summary>
    internal bool TryTake(int bytes) => (Left -= bytes) >= 0;
}

/// <summary>A part of a package while it is unpacked: counts what comes out, and takes its checksum.</summary>
internal sealed class BoundedPart(ByteSource source, Stream inner, UnpackAllowance allowance) : Stream
{
    internal uint Crc { get; private set; }

    internal long Count { get; private set; }

    public override bool CanRead => true;

    public override bool CanSeek => false;

    public override bool CanWrite => false;

    public override long Length => throw new NotSupportedException();

    public override long Position
    {
        get => throw new NotSupportedException();
        set => throw new NotSupportedException();
    }

    /// <exception cref="BadInputException">More came out than a model would.</exception>
    public override int Read(Span<byte> buffer)
    {
        var read = inner.Read(buffer);
        Crc = Crc32.Append(Crc, buffer[..read]);
        Count += read;
        return allowance.TryTake(read) ? read : throw source.Bad(
            "package",
            FormattableString.Invariant($"more than {UnpackAllowance.Ratio} times its size when unpacked"),
            "A model does not pack so well: do not use this file.");
    }

    public override int Read(byte[] buffer, int offset, int count) => Read(buffer.AsSpan(offset, count));

    public override void Flush()
    {
    }

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

    public override void SetLength(long value) => throw new NotSupportedException();

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException();

    /// <summary>Unpacks the rest, so that count and checksum are those of the whole part.</summary>
    internal void Drain()
    {
        var buffer = new byte[4096];
        while (Read(buffer) > 0)
        {
        }
    }

    protected override void Dispose(bool disposing)
    {
        if (disposing)
            inner.Dispose();
        base.Dispose(disposing);
    }
}
