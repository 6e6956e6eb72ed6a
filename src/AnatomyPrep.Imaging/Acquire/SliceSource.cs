namespace AnatomyPrep.Imaging.Acquire;

/// <summary>A file of the input with what the child said about it.</summary>
internal sealed record ScannedFile(int Index, InputFile Input, ScanResult Scan, string? Digest)
{
    /// <summary>For messages: see <see cref="MarkedName"/>.</summary>
    public string Name => MarkedName.Of(Input.Name);
}

/// <summary>One frame of one file: a slice before it has a place in a volume.</summary>
internal sealed record SliceSource(ScannedFile File, int Frame)
{
    public FileFacts Facts => File.Scan.Ct!;

    public SliceFacts Slice => Facts.Slices[Frame];

    /// <summary>For messages: the file, and the frame where a file has several.</summary>
    public string Name => Facts.Slices.Count == 1 ? File.Name : FormattableString.Invariant($"{File.Name} frame {Frame + 1}");
}
