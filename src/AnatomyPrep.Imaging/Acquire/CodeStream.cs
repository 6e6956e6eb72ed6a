using System.Buffers.Binary;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>What a JPEG, JPEG-LS or JPEG 2000 code stream says about itself, read before a decoder sees it.</summary>
/// <param name="Precision">Bits per sample in the stream.</param>
/// <param name="Signed">JPEG 2000 only: samples are signed.</param>
/// <remarks>
/// Markers: ISO/IEC 10918-1 Annex B, ISO/IEC 14495-1 Annex C, ISO/IEC 15444-1 Annex A. The native decoder trusts these
/// numbers over those of the DICOM header, writes as many samples as they say, and takes a stream that ends early for a
/// whole one; so size, depth, component count and end mark are checked here. Safe on untrusted input.
/// </remarks>
internal readonly record struct CodeStream(int Precision, bool Signed)
{
    private const byte StartOfScan = 0xDA;

    /// <exception cref="InvalidDataException">The stream is malformed, ends early, or is not the picture the header promises.</exception>
    public static CodeStream Inspect(ReadOnlySpan<byte> code, PixelCoding coding, int rows, int columns)
    {
        var end = code.TrimEnd((byte)0);
        if (end.Length < 4 || end[^2] != 0xFF || end[^1] != 0xD9)
            throw new InvalidDataException("code stream ends early");
        return coding == PixelCoding.Jpeg2000 ? InspectJpeg2000(end, rows, columns) : InspectJpeg(end, coding, rows, columns);
    }

    /// <summary>
    /// Takes application and comment segments out of a JPEG or JPEG-LS stream, in place: they mean nothing for one grey
    /// component, and the native library aborts on some of them (a JFIF version other than 1, for one).
    /// </summary>
    /// <param name="code">A stream that <see cref="Inspect"/> has accepted.</param>
    /// <returns>Length of what is left.</returns>
    public static int StripComments(Span<byte> code)
    {
        var (at, to) = (2, 2);
        while (true)
        {
            var whole = SegmentAt(code, ref at);
            var marker = code[whole.Start.Value + 1];
            if (marker == StartOfScan)
                break;
            if (marker is not (0xFE or (>= 0xE0 and <= 0xEF)))
            {
                code[whole].CopyTo(code[to..]);
                to += whole.End.Value - whole.Start.Value;
            }

            at = whole.End.Value;
        }

        code[at..].CopyTo(code[to..]);
        return code.Length - (at - to);
    }

    private static CodeStream InspectJpeg(ReadOnlySpan<byte> code, PixelCoding coding, int rows, int columns)
    {
        if (code[0] != 0xFF || code[1] != 0xD8)
            throw new InvalidDataException("no JPEG code stream");
        CodeStream? frame = null;
        for (var at = 2; ;)
        {
            var whole = SegmentAt(code, ref at);
            var marker = code[whole.Start.Value + 1];
            if (marker == StartOfScan)
                return frame ?? throw new InvalidDataException("JPEG code stream without a frame header");
            if (IsFrameStart(marker))
                frame = frame is null ? ReadFrameStart(code[whole][4..], marker == 0xF7, coding, rows, columns) : throw new InvalidDataException("JPEG code stream with two frame headers");
            at = whole.End.Value;
        }
    }

    /// <summary>The marker segment at a place, fill bytes before it skipped.</summary>
    private static Range SegmentAt(ReadOnlySpan<byte> code, ref int at)
    {
        while (at + 4 <= code.Length && code[at] == 0xFF && code[at + 1] == 0xFF)
            at++;
        if (at + 4 > code.Length || code[at] != 0xFF || code[at + 1] is < 0xC0 or (>= 0xD0 and <= 0xD9))
            throw new InvalidDataException("broken JPEG markers");
        var length = BinaryPrimitives.ReadUInt16BigEndian(code[(at + 2)..]);
        return length >= 2 && length <= code.Length - at - 2
            ? at..(at + 2 + length)
            : throw new InvalidDataException("JPEG marker runs beyond the stream");
    }

    private static bool IsFrameStart(byte marker) => marker is 0xF7 or (>= 0xC0 and <= 0xCF and not (0xC4 or 0xC8 or 0xCC));

    private static CodeStream ReadFrameStart(ReadOnlySpan<byte> frame, bool isJpegLs, PixelCoding coding, int rows, int columns)
    {
        if (frame.Length < 9 || isJpegLs != (coding == PixelCoding.JpegLs))
            throw new InvalidDataException("code stream of another kind than the transfer syntax");
        Require(BinaryPrimitives.ReadUInt16BigEndian(frame[3..]), BinaryPrimitives.ReadUInt16BigEndian(frame[1..]), frame[5], columns, rows);
        return Depth(frame[0], signed: false);
    }

    private static CodeStream InspectJpeg2000(ReadOnlySpan<byte> code, int rows, int columns)
    {
        // SOC, SIZ: length, capabilities, size and offset of the picture, of the tiles, then components.
        if (code.Length < 49 || !code[..4].SequenceEqual<byte>([0xFF, 0x4F, 0xFF, 0x51]))
            throw new InvalidDataException("no JPEG 2000 code stream");
        uint At(ReadOnlySpan<byte> c, int i) => BinaryPrimitives.ReadUInt32BigEndian(c[i..]);
        long width = (long)At(code, 8) - At(code, 16), height = (long)At(code, 12) - At(code, 20);
        Require(width, height, BinaryPrimitives.ReadUInt16BigEndian(code[40..]), columns, rows);
        if (code[43] != 1 || code[44] != 1)
            throw new InvalidDataException("subsampled JPEG 2000 component");
        return Depth((code[42] & 0x7F) + 1, (code[42] & 0x80) != 0);
    }

    private static void Require(long width, long height, int components, int columns, int rows)
    {
        if (width != columns || height != rows || components != 1)
            throw new InvalidDataException(FormattableString.Invariant($"code stream of {width} x {height} x {components} for a picture of {columns} x {rows} x 1"));
    }

    private static CodeStream Depth(int precision, bool signed) => precision is >= 2 and <= 16
        ? new(precision, signed)
        : throw new InvalidDataException(FormattableString.Invariant($"code stream of {precision} bits a sample"));
}
