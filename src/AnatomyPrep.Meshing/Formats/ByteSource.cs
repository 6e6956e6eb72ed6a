using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>The bytes of one input, read at any place by any thread: an open file, or an array.</summary>
internal sealed class ByteSource : IDisposable
{
    private readonly SafeFileHandle? _file;
    private readonly byte[] _bytes;

    private ByteSource(string name, SafeFileHandle? file, byte[] bytes, long length)
    {
        Name = name;
        _file = file;
        _bytes = bytes;
        Length = length;
    }

    /// <summary>File name for messages, without its folder.</summary>
    public string Name { get; }

    public long Length { get; }

    public static ByteSource Of(string name, byte[] bytes) => new(Path.GetFileName(name), null, bytes, bytes.Length);

    /// <exception cref="BadInputException">The file is missing, empty, or may not be read.</exception>
    public static ByteSource Open(string path)
    {
        var name = Path.GetFileName(path);
        try
        {
            // Asked before opening: a named pipe has no length, and opening it would wait for ever.
            if (new FileInfo(path).Length == 0)
                throw new BadInputException(name, "file", "0 bytes", "Give a file that holds a mesh or points.");
            var handle = File.OpenHandle(path, FileMode.Open, FileAccess.Read, FileShare.Read);
            return new(name, handle, [], RandomAccess.GetLength(handle));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or NotSupportedException or ArgumentException)
        {
            throw new BadInputException(name, "file", Reason(e), "Give the path of a file that may be read.");
        }
    }

    /// <summary>Reads what is there at <paramref name="at"/>; fewer bytes than asked for only at the end.</summary>
    public int Read(long at, Span<byte> into)
    {
        if (at >= Length)
            return 0;
        if (_file is null)
        {
            var count = (int)Math.Min(into.Length, Length - at);
            _bytes.AsSpan((int)at, count).CopyTo(into);
            return count;
        }

        var done = 0;
        while (done < into.Length)
        {
            var read = ReadFile(at + done, into[done..]);
            if (read == 0)
                break;
            done += read;
        }

        return done;
    }

    /// <exception cref="BadInputException">The file ends before <paramref name="into"/> is full.</exception>
    public void ReadExactly(long at, Span<byte> into)
    {
        if (Read(at, into) < into.Length)
            throw Truncated(at + into.Length);
    }

    /// <summary>A stream over all bytes, to be disposed before this source.</summary>
    public Stream AsStream() => _file is null ? new MemoryStream(_bytes, writable: false) : new FileStream(_file, FileAccess.Read, 1 << 16);

    /// <exception cref="BadInputException">Reading would take more memory than the run may have.</exception>
    public void RequireMemory(RunContext run, long bytes) =>
        run.Memory.Require($"read {Name}", bytes, "Reduce or split the model, or allow the program more memory.");

    public BadInputException Bad(string field, string value, string remedy) => new(Name, field, value, remedy);

    public BadInputException Truncated(long needed) => Bad(
        "size",
        FormattableString.Invariant($"{Length} bytes, at least {needed} needed"),
        "The file is cut short or its counts are wrong: get it again from where it came.");

    public void Dispose() => _file?.Dispose();

    private int ReadFile(long at, Span<byte> into)
    {
        try
        {
            return RandomAccess.Read(_file!, into, at);
        }
        catch (IOException e)
        {
            throw Bad("file", Reason(e), "Reading failed: copy the file to a sound disk.");
        }
    }

    // System messages hold whole paths, which may name a person: only the kind is told.
    private static string Reason(Exception e) => e switch
    {
        FileNotFoundException or DirectoryNotFoundException => "not found",
        UnauthorizedAccessException => "may not be read",
        _ => "cannot be read",
    };
}
