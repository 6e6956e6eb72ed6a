using System.Text;

namespace AnatomyPrep.Core.Dicom;

/// <summary>One object as a file: preamble, file meta information, data set.</summary>
/// <remarks>Encoding: DICOM PS3.10, 7.1; the meta group is explicit VR whatever the rest is.</remarks>
/// <param name="writer">Name of the writer in the file meta information, at most 16 characters.</param>
public sealed class DicomFile(DicomDataSet dataSet, bool implicitVr, string writer = "ANATOMYPREP_PHAN")
{
    private static readonly DicomTag s_sopClassUid = new(0x0008, 0x0016);
    private static readonly DicomTag s_sopInstanceUid = new(0x0008, 0x0018);

    public DicomDataSet DataSet { get; } = dataSet;

    public byte[] Encode()
    {
        using var file = new MemoryStream();
        WriteTo(file);
        return file.ToArray();
    }

    /// <summary>As <see cref="Encode"/>, without holding the whole in memory.</summary>
    public void WriteTo(Stream file)
    {
        var meta = new DicomDataSet()
            .Bytes(new DicomTag(0x0002, 0x0001), Vr.OB, [0, 1])
            .Text(new DicomTag(0x0002, 0x0002), Vr.UI, DataSet.TextOf(s_sopClassUid) ?? "")
            .Text(new DicomTag(0x0002, 0x0003), Vr.UI, DataSet.TextOf(s_sopInstanceUid) ?? "")
            .Text(new DicomTag(0x0002, 0x0010), Vr.UI, implicitVr ? DicomUid.ImplicitVrLittleEndian : DicomUid.ExplicitVrLittleEndian)
            .Text(new DicomTag(0x0002, 0x0012), Vr.UI, DicomUid.ImplementationClass)
            .Text(new DicomTag(0x0002, 0x0013), Vr.SH, writer);
        using var group = new MemoryStream();
        meta.WriteTo(group, implicitVr: false);
        var length = new DicomDataSet().Bytes(new DicomTag(0x0002, 0x0000), Vr.UL, BitConverter.GetBytes((uint)group.Length));

        file.Write(new byte[128]);
        file.Write(Encoding.ASCII.GetBytes("DICM"));
        length.WriteTo(file, implicitVr: false);
        group.WriteTo(file);
        DataSet.WriteTo(file, implicitVr);
    }
}
