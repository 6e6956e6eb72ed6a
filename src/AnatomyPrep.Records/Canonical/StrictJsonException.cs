namespace AnatomyPrep.Records.Canonical;

/// <summary>Text that strict reading refuses: the problem, and the byte where it was seen.</summary>
public sealed class StrictJsonException(string problem, long byteOffset, Exception? cause = null)
    : FormatException($"{problem} at byte {byteOffset}", cause)
{
    public string Problem { get; } = problem;

    public long ByteOffset { get; } = byteOffset;
}
