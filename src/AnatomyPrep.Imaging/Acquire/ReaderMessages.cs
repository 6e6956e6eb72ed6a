namespace AnatomyPrep.Imaging.Acquire;

internal enum ReaderTask
{
    /// <summary>Read headers.</summary>
    Scan,

    /// <summary>Decode pixels and count HU; write them to the output file where there is one.</summary>
    Decode,

    /// <summary>Hash whole files.</summary>
    Hash,

    /// <summary>Read what says who the patient is: the one answer that carries it.</summary>
    Identify,
}

/// <summary>One line from parent to child.</summary>
/// <param name="Salt">Random bytes of this run, for <see cref="FileFacts.PatientMark"/>.</param>
/// <param name="OutputPath">Where HU go, int16 little endian, slice after slice; null to count only.</param>
internal sealed record ReaderRequest(ReaderTask Task, int Threads, byte[] Salt, string? OutputPath, IReadOnlyList<ReaderItem> Items);

/// <summary>One file to work on.</summary>
/// <param name="Digest">Decode only: what <see cref="ReaderReply.Digest"/> of the scan said, so that a file that changed since is noticed.</param>
/// <param name="Slots">Decode only: per frame, the slice of the output it becomes, or -1.</param>
internal sealed record ReaderItem(int Index, string Path, string? Digest = null, IReadOnlyList<int>? Slots = null);

/// <summary>One line from child to parent.</summary>
/// <param name="Index">The file; -1 for the end of a request.</param>
/// <param name="Final">The file is done; otherwise it was begun, or one more of its frames is done.</param>
/// <param name="Digest">Scan and identify: hash of the facts.</param>
/// <param name="Identifiers">Identify only: name and value of each identifier that the file has.</param>
internal sealed record ReaderReply(
    int Index,
    bool Final = false,
    ScanResult? Scan = null,
    string? Digest = null,
    Fault? Fault = null,
    string? Sha256 = null,
    long Bytes = 0,
    IReadOnlyList<SliceCounts>? Slices = null,
    IReadOnlyList<Identifier>? Identifiers = null);

/// <summary>One attribute that says who the patient is, or when and where the scan was made.</summary>
internal sealed record Identifier(uint Tag, string Value);

/// <summary>
/// Messages are JSON text sequences (RFC 7464): each begins with a record separator and ends with a line feed, so that
/// whatever a native library prints to the same pipe is told from a message.
/// </summary>
internal static class ReaderLine
{
    public const byte Begin = 0x1E;
    public const byte End = (byte)'\n';

    public static byte[] Pack(ReaderReply reply) => Frame(ReaderJson.Write(reply));

    public static byte[] Pack(ReaderRequest request) => Frame(ReaderJson.Write(request));

    private static byte[] Frame(byte[] json) => [Begin, .. json, End];
}

/// <summary>Cuts a stream into messages; what lies between them is dropped.</summary>
internal sealed class ReaderLineReader(Stream stream, int longestBytes)
{
    private readonly byte[] _block = new byte[64 * 1024];
    private int _at;
    private int _filled;

    /// <summary>The JSON of the next message, or null at the end of the stream.</summary>
    /// <exception cref="InvalidDataException">A message is longer than allowed.</exception>
    public byte[]? Next()
    {
        var message = new List<byte>();
        var inside = false;
        while (true)
        {
            if (_at == _filled)
            {
                (_at, _filled) = (0, stream.Read(_block));
                if (_filled == 0)
                    return null;
            }

            var rest = _block.AsSpan(_at, _filled - _at);
            if (!inside)
            {
                var begin = rest.IndexOf(ReaderLine.Begin);
                inside = begin >= 0;
                _at += inside ? begin + 1 : rest.Length;
                continue;
            }

            var end = rest.IndexOf(ReaderLine.End);
            var part = end < 0 ? rest : rest[..end];
            if (message.Count + part.Length > longestBytes)
                throw new InvalidDataException("message too long");
            message.AddRange(part);
            _at += part.Length + (end < 0 ? 0 : 1);
            if (end >= 0)
                return [.. message];
        }
    }
}
