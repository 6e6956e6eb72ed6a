namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// What the reader child tells about one CT file: numbers and codes only, so that no text of a patient leaves it. UIDs
/// are carried for grouping and selection.
/// </summary>
internal sealed record FileFacts
{
    public required string SopClass { get; init; }

    public required string SopInstance { get; init; }

    public required string Study { get; init; }

    public required string Series { get; init; }

    /// <summary>Empty where the file names none.</summary>
    public required string FrameOfReference { get; init; }

    public required int? SeriesNumber { get; init; }

    public required int? AcquisitionNumber { get; init; }

    public required int? TemporalPosition { get; init; }

    /// <summary>Equal for equal Image Types within one run.</summary>
    public required string ImageTypeMark { get; init; }

    /// <summary>Equal for equal dates and times of acquisition within one run; empty where the file names none.</summary>
    public required string TimeMark { get; init; }

    /// <summary>Made from other pictures, such as a reformatted or averaged one.</summary>
    public required bool Derived { get; init; }

    /// <summary>The file says that text is drawn into the picture.</summary>
    public required bool BurnedIn { get; init; }

    /// <summary>Equal for equal Patient IDs within one run; says nothing about the ID itself.</summary>
    public required string PatientMark { get; init; }

    public required string Syntax { get; init; }

    public required bool HasMeta { get; init; }

    /// <summary>Calling title of the association that brought the file; null where the file names none, or one that is no AE title.</summary>
    public required string? SourceTitle { get; init; }

    /// <summary>An overview picture for planning the scan, not a slice.</summary>
    public required bool Localizer { get; init; }

    public required int Rows { get; init; }

    public required int Columns { get; init; }

    public required PixelLayout Layout { get; init; }

    public required bool Monochrome1 { get; init; }

    /// <summary>Bytes of pixel data beyond rows × columns × frames.</summary>
    public required long ExtraPixelBytes { get; init; }

    public required double? TiltTagDeg { get; init; }

    public required string? Kernel { get; init; }

    /// <summary>Body Part Examined, where it is one of <see cref="BodyParts.Terms"/>.</summary>
    public required string? BodyPart { get; init; }

    /// <summary>R, L, B (both) or U (not paired); null where the file does not say.</summary>
    public required string? Laterality { get; init; }

    public required string? PatientPosition { get; init; }

    public required bool HasContrast { get; init; }

    public required bool Lossy { get; init; }

    public required double? LossyRatio { get; init; }

    /// <summary>One per frame.</summary>
    public required IReadOnlyList<SliceFacts> Slices { get; init; }
}

/// <summary>Geometry and HU scale of one frame as written; null where the attribute is absent or malformed.</summary>
/// <param name="Position">Centre of the first sample, LPS, mm.</param>
/// <param name="Orientation">Six cosines: along a row, then down a column.</param>
/// <param name="PixelSpacing">Between rows, then between columns, mm.</param>
/// <param name="RescaleType">"HU" where absent (PS3.3 C.8.2.1: absent means HU); "other" for a text outside the standard's terms.</param>
internal sealed record SliceFacts(
    double[]? Position,
    double[]? Orientation,
    double[]? PixelSpacing,
    double? ThicknessMm,
    double? Slope,
    double? Intercept,
    string RescaleType,
    int? InstanceNumber);

/// <summary>How a stored value sits in its word, and which values mean "no data".</summary>
/// <param name="PaddingWord">Pixel Padding Value as a 16-bit word, whatever sign its writer gave it.</param>
/// <param name="PaddingLimitWord">Other end of the padding range.</param>
internal sealed record PixelLayout(int BitsAllocated, int BitsStored, int HighBit, bool Signed, int? PaddingWord, int? PaddingLimitWord);

/// <summary>What the child found in one file.</summary>
/// <param name="Ct">Set for a CT file, also when <paramref name="Fault"/> keeps it from being used.</param>
/// <param name="Fault">Why the file cannot be used, or is not CT.</param>
/// <param name="References">Of a DICOMDIR: the files it names, as "FOLDER/FILE"; empty text for a name that is none.</param>
internal sealed record ScanResult(FileFacts? Ct, Fault? Fault, IReadOnlyList<string>? References = null);
