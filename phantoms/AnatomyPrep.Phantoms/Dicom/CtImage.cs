using System.Buffers.Binary;
using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Phantoms.Dicom;

/// <summary>One slice as a CT Image object.</summary>
/// <remarks>Attributes: DICOM PS3.3, A.3 (CT Image IOD): modules Patient to SOP Common, all of types 1 and 2.</remarks>
internal sealed class CtImage(PhantomSeries series, SliceGeometry geometry)
{
    private readonly Acquisition _acquisition = series.Acquisition;
    private readonly StoredFormat _format = series.Stored;
    private readonly Identity _identity = series.Identity;
    private readonly string _studyUid = series.StudyUid;
    private readonly string _seriesUid = series.SeriesUid;
    private readonly string _frameOfReferenceUid = series.FrameOfReferenceUid;
    private readonly int[] _instanceNumbers = series.InstanceNumbers();

    /// <param name="slice">Counted along the slice normal.</param>
    /// <param name="stored">Stored values, [rows][columns].</param>
    internal DicomFile Build(int slice, ReadOnlySpan<int> stored)
    {
        var set = new DicomDataSet().Text(Tags.SpecificCharacterSet, Vr.CS, "ISO_IR 192");
        PatientAndStudy(set);
        SeriesAndEquipment(set);
        Image(set, slice);
        Plane(set, slice);
        Pixels(set, slice, stored);
        foreach (var (tag, vr, value) in _identity.Further)
            set.Text(tag, vr, value);
        foreach (var (tag, item) in _identity.Sequences)
            set.Sequence(tag, item);
        return new DicomFile(set, _format.ImplicitVr);
    }

    private void PatientAndStudy(DicomDataSet set) => set
        .Text(Tags.PatientName, Vr.PN, _identity.PatientName)
        .Text(Tags.PatientId, Vr.LO, _identity.PatientId)
        .Text(Tags.PatientBirthDate, Vr.DA, _identity.PatientBirthDate)
        .Text(Tags.PatientSex, Vr.CS, _identity.PatientSex)
        .Text(Tags.StudyInstanceUid, Vr.UI, _studyUid)
        .Text(Tags.StudyDate, Vr.DA, _identity.StudyDate)
        .Text(Tags.StudyTime, Vr.TM, _identity.StudyTime)
        .Text(Tags.StudyId, Vr.SH, _identity.StudyId)
        .Text(Tags.StudyDescription, Vr.LO, _identity.StudyDescription)
        .Text(Tags.AccessionNumber, Vr.SH, _identity.AccessionNumber)
        .Text(Tags.ReferringPhysicianName, Vr.PN, _identity.ReferringPhysicianName);

    private void SeriesAndEquipment(DicomDataSet set) => set
        .Text(Tags.Modality, Vr.CS, "CT")
        .Text(Tags.SeriesInstanceUid, Vr.UI, _seriesUid)
        .Integer(Tags.SeriesNumber, series.SeriesNumber)
        .Text(Tags.SeriesDate, Vr.DA, _identity.StudyDate)
        .Text(Tags.SeriesTime, Vr.TM, _identity.StudyTime)
        .Text(Tags.SeriesDescription, Vr.LO, $"INVENTED {series.Scene.Name}")
        .Text(Tags.BodyPartExamined, Vr.CS, _identity.BodyPartExamined)
        .Text(Tags.PatientPosition, Vr.CS, series.PatientPosition)
        .Text(Tags.FrameOfReferenceUid, Vr.UI, _frameOfReferenceUid)
        .Text(Tags.PositionReferenceIndicator, Vr.LO, "")
        .Text(Tags.Manufacturer, Vr.LO, "AnatomyPrep phantoms")
        .Text(Tags.ManufacturerModelName, Vr.LO, "analytic solids")
        .Text(Tags.SoftwareVersions, Vr.LO, "1")
        .Text(Tags.InstitutionName, Vr.LO, _identity.InstitutionName);

    private void Image(DicomDataSet set, int slice) => set
        .Text(Tags.SopClassUid, Vr.UI, DicomUid.CtImageStorage)
        .Text(Tags.SopInstanceUid, Vr.UI, PhantomSeries.SopInstanceUid(_seriesUid, slice))
        .Integer(Tags.InstanceNumber, _instanceNumbers[slice])
        .Integer(Tags.AcquisitionNumber, 1)
        .Text(Tags.ImageType, Vr.CS, "ORIGINAL\\PRIMARY\\AXIAL")
        .Text(Tags.ContentDate, Vr.DA, _identity.StudyDate)
        .Text(Tags.ContentTime, Vr.TM, _identity.StudyTime)
        .Text(Tags.AcquisitionDate, Vr.DA, _identity.StudyDate)
        .Text(Tags.AcquisitionTime, Vr.TM, _identity.StudyTime)
        .Text(Tags.ImageComments, Vr.LT, "Computed from analytic solids: no person was scanned.")
        .Text(Tags.LossyImageCompression, Vr.CS, "00")
        .Text(Tags.BurnedInAnnotation, Vr.CS, "NO")
        .Text(Tags.Kvp, Vr.DS, "120")
        .Text(Tags.ConvolutionKernel, Vr.SH, "ANALYTIC")
        .Decimal(Tags.GantryTilt, _acquisition.GantryTiltDeg);

    private void Plane(DicomDataSet set, int slice)
    {
        var position = geometry.PositionsMm[slice];
        set.Text(Tags.PixelSpacing, Vr.DS, DecimalString.Format(geometry.RowSpacingMm, geometry.ColumnSpacingMm))
            .Text(Tags.ImageOrientationPatient, Vr.DS, $"{DecimalString.Format(geometry.AlongRow)}\\{DecimalString.Format(geometry.AlongColumn)}")
            .Text(Tags.ImagePositionPatient, Vr.DS, DecimalString.Format(position))
            .Decimal(Tags.SliceThickness, _acquisition.SliceThicknessMm)
            .Decimal(Tags.SliceLocation, Vec3.Dot(geometry.Map.Normal, position));
    }

    private void Pixels(DicomDataSet set, int slice, ReadOnlySpan<int> stored)
    {
        var rescale = _format.Of(slice);
        set.UnsignedShort(Tags.SamplesPerPixel, 1)
            .Text(Tags.PhotometricInterpretation, Vr.CS, "MONOCHROME2")
            .UnsignedShort(Tags.Rows, (ushort)_acquisition.Rows)
            .UnsignedShort(Tags.Columns, (ushort)_acquisition.Columns)
            .UnsignedShort(Tags.BitsAllocated, 16)
            .UnsignedShort(Tags.BitsStored, (ushort)_format.BitsStored)
            .UnsignedShort(Tags.HighBit, (ushort)(_format.BitsStored - 1))
            .UnsignedShort(Tags.PixelRepresentation, (ushort)(_format.Signed ? 1 : 0))
            .Text(Tags.RescaleSlope, Vr.DS, DecimalString.Format(rescale.Slope))
            .Text(Tags.RescaleIntercept, Vr.DS, DecimalString.Format(rescale.InterceptHu))
            .Text(Tags.RescaleType, Vr.LO, "HU")
            .Text(Tags.WindowCenter, Vr.DS, "300")
            .Text(Tags.WindowWidth, Vr.DS, "1500");
        if (_acquisition.CircleRadiusMm is not null)
        {
            if (_format.Signed)
                set.SignedShort(Tags.PixelPaddingValue, (short)_format.Padding);
            else
                set.UnsignedShort(Tags.PixelPaddingValue, (ushort)_format.Padding);
        }

        set.Bytes(Tags.PixelData, Vr.OW, Words(slice, stored));
    }

    private byte[] Words(int slice, ReadOnlySpan<int> stored)
    {
        var bytes = new byte[stored.Length * 2];
        var mask = (1 << _format.BitsStored) - 1;
        for (var i = 0; i < stored.Length; i++)
        {
            var word = stored[i];
            if (_format.RubbishInUnusedBits)
                word = (word & mask) | ((int)Philox.Block(0, 0, (uint)i, (uint)slice, 0, 1).A & ~mask);
            BinaryPrimitives.WriteUInt16LittleEndian(bytes.AsSpan(2 * i), (ushort)word);
        }

        return bytes;
    }
}
