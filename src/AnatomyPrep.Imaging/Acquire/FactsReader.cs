using System.Globalization;
using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Turns the raw attributes of one file into <see cref="FileFacts"/>, or into the reason why it is none of ours.</summary>
/// <remarks>
/// Rules: DICOM PS3.3 A.3 (CT Image), A.38 (Enhanced CT), C.7.6.3 (Image Pixel), C.8.2.1 (CT Image). Pixel data is
/// measured against rows × columns × bits × frames: a declared length is never enough.
/// </remarks>
internal sealed class FactsReader(DicomHeader header, byte[] salt)
{
    private const int LargestMatrix = 8192;
    private const string NotOurs = "Give a CT series.";
    private const string OtherForm = "Ask for the series as plain 16-bit CT images.";
    private const string Resend = "Send this file again from its source.";

    private static readonly HashSet<string> s_positions = ["HFS", "HFP", "HFDR", "HFDL", "FFS", "FFP", "FFDR", "FFDL", "LFP", "LFS", "RFP", "RFS", "AFDR", "AFDL", "PFDR", "PFDL"];
    private static readonly HashSet<string> s_sides = ["R", "L", "B", "U"];
    private static readonly HashSet<string> s_rescaleTypes = ["HU", "US", "OD", "MGML", "Z_EFF", "ED", "EDW", "HU_MOD", "PCT"];

    public static ScanResult Read(ByteSource file, byte[] salt)
    {
        var header = HeaderWalker.Read(file);
        return new FactsReader(header, salt).Read();
    }

    public ScanResult Read()
    {
        var sopClass = HeaderText.Uid(header.Find(Tag.SopClassUid));
        if (sopClass is null && IsDirectory())
            return new(null, OtherKind(SopClass.Directory), header.Fault is null ? [.. References()] : null);
        if (sopClass is null)
            return new(null, header.Fault ?? new(FindingCodes.FileNotImage, Tag.Name(Tag.SopClassUid), "missing", NotOurs));
        if (!SopClass.IsCt(sopClass))
            return new(null, OtherKind(sopClass));
        if (HeaderText.Code(header.Find(Tag.Modality)) is { } modality and not "CT")
            return new(null, new(FindingCodes.FileNotCt, Tag.Name(Tag.Modality), $"{modality}, in a CT Image", NotOurs));
        var series = HeaderText.Uid(header.Find(Tag.SeriesInstanceUid));
        var study = HeaderText.Uid(header.Find(Tag.StudyInstanceUid));
        if (series is null || study is null)
            return new(null, header.Fault ?? Missing(FindingCodes.FileUnreadable, series is null ? Tag.SeriesInstanceUid : Tag.StudyInstanceUid));
        var frames = SopClass.IsEnhanced(sopClass) ? header.Frames.Count : 1;
        var facts = ReadFacts(sopClass, study, series, frames);
        return new(facts, header.Fault ?? CheckPixels(facts, frames));
    }

    private bool IsDirectory() =>
        HeaderText.Uid(header.Find(Tag.MediaStorageSopClassUid)) == SopClass.Directory || header.Records.Count > 0;

    private IEnumerable<string> References() => header.Records
        .Select(r => r.GetValueOrDefault(Tag.ReferencedFileId)).OfType<byte[]>()
        .Select(value => HeaderText.FileId(value) ?? "");

    private Fault OtherKind(string sopClass)
    {
        var isImage = header.Elements.ContainsKey(Tag.Rows);
        var modality = HeaderText.Code(header.Find(Tag.Modality));
        var what = $"{SopClass.Name(sopClass)}{(modality is null ? "" : $", Modality {modality}")}, not a CT Image";
        return new(isImage ? FindingCodes.FileNotCt : FindingCodes.FileNotImage, Tag.Name(Tag.SopClassUid), what, NotOurs);
    }

    private FileFacts ReadFacts(string sopClass, string study, string series, int frames)
    {
        var big = header.Syntax.BigEndian;
        var ratio = HeaderText.Decimals(header.Find(Tag.LossyRatio));
        return new FileFacts
        {
            SopClass = sopClass,
            SopInstance = HeaderText.Uid(header.Find(Tag.SopInstanceUid)) ?? "",
            Study = study,
            Series = series,
            FrameOfReference = HeaderText.Uid(header.Find(Tag.FrameOfReferenceUid)) ?? "",
            SeriesNumber = HeaderText.Integer(header.Find(Tag.SeriesNumber)),
            AcquisitionNumber = HeaderText.Integer(header.Find(Tag.AcquisitionNumber)),
            TemporalPosition = HeaderText.Integer(header.Find(Tag.TemporalPosition)),
            ImageTypeMark = Mark(header.Find(Tag.ImageType)),
            TimeMark = TimeMark(),
            Derived = HeaderText.Code(header.Find(Tag.ImageType)) == "DERIVED",
            BurnedIn = HeaderText.Code(header.Find(Tag.BurnedInAnnotation)) == "YES",
            PatientMark = Mark(header.Find(Tag.PatientId)),
            Syntax = header.Syntax.Uid,
            HasMeta = header.HasMeta,
            SourceTitle = HeaderText.Title(header.Find(Tag.SourceTitle)),
            Localizer = IsLocalizer(frames),
            Rows = HeaderText.Unsigned(header.Find(Tag.Rows), big) ?? 0,
            Columns = HeaderText.Unsigned(header.Find(Tag.Columns), big) ?? 0,
            Layout = ReadLayout(big),
            Monochrome1 = HeaderText.Code(header.Find(Tag.Photometric)) == "MONOCHROME1",
            ExtraPixelBytes = ExtraPixelBytes(big, frames),
            TiltTagDeg = HeaderText.Decimal(header.Find(Tag.GantryTilt)),
            Kernel = HeaderText.Label(header.Find(Tag.ConvolutionKernel)),
            BodyPart = HeaderText.Code(header.Find(Tag.BodyPartExamined)) is { } part && BodyParts.Terms.Contains(part) ? part : null,
            Laterality = (HeaderText.Code(header.Find(Tag.ImageLaterality)) ?? HeaderText.Code(header.Find(Tag.Laterality))) is { } side && s_sides.Contains(side) ? side : null,
            PatientPosition = HeaderText.Code(header.Find(Tag.PatientPosition)) is { } p && s_positions.Contains(p) ? p : null,
            HasContrast = HeaderText.IsFilled(header.Find(Tag.ContrastAgent)) || HeaderText.Code(header.Find(Tag.ContrastAdministered, 0)) == "YES",
            Lossy = header.Syntax.Lossy || HeaderText.Code(header.Find(Tag.LossyCompression)) == "01",
            LossyRatio = ratio is [.., var last] && last > 0 ? last : null,
            Slices = [.. Enumerable.Range(0, frames).Select(f => ReadSlice(f, frames))],
        };
    }

    private SliceFacts ReadSlice(int frame, int frames) => new(
        Exactly(HeaderText.Decimals(header.Find(Tag.ImagePosition, frame)), 3),
        Exactly(HeaderText.Decimals(header.Find(Tag.ImageOrientation, frame)), 6),
        Exactly(HeaderText.Decimals(header.Find(Tag.PixelSpacing, frame)), 2),
        HeaderText.Decimal(header.Find(Tag.SliceThickness, frame)) is { } t && t > 0 ? t : null,
        HeaderText.Decimal(header.Find(Tag.RescaleSlope, frame)),
        HeaderText.Decimal(header.Find(Tag.RescaleIntercept, frame)),
        RescaleType(header.Find(Tag.RescaleType, frame)),
        frames > 1 ? frame : HeaderText.Integer(header.Find(Tag.InstanceNumber)));

    private static double[]? Exactly(double[]? numbers, int count) => numbers?.Length == count ? numbers : null;

    private static string RescaleType(byte[]? value) => !HeaderText.IsFilled(value)
        ? "HU"
        : HeaderText.Code(value) is { } code && s_rescaleTypes.Contains(code) ? code : "other";

    private bool IsLocalizer(int frames) => HeaderText.Codes(header.Find(Tag.ImageType)).Contains("LOCALIZER")
        || (frames > 0 && HeaderText.Codes(header.Find(Tag.FrameType, 0)).Contains("LOCALIZER"));

    private PixelLayout ReadLayout(bool big) => new(
        HeaderText.Unsigned(header.Find(Tag.BitsAllocated), big) ?? 0,
        HeaderText.Unsigned(header.Find(Tag.BitsStored), big) ?? 0,
        HeaderText.Unsigned(header.Find(Tag.HighBit), big) ?? -1,
        HeaderText.Unsigned(header.Find(Tag.PixelRepresentation), big) == 1,
        HeaderText.Unsigned(header.Find(Tag.PixelPaddingValue), big),
        HeaderText.Unsigned(header.Find(Tag.PixelPaddingRangeLimit), big));

    private string TimeMark()
    {
        byte[] when = [.. header.Find(Tag.AcquisitionDateTime) ?? [], 0, .. header.Find(Tag.AcquisitionDate) ?? [], 0, .. header.Find(Tag.AcquisitionTime) ?? []];
        return when.Length > 2 ? Mark(when) : "";
    }

    private string Mark(byte[]? value)
    {
        var id = value ?? [];
        return Convert.ToHexString(HMACSHA256.HashData(salt, id.AsSpan().TrimEnd(" \0"u8)).AsSpan(0, 8));
    }

    private Fault? CheckPixels(FileFacts facts, int frames)
    {
        var layout = facts.Layout;
        if (facts.Rows is < 1 or > LargestMatrix)
            return Layout(Tag.Rows, facts.Rows);
        if (facts.Columns is < 1 or > LargestMatrix)
            return Layout(Tag.Columns, facts.Columns);
        var samples = HeaderText.Unsigned(header.Find(Tag.SamplesPerPixel), header.Syntax.BigEndian) ?? 1;
        if (samples != 1)
            return Layout(Tag.SamplesPerPixel, samples);
        if (HeaderText.Code(header.Find(Tag.Photometric)) is not ("MONOCHROME1" or "MONOCHROME2"))
            return new(FindingCodes.PixelLayoutUnsupported, Tag.Name(Tag.Photometric), "not MONOCHROME1 or MONOCHROME2", OtherForm);
        if (layout.BitsAllocated is not (8 or 16))
            return Layout(Tag.BitsAllocated, layout.BitsAllocated);
        if (layout.BitsStored < 1 || layout.BitsStored > layout.BitsAllocated)
            return Layout(Tag.BitsStored, layout.BitsStored);
        if (layout.HighBit < layout.BitsStored - 1 || layout.HighBit >= layout.BitsAllocated)
            return Layout(Tag.HighBit, layout.HighBit);
        var declaredFrames = header.Find(Tag.NumberOfFrames) is { } n ? HeaderText.Integer(n) ?? 0 : 1;
        if (declaredFrames != frames || frames < 1)
            return Layout(Tag.NumberOfFrames, declaredFrames);
        if (header.Syntax.Coding == PixelCoding.Unsupported)
            return new(FindingCodes.TransferSyntaxUnsupported, Tag.Name(Tag.TransferSyntaxUid), header.Syntax.Name, "Ask for the series uncompressed, or losslessly compressed.");
        return CheckLength(facts, frames);
    }

    private Fault? CheckLength(FileFacts facts, int frames)
    {
        if (header.Pixels is not { } pixels)
            return Missing(FindingCodes.FileTruncated, Tag.PixelData);
        var expected = PixelBytesNeeded(facts.Rows, facts.Columns, facts.Layout.BitsAllocated, frames);
        if (pixels.Native is { } native)
        {
            if (header.Syntax.Coding != PixelCoding.Native)
                return new(FindingCodes.FileUnreadable, Tag.Name(Tag.PixelData), $"not compressed, although the transfer syntax is {header.Syntax.Name}", Resend);
            var there = Math.Min(native.Length, header.Data!.Length - native.Offset);
            return there < expected ? Short(there, expected) : null;
        }

        if (header.Syntax.Coding == PixelCoding.Native)
            return new(FindingCodes.FileUnreadable, Tag.Name(Tag.PixelData), $"in fragments, although the transfer syntax is {header.Syntax.Name}", Resend);
        return FrameFragments.Assign(pixels, header.Data!, header.Syntax.Coding, frames, out _);
    }

    private static Fault Short(long there, long expected) => new(
        FindingCodes.FileTruncated,
        Tag.Name(Tag.PixelData),
        string.Create(CultureInfo.InvariantCulture, $"{there} of the {expected} bytes that rows x columns x bits need"),
        Resend);

    private long ExtraPixelBytes(bool big, int frames)
    {
        if (header.Pixels?.Native is not { } native)
            return 0;
        var needed = PixelBytesNeeded(
            HeaderText.Unsigned(header.Find(Tag.Rows), big) ?? 0,
            HeaderText.Unsigned(header.Find(Tag.Columns), big) ?? 0,
            HeaderText.Unsigned(header.Find(Tag.BitsAllocated), big) ?? 0,
            frames);
        // One byte of padding makes the length even (PS3.5 section 8.1.1).
        return Math.Max(0, native.Length - needed - (needed & 1));
    }

    private static long PixelBytesNeeded(int rows, int columns, int bitsAllocated, int frames) =>
        (long)rows * columns * (bitsAllocated / 8) * frames;

    private static Fault Layout(uint tag, int value) =>
        new(FindingCodes.PixelLayoutUnsupported, Tag.Name(tag), value.ToString(CultureInfo.InvariantCulture), OtherForm);

    private static Fault Missing(string code, uint tag) => new(code, Tag.Name(tag), "missing", Resend);
}
