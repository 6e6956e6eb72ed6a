using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire.Fitness;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>What there is to know about a volume file; names follow <see cref="SeriesFacts"/>. Holds no text of the file.</summary>
public sealed record GridFacts
{
    /// <summary>Volume files have none.</summary>
    public string? Uid { get; }

    /// <summary>Volume files do not say how they were made.</summary>
    public string Modality { get; } = "unknown";

    /// <summary>Such as "NIfTI-1, gzip, int16".</summary>
    public required string TransferSyntax { get; init; }

    public required int Rows { get; init; }

    public required int Columns { get; init; }

    public required int Slices { get; init; }

    /// <summary>Between columns, between rows, between slices along their normal.</summary>
    public required IReadOnlyList<double> SpacingMm { get; init; }

    public required double SliceSpacingMm { get; init; }

    public required double TiltDeg { get; init; }

    public required SeriesOrientation Orientation { get; init; }

    public required short MinHu { get; init; }

    public required short MaxHu { get; init; }

    public required IReadOnlyList<FitnessMeasure> Fitness { get; init; }

    public required IReadOnlyList<Finding> Findings { get; init; }

    /// <summary>The header's file, then the one with the samples where that is another.</summary>
    public required IReadOnlyList<SourceFile> Files { get; init; }
}

/// <summary>A volume file as a volume. Owns the volume.</summary>
public sealed record LoadedGrid(Volume Volume, GridFacts Facts) : IDisposable
{
    public void Dispose() => Volume.Dispose();
}
