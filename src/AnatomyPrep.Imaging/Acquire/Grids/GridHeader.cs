using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>How one sample is written.</summary>
internal enum SampleType
{
    Int8,
    UInt8,
    Int16,
    UInt16,
    Int32,
    UInt32,
    Int64,
    UInt64,
    Float32,
    Float64,
}

/// <summary>How the samples are packed.</summary>
internal enum Packing
{
    Raw,
    Gzip,
    Zlib,

    /// <summary>Decimal numbers between white space.</summary>
    Text,
}

/// <summary>Where the samples lie.</summary>
/// <param name="Path">The file that holds them: the header's own, or one beside it.</param>
/// <param name="FileOffset">Bytes before the packed samples; negative when they stand at the end of the file.</param>
/// <param name="InnerOffset">Bytes to leave out after unpacking.</param>
internal sealed record GridData(string Path, Packing Packing, long FileOffset, long InnerOffset = 0);

/// <summary>What the header of a volume file says, checked and in our terms.</summary>
/// <param name="Format">For people, such as "NIfTI-1".</param>
/// <param name="IndexToLps">Column, row and slice index to LPS, mm; may be left-handed as the file is.</param>
/// <param name="Slope">HU = slope × stored + intercept.</param>
/// <param name="Findings">What one should know about the header.</param>
internal sealed record GridHeader(
    string Format,
    int Columns,
    int Rows,
    int Slices,
    Affine3 IndexToLps,
    SampleType Type,
    bool BigEndian,
    double Slope,
    double Intercept,
    GridData Data,
    IReadOnlyList<Finding> Findings)
{
    public int BytesPerSample => Type switch
    {
        SampleType.Int8 or SampleType.UInt8 => 1,
        SampleType.Int16 or SampleType.UInt16 => 2,
        SampleType.Int32 or SampleType.UInt32 or SampleType.Float32 => 4,
        _ => 8,
    };

    public long Samples => (long)Columns * Rows * Slices;
}
