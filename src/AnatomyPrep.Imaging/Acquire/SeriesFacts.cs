using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Imaging.Acquire.Fitness;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>A file of the source, by content.</summary>
/// <param name="Name">Without its folder.</param>
/// <param name="Sha256">Of the whole file, lower-case hex.</param>
public sealed record SourceFile(string Name, long Bytes, string Sha256);

/// <summary>A file that belongs to no CT volume, and why.</summary>
/// <param name="Code">From <see cref="FindingCodes"/>.</param>
public sealed record SkippedFile(string Name, string Code, string Reason);

/// <summary>Directions of the volume's axes in the patient.</summary>
/// <param name="Cosines">Along a row (growing column index), then down a column: LPS, orthonormal.</param>
/// <param name="Axes">
/// Nearest patient direction of growing column, row and slice index: L or R, P or A, S (head) or I (feet); "LPS" is the plain axial one.
/// </param>
public sealed record SeriesOrientation(IReadOnlyList<double> Cosines, string Axes)
{
    internal static SeriesOrientation Of(IndexToPatient map)
    {
        var (row, column) = (map.ColumnStepMm.Normalized(), map.RowStepMm.Normalized());
        return new([row.X, row.Y, row.Z, column.X, column.Y, column.Z], $"{Letter(row)}{Letter(column)}{Letter(map.Normal)}");
    }

    private static char Letter(Vec3 d)
    {
        double x = Math.Abs(d.X), y = Math.Abs(d.Y), z = Math.Abs(d.Z);
        if (x >= y && x >= z)
            return d.X > 0 ? 'L' : 'R';
        if (y >= z)
            return d.Y > 0 ? 'P' : 'A';
        return d.Z > 0 ? 'S' : 'I';
    }
}

/// <summary>What there is to know about one stack of CT slices. Holds no patient data but UIDs.</summary>
public sealed record SeriesFacts
{
    /// <summary>What to give to <see cref="DicomSource.Load"/>: the series UID, with "#2" and so on where a series holds several stacks.</summary>
    public required string Selector { get; init; }

    public required string Uid { get; init; }

    public required string StudyUid { get; init; }

    /// <summary>Null where the files name none.</summary>
    public string? FrameOfReferenceUid { get; init; }

    /// <summary>Nothing else gets this far.</summary>
    public string Modality { get; } = "CT";

    public required string SopClassUid { get; init; }

    public required string SopClassName { get; init; }

    public required int Rows { get; init; }

    public required int Columns { get; init; }

    public required int Slices { get; init; }

    /// <summary>Between rows, then between columns, as DICOM orders them; null where missing.</summary>
    public IReadOnlyList<double>? PixelSpacingMm { get; init; }

    /// <summary>Between columns, between rows, between slices (median along the normal); null where one is unknown.</summary>
    public IReadOnlyList<double>? SpacingMm { get; init; }

    /// <summary>Median distance of neighbouring slices along their normal.</summary>
    public double? SliceSpacingMm { get; init; }

    /// <summary>Every distance of neighbouring slices along their normal, from the first slice on.</summary>
    public IReadOnlyList<double> SliceSpacingsMm { get; init; } = [];

    /// <summary>Angle between slice normal and direction of travel, from positions, never from the tilt tag.</summary>
    public double? TiltDeg { get; init; }

    public SeriesOrientation? Orientation { get; init; }

    /// <summary>Position of the first and of the last slice along the normal, mm.</summary>
    public IReadOnlyList<double>? ExtentAlongNormalMm { get; init; }

    /// <summary>Several are separated by commas.</summary>
    public required string TransferSyntaxUid { get; init; }

    public required string TransferSyntax { get; init; }

    /// <summary>Null until the pixels are decoded, and where they cannot be.</summary>
    public short? MinHu { get; init; }

    public short? MaxHu { get; init; }

    public string? PatientPosition { get; init; }

    /// <summary>The thickest slice.</summary>
    public double? SliceThicknessMm { get; init; }

    public string? Kernel { get; init; }

    public int? SeriesNumber { get; init; }

    /// <summary>Made from other pictures, such as reformatted or averaged ones.</summary>
    public bool Derived { get; init; }

    /// <summary>How the stack was told apart from others of its series; null where it is alone.</summary>
    public string? ToldApartBy { get; init; }

    public required bool HasContrast { get; init; }

    public required bool Lossy { get; init; }

    /// <summary>How fit the images are, figure by figure; empty until the pixels are decoded.</summary>
    public IReadOnlyList<FitnessMeasure> Fitness { get; init; } = [];

    public IReadOnlyList<Finding> Findings { get; init; } = [];

    /// <summary>In slice order; hashes are there once the files have been read whole.</summary>
    public IReadOnlyList<SourceFile> Files { get; init; } = [];

    /// <summary>False when a stop finding says why it cannot be a volume.</summary>
    public bool IsLoadable => Findings.All(f => f.Severity != Severity.Stop);
}

/// <summary>All that <see cref="DicomSource.Inspect"/> found in a folder or file.</summary>
/// <param name="Others">Files that belong to no CT volume, each with the reason.</param>
/// <param name="Findings">About the folder as a whole; those of a series stand with it.</param>
/// <param name="Suggested">The stack to begin with, and why; never chosen without being asked for.</param>
public sealed record SeriesListing(IReadOnlyList<SeriesFacts> Series, IReadOnlyList<SkippedFile> Others, IReadOnlyList<Finding> Findings, SuggestedSeries? Suggested = null)
{
    /// <summary>Who the patient of each series is; only where it was asked for.</summary>
    [System.Text.Json.Serialization.JsonIgnore(Condition = System.Text.Json.Serialization.JsonIgnoreCondition.WhenWritingNull)]
    public IReadOnlyList<SeriesIdentity>? Identities { get; init; }
}

/// <param name="Selector">What to give to <see cref="DicomSource.Load"/>.</param>
public sealed record SuggestedSeries(string Selector, string Reason);

/// <summary>What says who the patient is: to be shown, and kept nowhere.</summary>
/// <param name="Identifiers">Name of the attribute and its value.</param>
public sealed record SeriesIdentity(string Selector, IReadOnlyList<KeyValuePair<string, string>> Identifiers);
