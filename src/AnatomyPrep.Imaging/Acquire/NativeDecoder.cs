using System.Runtime.InteropServices;
using gdcm;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// The one place that calls the native library (GDCM): decodes the code stream of one frame. Only for use inside the
/// reader child: on damaged streams the library aborts its process or never returns.
/// </summary>
/// <remarks>
/// GDCM's own file parser is never used, because it aborts on damaged and on some intact files, believes truncated
/// pixel data, and joins fragments wrongly. It is handed an image made here: size and depth as
/// <see cref="CodeStream.Inspect"/> read them from the stream, one fragment with the bytes of one frame. One library
/// object a call, so calls may run in parallel. Extra memory: twice the code stream, twice the picture.
/// </remarks>
internal static class NativeDecoder
{
    private const string Glue = "gdcmsharpglue";
    private const string GluePath = "/usr/lib/cli/gdcm-sharp-3.0/libgdcmsharpglue.so";

    static NativeDecoder()
    {
        NativeLibrary.SetDllImportResolver(
            typeof(Trace).Assembly,
            (name, _, _) => name.Contains(Glue, StringComparison.Ordinal) ? NativeLibrary.Load(GluePath) : IntPtr.Zero);
        Trace.DebugOff();
        Trace.WarningOff();
        Trace.ErrorOff();
    }

    /// <summary>Bytes of a decoded frame, and so the least size of its buffer.</summary>
    public static int DecodedBytes(int rows, int columns, CodeStream stream) => checked(rows * columns * (stream.Precision > 8 ? 2 : 1));

    /// <exception cref="InvalidDataException">The library says it cannot decode the stream.</exception>
    public static void Decode(byte[] code, int length, string syntaxUid, CodeStream stream, int rows, int columns, byte[] decoded)
    {
        var bits = (ushort)(stream.Precision > 8 ? 16 : 8);
        using var fragments = SequenceOfFragments.New();
        using var fragment = new Fragment();
        using var codeLength = new VL((uint)length);
        fragment.SetByteValue(code, codeLength);
        fragments.AddFragment(fragment);
        using var tag = new gdcm.Tag(0x7fe0, 0x0010);
        using var pixels = new DataElement(tag);
        using var ob = new VR(VR.VRType.OB);
        pixels.SetVR(ob);
        pixels.SetValue(fragments.__ref__());
        using var format = new PixelFormat(1, bits, (ushort)stream.Precision, (ushort)(stream.Precision - 1), (ushort)(stream.Signed ? 1 : 0));
        using var grey = new PhotometricInterpretation(PhotometricInterpretation.PIType.MONOCHROME2);
        using var syntax = new gdcm.TransferSyntax(Type(syntaxUid));
        using var image = new Image();
        image.SetNumberOfDimensions(2);
        image.SetDimension(0, (uint)columns);
        image.SetDimension(1, (uint)rows);
        image.SetPixelFormat(format);
        image.SetPhotometricInterpretation(grey);
        image.SetTransferSyntax(syntax);
        image.SetDataElement(pixels);
        // The library writes what it thinks is right without asking how much room there is.
        if (image.GetBufferLength() > decoded.Length || !image.GetBuffer(decoded))
            throw new InvalidDataException("the decoder rejects the code stream");
    }

    private static gdcm.TransferSyntax.TSType Type(string uid) => gdcm.TransferSyntax.GetTSType(uid);
}
