using System.Globalization;
using AnatomyPrep.Core.Dicom;

namespace AnatomyPrep.Phantoms.Dicom;

/// <summary>Faults put into phantom files on purpose: what a reader must name, and must survive.</summary>
public static class Damage
{
    /// <summary>Leaves one attribute out.</summary>
    /// <exception cref="ArgumentException">The file does not have it: the damage would be none.</exception>
    public static void Drop(DicomFile file, DicomTag tag)
    {
        if (!file.DataSet.Remove(tag))
            throw new ArgumentException($"The file has no {tag} to drop.", nameof(tag));
    }

    /// <summary>The first bytes of a file and no more.</summary>
    public static byte[] Truncate(byte[] file, int keptBytes) => file[..Math.Clamp(keptBytes, 0, file.Length)];

    /// <summary>Replaces one byte, counted from the start of the file.</summary>
    public static byte[] Flip(byte[] file, int at)
    {
        var changed = file.ToArray();
        changed[at] ^= 0xFF;
        return changed;
    }

    /// <summary>Puts the slice into another frame of reference than its series.</summary>
    public static void OtherFrameOfReference(DicomFile file) =>
        file.DataSet.Text(Tags.FrameOfReferenceUid, Vr.UI, DicomUid.From("another frame of reference"));

    /// <summary>Calls the slice an MR image.</summary>
    public static void AsMr(DicomFile file) => file.DataSet
        .Text(Tags.SopClassUid, Vr.UI, DicomUid.MrImageStorage)
        .Text(Tags.Modality, Vr.CS, "MR");

    /// <summary>Calls the slice a picture of a screen, as archives hold beside the series.</summary>
    public static void AsSecondaryCapture(DicomFile file)
    {
        file.DataSet
            .Text(Tags.SopClassUid, Vr.UI, DicomUid.SecondaryCaptureStorage)
            .Text(Tags.Modality, Vr.CS, "OT")
            .Text(Tags.ConversionType, Vr.CS, "WSD");
        foreach (var tag in (ReadOnlySpan<DicomTag>)[Tags.ImagePositionPatient, Tags.ImageOrientationPatient, Tags.FrameOfReferenceUid, Tags.PositionReferenceIndicator])
            file.DataSet.Remove(tag);
    }

    /// <summary>Calls the slice a scout view.</summary>
    public static void AsScout(DicomFile file) => file.DataSet.Text(Tags.ImageType, Vr.CS, "ORIGINAL\\PRIMARY\\LOCALIZER");

    /// <summary>Claims more rows than there are pixels for.</summary>
    public static void ClaimRows(DicomFile file, ushort rows) => file.DataSet.UnsignedShort(Tags.Rows, rows);

    /// <summary>States a gantry tilt that the positions do not bear out.</summary>
    public static void ClaimTilt(DicomFile file, double tiltDeg) =>
        file.DataSet.Text(Tags.GantryTilt, Vr.DS, tiltDeg.ToString("R", CultureInfo.InvariantCulture));
}
