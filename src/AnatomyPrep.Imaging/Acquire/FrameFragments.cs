using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Which fragments make up which frame of encapsulated pixel data.</summary>
/// <remarks>
/// DICOM PS3.5 A.4: a frame is one or more whole fragments. One frame owns all; as many fragments as frames are one
/// each; otherwise the Basic Offset Table says where frames begin, and where there is none, the start mark of the code
/// stream does (JPEG and JPEG-LS FF D8, JPEG 2000 FF 4F FF 51). The native library instead reads such files wrongly
/// without an error, so it is only ever given the joined bytes of one frame.
/// </remarks>
internal static class FrameFragments
{
    /// <param name="frames">Per frame: first fragment and number of fragments.</param>
    /// <returns>Null, or why the fragments cannot be told apart.</returns>
    public static Fault? Assign(PixelBytes pixels, ByteSource data, PixelCoding coding, int frameCount, out IReadOnlyList<Range> frames)
    {
        var fragments = pixels.Fragments;
        frames = [];
        if (fragments.Count < frameCount || frameCount < 1)
            return new(FindingCodes.FileTruncated, Tag.Name(Tag.PixelData), FormattableString.Invariant($"{fragments.Count} fragments for {frameCount} frames"), "Send this file again from its source.");
        if (frameCount == 1)
            frames = [0..fragments.Count];
        else if (fragments.Count == frameCount)
            frames = [.. Enumerable.Range(0, frameCount).Select(f => f..(f + 1))];
        else
        {
            var starts = pixels.FrameOffsets.Count == frameCount
                ? FromOffsets(pixels)
                : [.. Enumerable.Range(0, fragments.Count).Where(f => StartsFrame(data, fragments[f], coding))];
            if (starts.Count != frameCount || starts[0] != 0)
                return new(FindingCodes.FileUnreadable, Tag.Name(Tag.PixelData), "fragments cannot be assigned to frames", "Ask for the series uncompressed.");
            frames = [.. starts.Select((s, f) => s..(f + 1 < frameCount ? starts[f + 1] : fragments.Count))];
        }

        return null;
    }

    /// <summary>Offsets count from the first item after the table to the item header of a frame's first fragment.</summary>
    private static List<int> FromOffsets(PixelBytes pixels)
    {
        var starts = new List<int>();
        var first = pixels.Fragments[0].Offset;
        for (var f = 0; f < pixels.Fragments.Count && starts.Count < pixels.FrameOffsets.Count; f++)
            if (pixels.Fragments[f].Offset - first == pixels.FrameOffsets[starts.Count])
                starts.Add(f);
        return starts;
    }

    private static bool StartsFrame(ByteSource data, ByteRange fragment, PixelCoding coding)
    {
        ReadOnlySpan<byte> mark = coding switch
        {
            PixelCoding.Jpeg or PixelCoding.JpegLs => [0xFF, 0xD8, 0xFF],
            PixelCoding.Jpeg2000 => [0xFF, 0x4F, 0xFF, 0x51],
            _ => default,
        };
        return !mark.IsEmpty && fragment.Length >= mark.Length && data.Read(fragment.Offset, mark.Length).SequenceEqual(mark);
    }
}
