using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>A file read once from its first byte to its last, hashed on the way, so that hash and content cannot disagree.</summary>
internal sealed class HashedFile : Stream
{
    private readonly FileStream _file;
    private readonly IncrementalHash _hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
    private readonly CancellationToken _cancellation;
    private long _read;

    /// <exception cref="BadInputException">Not a regular file with something in it.</exception>
    public HashedFile(string path, CancellationToken cancellation)
    {
        Name = Path.GetFileName(path);
        _cancellation = cancellation;
        // A pipe or device has no length and would be waited for.
        if (new FileInfo(path) is not { Exists: true, Length: > 0 })
            throw new BadInputException(Name, "file", "empty, or not a regular file", "Give the file that holds the volume.");
        _file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read, 1 << 16);
        Length = _file.Length;
    }

    public string Name { get; }

    public override long Length { get; }

    public override bool CanRead => true;

    public override bool CanSeek => false;

    public override bool CanWrite => false;

    public override long Position
    {
        get => _read;
        set => throw new NotSupportedException();
    }

    public override int Read(Span<byte> buffer)
    {
        _cancellation.ThrowIfCancellationRequested();
        var count = _file.Read(buffer);
        _hash.AppendData(buffer[..count]);
        _read += count;
        return count;
    }

    public override int Read(byte[] buffer, int offset, int count) => Read(buffer.AsSpan(offset, count));

    /// <summary>Reads what is left and gives the facts of the whole file.</summary>
    public SourceFile Finish()
    {
        var block = new byte[1 << 16];
        while (Read(block) > 0)
        {
        }

        return new(Name, _read, Convert.ToHexStringLower(_hash.GetHashAndReset()));
    }

    public override void Flush()
    {
    }

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

    public override void SetLength(long value) => throw new NotSupportedException();

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException();

    protected override void Dispose(bool disposing)
    {
        if (disposing)
        {
            _file.Dispose();
            _hash.Dispose();
        }

        base.Dispose(disposing);
    }
}
