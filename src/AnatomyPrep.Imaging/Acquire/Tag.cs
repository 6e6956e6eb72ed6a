namespace AnatomyPrep.Imaging.Acquire;

/// <summary>The DICOM attributes that are read, as group × 65536 + element, and their names for messages.</summary>
/// <remarks>Names: DICOM PS3.6. Nothing outside this list leaves the reader child.</remarks>
internal static class Tag
{
    public const uint MediaStorageSopClassUid = 0x0002_0002;
    public const uint TransferSyntaxUid = 0x0002_0010;
    public const uint SourceTitle = 0x0002_0016;
    public const uint ReferencedFileId = 0x0004_1500;
    public const uint SpecificCharacterSet = 0x0008_0005;
    public const uint ImageType = 0x0008_0008;
    public const uint SopClassUid = 0x0008_0016;
    public const uint SopInstanceUid = 0x0008_0018;
    public const uint StudyDate = 0x0008_0020;
    public const uint AcquisitionDate = 0x0008_0022;
    public const uint AcquisitionDateTime = 0x0008_002A;
    public const uint AcquisitionTime = 0x0008_0032;
    public const uint AccessionNumber = 0x0008_0050;
    public const uint Modality = 0x0008_0060;
    public const uint InstitutionName = 0x0008_0080;
    public const uint StudyDescription = 0x0008_1030;
    public const uint SeriesDescription = 0x0008_103E;
    public const uint FrameType = 0x0008_9007;
    public const uint PatientName = 0x0010_0010;
    public const uint PatientId = 0x0010_0020;
    public const uint PatientBirthDate = 0x0010_0030;
    public const uint PatientSex = 0x0010_0040;
    public const uint ContrastAgent = 0x0018_0010;
    public const uint BodyPartExamined = 0x0018_0015;
    public const uint SliceThickness = 0x0018_0050;
    public const uint GantryTilt = 0x0018_1120;
    public const uint ConvolutionKernel = 0x0018_1210;
    public const uint PatientPosition = 0x0018_5100;
    public const uint ContrastAdministered = 0x0018_9342;
    public const uint StudyInstanceUid = 0x0020_000D;
    public const uint SeriesInstanceUid = 0x0020_000E;
    public const uint SeriesNumber = 0x0020_0011;
    public const uint AcquisitionNumber = 0x0020_0012;
    public const uint InstanceNumber = 0x0020_0013;
    public const uint ImagePosition = 0x0020_0032;
    public const uint ImageOrientation = 0x0020_0037;
    public const uint FrameOfReferenceUid = 0x0020_0052;
    public const uint Laterality = 0x0020_0060;
    public const uint ImageLaterality = 0x0020_0062;
    public const uint TemporalPosition = 0x0020_0100;
    public const uint SamplesPerPixel = 0x0028_0002;
    public const uint Photometric = 0x0028_0004;
    public const uint NumberOfFrames = 0x0028_0008;
    public const uint Rows = 0x0028_0010;
    public const uint Columns = 0x0028_0011;
    public const uint PixelSpacing = 0x0028_0030;
    public const uint BitsAllocated = 0x0028_0100;
    public const uint BitsStored = 0x0028_0101;
    public const uint HighBit = 0x0028_0102;
    public const uint PixelRepresentation = 0x0028_0103;
    public const uint PixelPaddingValue = 0x0028_0120;
    public const uint PixelPaddingRangeLimit = 0x0028_0121;
    public const uint BurnedInAnnotation = 0x0028_0301;
    public const uint RecognizableFeatures = 0x0028_0302;
    public const uint RescaleIntercept = 0x0028_1052;
    public const uint RescaleSlope = 0x0028_1053;
    public const uint RescaleType = 0x0028_1054;
    public const uint LossyCompression = 0x0028_2110;
    public const uint LossyRatio = 0x0028_2112;
    public const uint PixelData = 0x7FE0_0010;

    /// <summary>The records of a DICOMDIR.</summary>
    public const uint DirectoryRecords = 0x0004_1220;

    // Sequences of enhanced multi-frame images that hold the attributes above.
    public const uint SharedGroups = 0x5200_9229;
    public const uint PerFrameGroups = 0x5200_9230;

    private static readonly Dictionary<uint, string> s_names = new()
    {
        [MediaStorageSopClassUid] = "Media Storage SOP Class UID",
        [TransferSyntaxUid] = "Transfer Syntax UID",
        [SourceTitle] = "Source Application Entity Title",
        [DirectoryRecords] = "Directory Record Sequence",
        [ReferencedFileId] = "Referenced File ID",
        [ImageType] = "Image Type",
        [SopClassUid] = "SOP Class UID",
        [SopInstanceUid] = "SOP Instance UID",
        [AcquisitionDate] = "Acquisition Date",
        [AcquisitionDateTime] = "Acquisition DateTime",
        [AcquisitionTime] = "Acquisition Time",
        [Modality] = "Modality",
        [FrameType] = "Frame Type",
        [PatientId] = "Patient ID",
        [ContrastAgent] = "Contrast/Bolus Agent",
        [BodyPartExamined] = "Body Part Examined",
        [SliceThickness] = "Slice Thickness",
        [GantryTilt] = "Gantry/Detector Tilt",
        [ConvolutionKernel] = "Convolution Kernel",
        [PatientPosition] = "Patient Position",
        [ContrastAdministered] = "Contrast/Bolus Agent Administered",
        [StudyInstanceUid] = "Study Instance UID",
        [SeriesInstanceUid] = "Series Instance UID",
        [SeriesNumber] = "Series Number",
        [AcquisitionNumber] = "Acquisition Number",
        [InstanceNumber] = "Instance Number",
        [ImagePosition] = "Image Position (Patient)",
        [ImageOrientation] = "Image Orientation (Patient)",
        [FrameOfReferenceUid] = "Frame of Reference UID",
        [Laterality] = "Laterality",
        [ImageLaterality] = "Image Laterality",
        [TemporalPosition] = "Temporal Position Identifier",
        [SamplesPerPixel] = "Samples per Pixel",
        [Photometric] = "Photometric Interpretation",
        [NumberOfFrames] = "Number of Frames",
        [Rows] = "Rows",
        [Columns] = "Columns",
        [PixelSpacing] = "Pixel Spacing",
        [BitsAllocated] = "Bits Allocated",
        [BitsStored] = "Bits Stored",
        [HighBit] = "High Bit",
        [PixelRepresentation] = "Pixel Representation",
        [PixelPaddingValue] = "Pixel Padding Value",
        [PixelPaddingRangeLimit] = "Pixel Padding Range Limit",
        [BurnedInAnnotation] = "Burned In Annotation",
        [RecognizableFeatures] = "Recognizable Visual Features",
        [RescaleIntercept] = "Rescale Intercept",
        [RescaleSlope] = "Rescale Slope",
        [RescaleType] = "Rescale Type",
        [LossyCompression] = "Lossy Image Compression",
        [LossyRatio] = "Lossy Image Compression Ratio",
        [PixelData] = "Pixel Data",
        [SharedGroups] = "Shared Functional Groups Sequence",
        [PerFrameGroups] = "Per-Frame Functional Groups Sequence",
    };

    /// <summary>What says who the patient is and when and where the scan was made; read only when somebody asks to see it.</summary>
    private static readonly Dictionary<uint, string> s_identifiers = new()
    {
        [PatientName] = "Patient's Name",
        [PatientId] = "Patient ID",
        [PatientBirthDate] = "Patient's Birth Date",
        [PatientSex] = "Patient's Sex",
        [StudyDate] = "Study Date",
        [AccessionNumber] = "Accession Number",
        [InstitutionName] = "Institution Name",
        [StudyDescription] = "Study Description",
        [SeriesDescription] = "Series Description",
    };

    /// <summary>Macro sequences inside the functional groups whose single item is read.</summary>
    private static readonly HashSet<uint> s_macros =
    [
        0x0018_9329, // CT Image Frame Type
        0x0018_9341, // Contrast/Bolus Usage
        0x0020_9113, // Plane Position
        0x0020_9116, // Plane Orientation
        0x0028_9110, // Pixel Measures
        0x0028_9145, // Pixel Value Transformation
    ];

    /// <summary>In the order of their numbers.</summary>
    public static IEnumerable<(uint Tag, string Name)> Identifiers => s_identifiers.OrderBy(i => i.Key).Select(i => (i.Key, i.Value));

    public static bool IsIdentifier(uint tag) => tag == SpecificCharacterSet || s_identifiers.ContainsKey(tag);

    public static bool IsRead(uint tag) => s_names.ContainsKey(tag);

    public static bool IsMacro(uint tag) => s_macros.Contains(tag);

    /// <summary>"Pixel Spacing (0028,0030)", or the number alone where the name is not ours to know.</summary>
    public static string Name(uint tag) =>
        s_names.TryGetValue(tag, out var name) ? $"{name} {Number(tag)}" : $"attribute {Number(tag)}";

    private static string Number(uint tag) => FormattableString.Invariant($"({tag >> 16:X4},{tag & 0xFFFF:X4})");
}
