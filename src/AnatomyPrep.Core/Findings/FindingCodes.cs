namespace AnatomyPrep.Core.Findings;

/// <summary>Stable codes of findings; docs/formats/findings.md lists each with its remedy.</summary>
public static class FindingCodes
{
    // Out
    public const string IdentifiersExported = "identifiers-exported";
    public const string TooLargeForDicom = "too-large-for-dicom";

    // Acquire: files
    public const string BurnedInText = "burned-in-text";
    public const string DirectoryFileMissing = "dicomdir-file-missing";
    public const string FileChanged = "file-changed";
    public const string FileCrashedReader = "file-crashed-reader";
    public const string FileDuplicate = "file-duplicate";
    public const string FileMetaMissing = "file-meta-missing";
    public const string FileNotCt = "file-not-ct";
    public const string FileNotDicom = "file-not-dicom";
    public const string FileNotImage = "file-not-image";
    public const string FileTimedOut = "file-timed-out";
    public const string FileTruncated = "file-truncated";
    public const string FileUnreadable = "file-unreadable";
    public const string Localizer = "localizer";
    public const string LossyCompression = "lossy-compression";
    public const string MixedPatients = "mixed-patients";
    public const string PixelDataLong = "pixel-data-long";
    public const string PixelLayoutUnsupported = "pixel-layout-unsupported";
    public const string SeriesSplit = "series-split";
    public const string SeveralPatients = "several-patients";
    public const string TransferSyntaxUnsupported = "transfer-syntax-unsupported";

    // Acquire: geometry
    public const string GantryTilt = "gantry-tilt";
    public const string MixedFrames = "mixed-frames";
    public const string MixedOrientations = "mixed-orientations";
    public const string MixedSizes = "mixed-sizes";
    public const string OrientationInexact = "orientation-inexact";
    public const string OrientationInvalid = "orientation-invalid";
    public const string OrientationMissing = "orientation-missing";
    public const string PositionMissing = "position-missing";
    public const string SamePosition = "same-position";
    public const string SliceMissing = "slice-missing";
    public const string SlicesApart = "slices-apart";
    public const string SlicesOffLine = "slices-off-line";
    public const string SlicesOverlap = "slices-overlap";
    public const string SpacingMissing = "spacing-missing";
    public const string ThickSlices = "thick-slices";
    public const string TiltTagDisagrees = "tilt-tag-disagrees";
    public const string TooFewSlices = "too-few-slices";
    public const string UnevenSpacing = "uneven-spacing";

    // Acquire: values
    public const string HuClipped = "hu-clipped";
    public const string HuOutOfRange = "hu-out-of-range";
    public const string HuRounded = "hu-rounded";
    public const string Monochrome1 = "monochrome1";
    public const string Padding = "padding-present";
    public const string RescaleMissing = "rescale-missing";
    public const string RescaleNotHu = "rescale-not-hu";
    public const string UnusedBits = "unused-bits";

    // Acquire: volume files
    public const string AtlasSpace = "atlas-space";
    public const string AxesSkewed = "axes-skewed";
    public const string OrientationDisagrees = "orientation-disagrees";
    public const string SamplesNotNumbers = "samples-not-numbers";

    // Acquire: fitness
    public const string Anisotropy = "anisotropy";
    public const string ContrastPresent = "contrast-present";
    public const string KernelSharp = "kernel-sharp";
    public const string KernelSoft = "kernel-soft";
    public const string MetalInImages = "metal-in-images";
    public const string MetalStreaks = "metal-streaks";
    public const string MotionStep = "motion-step";
    public const string NoiseHigh = "noise-high";
    public const string StructureTooFine = "structure-too-fine";
    public const string ValuesNotCt = "values-not-ct";
    public const string ViewCropped = "view-cropped";

    // Request and source
    public const string AnatomyMismatch = "anatomy-mismatch";
    public const string AnatomyUnknown = "anatomy-unknown";
    public const string PatientMismatch = "patient-mismatch";
    public const string PatientUnknown = "patient-unknown";
    public const string SideMismatch = "side-mismatch";
    public const string SideUnknown = "side-unknown";

    // Receive
    public const string CallingTitleUnknown = "calling-title-unknown";
    public const string SeriesGrew = "series-grew";

    // Volume
    public const string DenoiseWithoutEffect = "denoise-without-effect";

    // Segment and surface
    public const string BeyondValues = "beyond-values";
    public const string BodyCutAtBorder = "body-cut-at-border";
    public const string CutThroughMaterial = "cut-through-material";
    public const string FragmentsDropped = "fragments-dropped";
    public const string MetalPresent = "metal-present";
    public const string RegionEmpty = "region-empty";
    public const string SeveralPieces = "several-pieces";
    public const string StrokeWithoutEffect = "stroke-without-effect";
    public const string SupportNotJudged = "support-not-judged";
    public const string SupportRemoved = "support-removed";
    public const string SurfaceNearMetal = "surface-near-metal";
    public const string ThinBoneAdded = "thin-bone-added";
    public const string ThresholdChosen = "threshold-chosen";
    public const string ThresholdSuggested = "threshold-suggested";

    // Point cloud
    public const string NormalsEstimated = "normals-estimated";
    public const string NormalsInconsistent = "normals-inconsistent";
    public const string NormalsInward = "normals-inward";
    public const string OrientationUnsure = "orientation-unsure";
    public const string OutliersRemoved = "outliers-removed";
    public const string ScrapsDropped = "scraps-dropped";
    public const string SurfaceOpen = "surface-open";

    // Repair
    public const string BorderLeftOpen = "border-left-open";
    public const string BordersStitched = "borders-stitched";
    public const string BridgeLaid = "bridge-laid";
    public const string BridgeNotLaid = "bridge-not-laid";
    public const string CavitiesFilled = "cavities-filled";
    public const string DegenerateKept = "degenerate-kept";
    public const string DuplicatesRemoved = "duplicates-removed";
    public const string FillCrosses = "fill-crosses";
    public const string HoleNotFilled = "hole-not-filled";
    public const string HiddenPiecesDropped = "hidden-pieces-dropped";
    public const string HolesFilled = "holes-filled";
    public const string NothingLeft = "nothing-left";
    public const string NothingSelected = "nothing-selected";
    public const string OneSidedSurface = "one-sided-surface";
    public const string PiecesCross = "pieces-cross";
    public const string PiecesTurned = "pieces-turned";
    public const string SelectionRemoved = "selection-removed";
    public const string SelfIntersectionKept = "self-intersection-kept";
    public const string SelfIntersectionsRemoved = "self-intersections-removed";
    public const string SurfaceParted = "surface-parted";
    public const string TagsRemoved = "tags-removed";
    public const string TrianglesTurned = "triangles-turned";

    // Mesh
    public const string DegenerateRemoved = "degenerate-removed";
    public const string MeshNotSolid = "mesh-not-solid";
    public const string SizeImplausible = "size-implausible";
    public const string UnitUnknown = "unit-unknown";

    // Mesh and point files
    public const string DegeneratePresent = "degenerate-present";
    public const string ExtraBytes = "extra-bytes";
    public const string FacesSkipped = "faces-skipped";
    public const string HeaderMisleading = "header-misleading";
    public const string MirroredByFile = "mirrored-by-file";
    public const string NormalsDisagree = "normals-disagree";
    public const string NormalsIgnored = "normals-ignored";
    public const string ObjectsJoined = "objects-joined";
    public const string ObjectsSkipped = "objects-skipped";
    public const string PatientPositionKept = "patient-position-kept";
    public const string PolygonsCut = "polygons-cut";
    public const string PolygonsFolded = "polygons-folded";
    public const string SizeNotJudged = "size-not-judged";
    public const string UnitDisagrees = "unit-disagrees";
    public const string VerticesWelded = "vertices-welded";

    // Shape
    public const string LandmarksMirrored = "landmarks-mirrored";
    public const string ModelScaled = "model-scaled";
    public const string SideMirrored = "side-mirrored";
    public const string TriangleTargetMissed = "triangle-target-missed";
    public const string TrianglesKept = "triangles-kept";

    // Shell
    public const string CavitiesNotMade = "cavities-not-made";
    public const string SheetRedrawn = "sheet-redrawn";
    public const string WallThin = "wall-thin";

    // Combine and mark
    public const string CutSettled = "cut-settled";
    public const string DrainsMade = "drains-made";
    public const string FewerPegs = "fewer-pegs";
    public const string PiecesUnited = "pieces-united";
    public const string SeamBlended = "seam-blended";
    public const string SolidsApart = "solids-apart";
    public const string TextMarked = "text-marked";
    public const string StructuresOverlap = "structures-overlap";
    public const string StructuresSeparated = "structures-separated";
    public const string VoidsClosed = "voids-closed";

    // Prepare
    public const string CupHoldsLiquid = "cup-holds-liquid";
    public const string GapNarrow = "gap-narrow";
    public const string IslandsPresent = "islands-present";
    public const string KeptNeedsSupport = "kept-needs-support";
    public const string NeckNarrow = "neck-narrow";
    public const string OrientationChosen = "orientation-chosen";
    public const string PartTooLarge = "part-too-large";
    public const string SeveralPlates = "several-plates";
    public const string ShrinkCompensated = "shrink-compensated";
    public const string StandsUnsteady = "stands-unsteady";
    public const string SupportOutOfReach = "support-out-of-reach";
    public const string ThroatNarrow = "throat-narrow";
    public const string VoidTraps = "void-traps";
    public const string WallBelowProcess = "wall-below-process";

    // Inspect
    public const string CalibrationExpired = "calibration-expired";
    public const string PrintDeviates = "print-deviates";
    public const string PrintMirrored = "print-mirrored";
    public const string PrintOtherPart = "print-other-part";
    public const string PrintScaled = "print-scaled";
    public const string ReadingsScatter = "readings-scatter";
    public const string ScanCoversLittle = "scan-covers-little";

    // Verify
    public const string AngleDiffers = "angle-differs";
    public const string DeviationLarge = "deviation-large";
    public const string DistanceDiffers = "distance-differs";
    public const string FewSamplesAcross = "few-samples-across";
    public const string LandmarkFar = "landmark-far";
    public const string LandmarksCoincide = "landmarks-coincide";
    public const string LandmarksNotMeasured = "landmarks-not-measured";
    public const string ModelMirrored = "model-mirrored";
    public const string ModelMoved = "model-moved";
    public const string ModelOfOtherSource = "model-of-other-source";
    public const string ModelScaledUnasked = "model-scaled-unasked";
    public const string ModelSmoothed = "model-smoothed";
    public const string SurfaceSoft = "surface-soft";
}
