using System.Buffers.Binary;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>DICOM RLE Lossless, one frame.</summary>
/// <remarks>
/// Format: DICOM PS3.5 Annex G (PackBits per byte plane, most significant plane first). Written here rather than left
/// to the native library because it is 40 lines, and because it can insist on what the library does not: every plane
/// must give exactly rows × columns bytes, from its own segment. Safe on untrusted input. Cost: O(output).
/// </remarks>
internal static class RunLengthDecoder
{
    private const int HeaderBytes = 64;

    /// <param name="words">One per sample; 8-bit samples leave the upper byte 0.</param>
    /// <exception cref="InvalidDataException">The frame is truncated or malformed.</exception>
    public static void Decode(ReadOnlySpan<byte> frame, int bytesPerSample, Span<ushort> words)
    {
        if (frame.Length < HeaderBytes || BinaryPrimitives.ReadUInt32LittleEndian(frame) != bytesPerSample)
            throw new InvalidDataException("wrong number of RLE segments");
        words.Clear();
        for (var plane = 0; plane < bytesPerSample; plane++)
        {
            var start = BinaryPrimitives.ReadUInt32LittleEndian(frame[(4 + (4 * plane))..]);
            var end = plane + 1 < bytesPerSample ? BinaryPrimitives.ReadUInt32LittleEndian(frame[(8 + (4 * plane))..]) : (uint)frame.Length;
            if (start < HeaderBytes || end > frame.Length || start > end)
                throw new InvalidDataException("RLE segment outside the frame");
            DecodePlane(frame[(int)start..(int)end], 8 * (bytesPerSample - 1 - plane), words);
        }
    }

    private static void DecodePlane(ReadOnlySpan<byte> segment, int shift, Span<ushort> words)
    {
        int at = 0, to = 0;
        while (to < words.Length)
        {
            if (at >= segment.Length)
                throw new InvalidDataException("RLE segment ends early");
            int n = (sbyte)segment[at++];
            if (n == -128)
                continue;
            var count = Math.Abs(n) + 1;
            if (count > words.Length - to || at + (n < 0 ? 1 : count) > segment.Length)
                throw new InvalidDataException("RLE run outside the plane");
            if (n < 0)
            {
                var value = (ushort)(segment[at++] << shift);
                for (var end = to + count; to < end; to++)
                    words[to] |= value;
            }
            else
            {
                for (var end = to + count; to < end; to++)
                    words[to] |= (ushort)(segment[at++] << shift);
            }
        }
    }
}
