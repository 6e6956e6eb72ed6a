namespace AnatomyPrep.Imaging.Acquire;

/// <summary>How the pixel data of a transfer syntax is packed.</summary>
internal enum PixelCoding
{
    Native,
    Rle,
    Jpeg,
    JpegLs,
    Jpeg2000,

    /// <summary>Known by name, but no decoder here is trusted with it.</summary>
    Unsupported,
}

/// <summary>A DICOM transfer syntax: how the data set and its pixels are written.</summary>
/// <param name="Lossy">The syntax itself loses information (a lossless-capable one may still hold lossy data).</param>
/// <remarks>UIDs: DICOM PS3.6 table A-1; encodings: PS3.5 sections 7, 10, A.</remarks>
internal sealed record TransferSyntax(string Uid, string Name, PixelCoding Coding, bool ImplicitVr = false, bool BigEndian = false, bool Deflated = false, bool Lossy = false)
{
    private const string Root = "1.2.840.10008.1.2";

    public static readonly TransferSyntax ImplicitLittle = new(Root, "Implicit VR Little Endian", PixelCoding.Native, ImplicitVr: true);
    public static readonly TransferSyntax ExplicitLittle = new(Root + ".1", "Explicit VR Little Endian", PixelCoding.Native);
    public static readonly TransferSyntax ExplicitBig = new(Root + ".2", "Explicit VR Big Endian", PixelCoding.Native, BigEndian: true);

    private static readonly Dictionary<string, TransferSyntax> s_known = new TransferSyntax[]
    {
        ImplicitLittle,
        ExplicitLittle,
        ExplicitBig,
        new(Root + ".1.99", "Deflated Explicit VR Little Endian", PixelCoding.Native, Deflated: true),
        new(Root + ".5", "RLE Lossless", PixelCoding.Rle),
        new(Root + ".4.50", "JPEG Baseline (Process 1)", PixelCoding.Jpeg, Lossy: true),
        new(Root + ".4.51", "JPEG Extended (Process 2 and 4)", PixelCoding.Jpeg, Lossy: true),
        new(Root + ".4.53", "JPEG Spectral Selection (Process 6 and 8), retired", PixelCoding.Unsupported, Lossy: true),
        new(Root + ".4.55", "JPEG Full Progression (Process 10 and 12), retired", PixelCoding.Unsupported, Lossy: true),
        new(Root + ".4.57", "JPEG Lossless (Process 14)", PixelCoding.Jpeg),
        new(Root + ".4.70", "JPEG Lossless, First-Order Prediction", PixelCoding.Jpeg),
        new(Root + ".4.80", "JPEG-LS Lossless", PixelCoding.JpegLs),
        new(Root + ".4.81", "JPEG-LS Near-Lossless", PixelCoding.JpegLs, Lossy: true),
        new(Root + ".4.90", "JPEG 2000 Lossless", PixelCoding.Jpeg2000),
        new(Root + ".4.91", "JPEG 2000", PixelCoding.Jpeg2000, Lossy: true),
        new(Root + ".4.201", "High-Throughput JPEG 2000 Lossless", PixelCoding.Unsupported),
        new(Root + ".4.202", "High-Throughput JPEG 2000 RPCL Lossless", PixelCoding.Unsupported),
        new(Root + ".4.203", "High-Throughput JPEG 2000", PixelCoding.Unsupported, Lossy: true),
    }.ToDictionary(s => s.Uid, StringComparer.Ordinal);

    /// <summary>The syntax with this UID; an unknown one is read as explicit little endian with pixels nobody decodes.</summary>
    public static TransferSyntax Find(string uid) =>
        s_known.TryGetValue(uid, out var known) ? known : new TransferSyntax(uid, "unknown transfer syntax", PixelCoding.Unsupported);
}
