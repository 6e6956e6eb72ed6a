namespace AnatomyPrep.Core.Findings;

/// <summary>Stable codes of findings; docs/formats/findings.md lists each with its remedy.</summary>
public static class FindingCodes
{
    // Acquire: files
    public const string FileUnreadable = "file-unreadable";
    public const string FileTruncated = "file-truncated";
    public const string FileCrashedReader = "file-crashed-reader";
    public const string FileTimedOut = "file-timed-out";
    public const string FileNotCt = "file-not-ct";
    public const string LossyCompression = "lossy-compression";

    // Acquire: geometry
    public const string SpacingMissing = "spacing-missing";
    public const string OrientationMissing = "orientation-missing";
    public const string PositionMissing = "position-missing";
    public const string SamePosition = "same-position";
    public const string SliceMissing = "slice-missing";
    public const string UnevenSpacing = "uneven-spacing";
    public const string GantryTilt = "gantry-tilt";
    public const string TiltTagDisagrees = "tilt-tag-disagrees";
    public const string TooFewSlices = "too-few-slices";
    public const string SlicesOverlap = "slices-overlap";
    public const string ThickSlices = "thick-slices";
    public const string MixedFrames = "mixed-frames";
    public const string MixedSizes = "mixed-sizes";

    // Acquire: values
    public const string HuOutOfRange = "hu-out-of-range";
    public const string HuClipped = "hu-clipped";
    public const string HuRounded = "hu-rounded";
    public const string Padding = "padding-present";

    // Segment and surface
    public const string RegionEmpty = "region-empty";
    public const string BodyCutAtBorder = "body-cut-at-border";
    public const string FragmentsDropped = "fragments-dropped";
    public const string SeveralPieces = "several-pieces";

    // Repair
    public const string BridgeLaid = "bridge-laid";
    public const string BridgeNotLaid = "bridge-not-laid";
    public const string CavitiesFilled = "cavities-filled";
    public const string DegenerateKept = "degenerate-kept";
    public const string DuplicatesRemoved = "duplicates-removed";
    public const string FillCrosses = "fill-crosses";
    public const string HoleNotFilled = "hole-not-filled";
    public const string HolesFilled = "holes-filled";
    public const string NothingLeft = "nothing-left";
    public const string NothingSelected = "nothing-selected";
    public const string OneSidedSurface = "one-sided-surface";
    public const string PiecesCross = "pieces-cross";
    public const string SelectionRemoved = "selection-removed";
    public const string SelfIntersectionKept = "self-intersection-kept";
    public const string SelfIntersectionsRemoved = "self-intersections-removed";
    public const string SurfaceParted = "surface-parted";
    public const string TagsRemoved = "tags-removed";
    public const string TrianglesTurned = "triangles-turned";

    // Mesh
    public const string MeshNotSolid = "mesh-not-solid";
    public const string DegenerateRemoved = "degenerate-removed";
    public const string UnitUnknown = "unit-unknown";
    public const string SizeImplausible = "size-implausible";

    // Verify
    public const string DeviationLarge = "deviation-large";
}
