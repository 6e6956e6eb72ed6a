using System.Runtime.InteropServices;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>The stored words of one frame out of a file held in memory, whatever its transfer syntax.</summary>
/// <remarks>
/// Uncompressed and run-length coded frames are read here; JPEG, JPEG-LS and JPEG 2000 go to <see cref="NativeDecoder"/>
/// after <see cref="CodeStream"/> has measured them. One object a thread: it keeps its buffers. Memory: 2 bytes a sample,
/// plus for compressed frames the code stream and 2 bytes a sample.
/// </remarks>
internal sealed class FrameDecoder
{
    private ushort[] _words = [];
    private byte[] _code = [];
    private byte[] _decoded = [];

    /// <returns>Rows × columns words; valid until the next call. Bits outside the stored ones are as found.</returns>
    /// <exception cref="InvalidDataException">The frame cannot be decoded; the message names no content.</exception>
    public ReadOnlySpan<ushort> Decode(DicomHeader header, FileFacts facts, IReadOnlyList<Range> fragments, int frame)
    {
        var samples = facts.Rows * facts.Columns;
        Grow(ref _words, samples);
        var words = _words.AsSpan(0, samples);
        var bytesPerSample = facts.Layout.BitsAllocated / 8;
        var pixels = header.Pixels!;
        if (pixels.Native is { } block)
        {
            var length = samples * bytesPerSample;
            ReadNative(header.Data!.Read(block.Offset + ((long)frame * length), length), header.Syntax.BigEndian, bytesPerSample, words);
            return words;
        }

        var code = Join(header.Data!, pixels.Fragments, fragments[frame]);
        if (header.Syntax.Coding == PixelCoding.Rle)
            RunLengthDecoder.Decode(code, bytesPerSample, words);
        else
            DecodeNative(code, header.Syntax, facts, words);
        return words;
    }

    private static void ReadNative(ReadOnlySpan<byte> bytes, bool bigEndian, int bytesPerSample, Span<ushort> words)
    {
        if (bytes.IsEmpty)
            throw new InvalidDataException("pixel data ends early");
        if (bytesPerSample == 1)
            Widen(bytes, words);
        else if (bigEndian)
            System.Buffers.Binary.BinaryPrimitives.ReverseEndianness(MemoryMarshal.Cast<byte, ushort>(bytes), words);
        else
            MemoryMarshal.Cast<byte, ushort>(bytes).CopyTo(words);
    }

    private static void Widen(ReadOnlySpan<byte> bytes, Span<ushort> words)
    {
        for (var i = 0; i < words.Length; i++)
            words[i] = bytes[i];
    }

    private ReadOnlySpan<byte> Join(ByteSource data, IReadOnlyList<ByteRange> all, Range range)
    {
        var length = 0L;
        for (var f = range.Start.Value; f < range.End.Value; f++)
            length += all[f].Length;
        Grow(ref _code, checked((int)length));
        var at = 0;
        for (var f = range.Start.Value; f < range.End.Value; f++)
        {
            data.Read(all[f].Offset, (int)all[f].Length).CopyTo(_code.AsSpan(at));
            at += (int)all[f].Length;
        }

        return _code.AsSpan(0, at);
    }

    private void DecodeNative(ReadOnlySpan<byte> code, TransferSyntax syntax, FileFacts facts, Span<ushort> words)
    {
        var stream = CodeStream.Inspect(code, syntax.Coding, facts.Rows, facts.Columns);
        if (stream.Precision > facts.Layout.BitsAllocated)
            throw new InvalidDataException(FormattableString.Invariant($"code stream of {stream.Precision} bits a sample where {facts.Layout.BitsAllocated} are allocated"));
        var length = NativeDecoder.DecodedBytes(facts.Rows, facts.Columns, stream);
        Grow(ref _decoded, length);
        var codeLength = syntax.Coding == PixelCoding.Jpeg2000 ? code.Length : CodeStream.StripComments(_code.AsSpan(0, code.Length));
        NativeDecoder.Decode(_code, codeLength, syntax.Uid, stream, facts.Rows, facts.Columns, _decoded);
        var decoded = _decoded.AsSpan(0, length);
        if (stream.Precision <= 8)
            Widen(decoded, words);
        else
            MemoryMarshal.Cast<byte, ushort>(decoded).CopyTo(words);
        if (stream.Signed)
            ExtendSign(words, stream.Precision);
    }

    /// <summary>A signed stream of few bits in a wider word: the sign must reach the top, as the DICOM header expects it.</summary>
    private static void ExtendSign(Span<ushort> words, int precision)
    {
        var shift = 16 - precision;
        for (var i = 0; i < words.Length; i++)
            words[i] = (ushort)((short)(words[i] << shift) >> shift);
    }

    private static void Grow<T>(ref T[] buffer, int length)
    {
        if (buffer.Length < length)
            buffer = GC.AllocateUninitializedArray<T>(length);
    }
}
