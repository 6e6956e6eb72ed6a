using AnatomyPrep.Core.Dicom;

namespace AnatomyPrep.Imaging.Export;

/// <summary>What an encapsulated model says beside its triangles.</summary>
/// <param name="SourceSha256">Hash of the source, hex; with the plan's it gives the identifiers of series and object.</param>
/// <param name="StudyUid">Of the study that the model goes to.</param>
/// <param name="FrameOfReferenceUid">Of the space the model lies in.</param>
/// <param name="Title">No personal data: it goes into the file as it is.</param>
/// <param name="IsMirrored">The model shows left as right on purpose.</param>
/// <param name="Patient">Null for a model without identifiers.</param>
public sealed record EncapsulatedStlDescription(
    string SourceSha256, string PlanSha256, string StudyUid, string FrameOfReferenceUid, string Title, bool IsMirrored, PatientStudy? Patient = null);

/// <summary>A binary STL in a DICOM object that an archive takes.</summary>
/// <remarks>
/// Source: DICOM PS3.3, A.85.1 (Encapsulated STL IOD) with C.24.2 (Encapsulated Document) and C.35.1 (Manufacturing 3D Model), from
///   memory; checked with dciodvfy.
/// Without a patient, the attributes of patient and study are empty, and the object says that its identity was removed (PS3.3, C.7.1.1). Identifiers of
///   series and object are made of the hashes of source and plan under 2.25, so the same run gives the same bytes. The source's
///   instances are not listed: optional, and a model leans on the frame of reference.
/// Memory: none to speak of, the STL is copied through; it must be below 1 GiB.
/// </remarks>
public static class EncapsulatedStl
{
    /// <param name="stl">The file, whole, from its beginning; an odd number of bytes is padded, and its true length stated.</param>
    /// <exception cref="ArgumentException">Nothing, or 1 GiB or more, or no frame of reference.</exception>
    public static void Write(Stream stl, EncapsulatedStlDescription description, Stream to)
    {
        if (stl.Length is 0 or >= 1 << 30)
            throw new ArgumentException($"{stl.Length} bytes cannot be encapsulated; between 1 byte and 1 GiB can.", nameof(stl));
        if (description.FrameOfReferenceUid.Length == 0)
            throw new ArgumentException("A model without a frame of reference has no place in an archive.", nameof(description));
        var set = new DicomDataSet();
        PatientAndStudy(set, description);
        SeriesAndEquipment(set, description);
        Document(set, stl, description);
        Model(set, description);
        new DicomFile(set, implicitVr: false, "ANATOMYPREP").WriteTo(to);
    }

    private static void PatientAndStudy(DicomDataSet set, EncapsulatedStlDescription description)
    {
        var patient = description.Patient ?? new("", "", "", "", "", "");
        set
            .Text(new(0x0008, 0x0005), Vr.CS, "ISO_IR 192")
            .Text(new(0x0010, 0x0010), Vr.PN, patient.Name)
            .Text(new(0x0010, 0x0020), Vr.LO, patient.Id)
            .Text(new(0x0010, 0x0030), Vr.DA, Date(patient.BirthDate))
            .Text(new(0x0010, 0x0040), Vr.CS, patient.Sex is "M" or "F" or "O" ? patient.Sex : "")
            .Text(new(0x0020, 0x000D), Vr.UI, description.StudyUid)
            .Text(new(0x0008, 0x0020), Vr.DA, Date(patient.StudyDate))
            .Text(new(0x0008, 0x0030), Vr.TM, "")
            .Text(new(0x0008, 0x0090), Vr.PN, "")
            .Text(new(0x0020, 0x0010), Vr.SH, "")
            .Text(new(0x0008, 0x0050), Vr.SH, patient.AccessionNumber);
        if (description.Patient is null)
            set.Text(new(0x0012, 0x0062), Vr.CS, "YES").Text(new(0x0012, 0x0063), Vr.LO, "Identifiers left out, UIDs replaced by keyed ones");
    }

    // A date that is none would make the object invalid, and says nothing.
    private static string Date(string value) => value.Length == 8 && value.All(char.IsAsciiDigit) ? value : "";

    private static void SeriesAndEquipment(DicomDataSet set, EncapsulatedStlDescription description) => set
        .Text(new(0x0008, 0x0060), Vr.CS, "M3D")
        .Text(new(0x0020, 0x000E), Vr.UI, DicomUid.From($"series {description.SourceSha256} {description.PlanSha256}"))
        .Integer(new(0x0020, 0x0011), 1)
        .Text(new(0x0020, 0x0052), Vr.UI, description.FrameOfReferenceUid)
        .Text(new(0x0020, 0x1040), Vr.LO, "")
        .Text(new(0x0008, 0x0070), Vr.LO, "AnatomyPrep")
        .Text(new(0x0008, 0x1090), Vr.LO, "AnatomyPrep")
        // Type 1; the program has no serial number, and its version would change bytes that are the same model.
        .Text(new(0x0018, 0x1000), Vr.LO, "none")
        .Text(new(0x0018, 0x1020), Vr.LO, "1");

    private static void Document(DicomDataSet set, Stream stl, EncapsulatedStlDescription description) => set
        .Text(new(0x0008, 0x0016), Vr.UI, DicomUid.EncapsulatedStlStorage)
        .Text(new(0x0008, 0x0018), Vr.UI, DicomUid.From($"model {description.SourceSha256} {description.PlanSha256}"))
        .Integer(new(0x0020, 0x0013), 1)
        .Text(new(0x0008, 0x0023), Vr.DA, "")
        .Text(new(0x0008, 0x0033), Vr.TM, "")
        .Text(new(0x0008, 0x002A), Vr.DT, "")
        .Text(new(0x0028, 0x0301), Vr.CS, "NO")
        .Text(new(0x0042, 0x0010), Vr.ST, description.Title)
        .Sequence(new(0x0040, 0xA043))
        .Text(new(0x0042, 0x0012), Vr.LO, "model/stl")
        .Bytes(new(0x0042, 0x0011), Vr.OB, stl)
        .Bytes(new(0x0042, 0x0015), Vr.UL, BitConverter.GetBytes((uint)stl.Length));

    private static void Model(DicomDataSet set, EncapsulatedStlDescription description) => set
        .Sequence(new(0x0040, 0x08EA), new DicomDataSet()
            .Text(new(0x0008, 0x0100), Vr.SH, "mm")
            .Text(new(0x0008, 0x0102), Vr.SH, "UCUM")
            .Text(new(0x0008, 0x0104), Vr.LO, "mm"))
        .Text(new(0x0068, 0x7001), Vr.CS, "YES")
        .Text(new(0x0068, 0x7002), Vr.CS, description.IsMirrored ? "YES" : "NO");
}
