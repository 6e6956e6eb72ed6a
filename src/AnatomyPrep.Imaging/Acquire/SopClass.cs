namespace AnatomyPrep.Imaging.Acquire;

/// <summary>What kind of object a DICOM file holds, in words a technician knows.</summary>
/// <remarks>UIDs: DICOM PS3.6 table A-1. Only the kinds that turn up in CT folders are named.</remarks>
internal static class SopClass
{
    public const string Ct = Storage + "2";
    public const string EnhancedCt = Storage + "2.1";
    public const string LegacyConvertedCt = Storage + "2.2";

    public const string Directory = "1.2.840.10008.1.3.10";

    private const string Storage = "1.2.840.10008.5.1.4.1.1.";

    private static readonly Dictionary<string, string> s_names = new(StringComparer.Ordinal)
    {
        [Ct] = "CT Image",
        [EnhancedCt] = "Enhanced CT Image",
        [LegacyConvertedCt] = "Legacy Converted Enhanced CT Image",
        [Directory] = "a directory of files (DICOMDIR)",
        [Storage + "1"] = "Computed Radiography Image",
        [Storage + "1.1"] = "Digital X-Ray Image",
        [Storage + "4"] = "MR Image",
        [Storage + "4.1"] = "Enhanced MR Image",
        [Storage + "6.1"] = "Ultrasound Image",
        [Storage + "7"] = "Secondary Capture Image",
        [Storage + "7.1"] = "Secondary Capture Image (1 bit)",
        [Storage + "7.2"] = "Secondary Capture Image (8 bit)",
        [Storage + "7.3"] = "Secondary Capture Image (16 bit)",
        [Storage + "7.4"] = "Secondary Capture Image (colour)",
        [Storage + "11.1"] = "Grayscale Presentation State",
        [Storage + "13.1.3"] = "X-Ray 3D Craniofacial Image",
        [Storage + "20"] = "Nuclear Medicine Image",
        [Storage + "66"] = "Raw Data",
        [Storage + "66.1"] = "Spatial Registration",
        [Storage + "66.4"] = "Segmentation",
        [Storage + "66.5"] = "Surface Segmentation",
        [Storage + "88.11"] = "Basic Text Report",
        [Storage + "88.22"] = "Enhanced Report",
        [Storage + "88.33"] = "Comprehensive Report",
        [Storage + "88.59"] = "Key Object Selection",
        [Storage + "88.67"] = "X-Ray Radiation Dose Report",
        [Storage + "104.1"] = "Encapsulated PDF",
        [Storage + "104.3"] = "Encapsulated STL",
        [Storage + "128"] = "PET Image",
        [Storage + "481.1"] = "RT Image",
        [Storage + "481.2"] = "RT Dose",
        [Storage + "481.3"] = "RT Structure Set",
        [Storage + "481.5"] = "RT Plan",
    };

    public static bool IsCt(string uid) => uid is Ct or EnhancedCt or LegacyConvertedCt;

    /// <summary>True for the kinds whose geometry sits in functional groups, one per frame.</summary>
    public static bool IsEnhanced(string uid) => uid is EnhancedCt or LegacyConvertedCt;

    public static string Name(string uid) => s_names.TryGetValue(uid, out var name) ? name : "another kind of DICOM object";
}
