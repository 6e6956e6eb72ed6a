namespace AnatomyPrep.Imaging.Acquire;

/// <summary>The attributes of <see cref="Tag"/> that one file holds, raw, and where its pixels lie.</summary>
internal sealed class DicomHeader
{
    /// <summary>Set when the file could not be walked to its pixel data; what was read before stays usable.</summary>
    public Fault? Fault { get; set; }

    /// <summary>The file carries the DICM mark, so it means to be DICOM.</summary>
    public bool HasMark { get; set; }

    /// <summary>File meta information names the transfer syntax; otherwise it was guessed.</summary>
    public bool HasMeta { get; set; }

    public TransferSyntax Syntax { get; set; } = TransferSyntax.ExplicitLittle;

    public Dictionary<uint, byte[]> Elements { get; } = [];

    /// <summary>Shared functional groups of a multi-frame image.</summary>
    public Dictionary<uint, byte[]> Shared { get; } = [];

    /// <summary>Functional groups of each frame.</summary>
    public List<Dictionary<uint, byte[]>> Frames { get; } = [];

    /// <summary>The records of a DICOMDIR, in the order of the file.</summary>
    public List<Dictionary<uint, byte[]>> Records { get; } = [];

    /// <summary>What says who the patient is; empty unless it was asked for.</summary>
    public Dictionary<uint, byte[]> Identifiers { get; } = [];

    public PixelBytes? Pixels { get; set; }

    /// <summary>Where the offsets of <see cref="Pixels"/> count: the file itself, or the data set that was inflated from it.</summary>
    public ByteSource? Data { get; set; }

    /// <summary>The value that holds for a frame: its own, else the shared one, else that of the whole image.</summary>
    public byte[]? Find(uint tag, int frame = -1)
    {
        if (frame >= 0 && frame < Frames.Count && Frames[frame].TryGetValue(tag, out var own))
            return own;
        if (Shared.TryGetValue(tag, out var shared))
            return shared;
        return Elements.GetValueOrDefault(tag);
    }
}

/// <summary>A stretch of bytes.</summary>
internal readonly record struct ByteRange(long Offset, long Length);

/// <summary>Where the pixel data lies.</summary>
/// <param name="Native">The one uncompressed block, with its declared length; null when encapsulated.</param>
/// <param name="Fragments">The encapsulated fragments in order, without the offset table.</param>
/// <param name="FrameOffsets">The Basic Offset Table; empty when the file has none.</param>
internal sealed record PixelBytes(ByteRange? Native, IReadOnlyList<ByteRange> Fragments, IReadOnlyList<uint> FrameOffsets);
