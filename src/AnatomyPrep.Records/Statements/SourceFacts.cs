using AnatomyPrep.Records.Ledgers;

namespace AnatomyPrep.Records.Statements;

public enum SourceKind
{
    CtSeries,
    Volume,
    Mesh,
    PointCloud,
}

/// <summary>Where the model comes from: hashes and facts, no identifiers and no file names (names often hold a patient's).</summary>
public sealed record SourceFacts
{
    public required SourceKind Kind { get; init; }

    /// <summary>The files in slice order; a mesh or point cloud has one. Those of <see cref="Parts"/> follow.</summary>
    public required IReadOnlyList<FileFacts> Files { get; init; }

    /// <summary>RFC 9162 Merkle root, hex; leaf i is the 32 bytes of the SHA-256 of file i.</summary>
    public string TreeSha256 => Convert.ToHexStringLower(MerkleTree.RootOf(Files.Select(f => Convert.FromHexString(f.Sha256))));

    public SeriesFacts? Series { get; init; }

    public ScanFacts? Scan { get; init; }

    /// <summary>Further meshes that the plan uses, in ordinal order of their names.</summary>
    public IReadOnlyList<PartFacts>? Parts { get; init; }

    /// <summary>What the person who gave a scan said about it; null where nothing was said.</summary>
    public StatedFacts? Stated { get; init; }

    public SourcePseudonyms? Pseudonyms { get; init; }
}

/// <param name="Sha256">Lower-case hex.</param>
public sealed record FileFacts(string Sha256, long Bytes);

/// <summary>An image series without identifiers.</summary>
public sealed record SeriesFacts
{
    public required string Modality { get; init; }

    public required int Rows { get; init; }

    public required int Columns { get; init; }

    public required int Slices { get; init; }

    /// <summary>Distance between neighbouring columns, then between neighbouring rows.</summary>
    public required IReadOnlyList<double> SpacingMm { get; init; }

    /// <summary>Distance along the slice normal; the mean where it is uneven.</summary>
    public required double SliceSpacingMm { get; init; }

    public required double TiltDeg { get; init; }

    public required string Orientation { get; init; }

    public required string TransferSyntax { get; init; }

    public required int MinHu { get; init; }

    public required int MaxHu { get; init; }
}

/// <summary>A surface scan or point cloud.</summary>
/// <param name="Unit">The unit the numbers were taken in, such as "mm".</param>
public sealed record ScanFacts(string Format, string Unit, long Vertices, long Triangles);

/// <summary>A further mesh that a plan combines with the source.</summary>
/// <param name="Name">What the plan calls it.</param>
/// <param name="File">Its place in <see cref="SourceFacts.Files"/>, from 0.</param>
public sealed record PartFacts(string Name, int File, ScanFacts Scan);

/// <param name="Unit">Of files that state none.</param>
/// <param name="Anatomy">What the size was judged by.</param>
public sealed record StatedFacts(string? Unit = null, string? Anatomy = null);

/// <summary>Identifiers as keyed pseudonyms (<see cref="Keys.SiteKey"/>), hex; null where the source has none.</summary>
public sealed record SourcePseudonyms(
    string? Study = null,
    string? Series = null,
    string? FrameOfReference = null,
    string? Patient = null);
