using System.Buffers.Binary;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;

namespace AnatomyPrep.Core.Dicom;

/// <summary>Unique identifiers that follow from a text: the same thing has the same ones everywhere, always.</summary>
/// <remarks>
/// Method: root 2.25 and a UUID as one decimal number (DICOM PS3.5, B.2); the UUID is of version 8 (RFC 9562, 5.8) and
/// made of the first bits of SHA-256 over the text.
/// </remarks>
public static class DicomUid
{
    public const string CtImageStorage = "1.2.840.10008.5.1.4.1.1.2";
    public const string MrImageStorage = "1.2.840.10008.5.1.4.1.1.4";
    public const string SecondaryCaptureStorage = "1.2.840.10008.5.1.4.1.1.7";
    public const string EncapsulatedStlStorage = "1.2.840.10008.5.1.4.1.1.104.3";
    public const string ImplicitVrLittleEndian = "1.2.840.10008.1.2";
    public const string ExplicitVrLittleEndian = "1.2.840.10008.1.2.1";

    /// <summary>Of this writer, in the file meta information.</summary>
    public static string ImplementationClass { get; } = From("AnatomyPrep phantom writer");

    public static string From(string text)
    {
        Span<byte> hash = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(Encoding.UTF8.GetBytes(text), hash);
        hash[6] = (byte)((hash[6] & 0x0F) | 0x80);
        hash[8] = (byte)((hash[8] & 0x3F) | 0x80);
        return "2.25." + BinaryPrimitives.ReadUInt128BigEndian(hash).ToString(CultureInfo.InvariantCulture);
    }
}
