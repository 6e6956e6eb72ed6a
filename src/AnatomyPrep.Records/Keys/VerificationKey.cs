using System.Formats.Asn1;
using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Records.Keys;

/// <summary>A public key that checks signatures: ECDSA P-256.</summary>
public sealed class VerificationKey : IDisposable
{
    private const string P256 = "1.2.840.10045.3.1.7";
    private const int PointBytes = 64;

    private readonly ECDsa _key;

    /// <summary>SubjectPublicKeyInfo up to the two coordinates (RFC 5480): algorithm, curve, bit string, mark of an uncompressed point.</summary>
    private static ReadOnlySpan<byte> InfoPrefix =>
    [
        0x30, 0x59, 0x30, 0x13, 0x06, 0x07, 0x2A, 0x86, 0x48, 0xCE, 0x3D, 0x02, 0x01,
        0x06, 0x08, 0x2A, 0x86, 0x48, 0xCE, 0x3D, 0x03, 0x01, 0x07, 0x03, 0x42, 0x00, 0x04,
    ];

    internal VerificationKey(ECDsa key)
    {
        _key = key;
        var info = key.ExportSubjectPublicKeyInfo();
        KeyId = Convert.ToHexStringLower(SHA256.HashData(info));
        Pem = PemEncoding.WriteString("PUBLIC KEY", info) + "\n";
    }

    /// <summary>SHA-256 of the DER SubjectPublicKeyInfo, lower-case hex: the fingerprint people compare.</summary>
    public string KeyId { get; }

    /// <summary>The one PEM form this program writes, with a final line end.</summary>
    public string Pem { get; }

    /// <summary>Reads a public key from PEM. A private key is refused, so that nobody passes one about by mistake.</summary>
    /// <param name="name">Name for messages, without folder.</param>
    /// <exception cref="BadInputException">Not the PEM of a P-256 public key.</exception>
    public static VerificationKey FromPem(ReadOnlySpan<char> pem, string name)
    {
        if (!PemEncoding.TryFind(pem, out var fields))
            throw NotAKey(name, "not readable as PEM");
        if (!pem[fields.Label].SequenceEqual("PUBLIC KEY"))
            throw NotAKey(name, $"PEM with the label {pem[fields.Label]}");
        var info = new byte[fields.DecodedDataLength];
        if (!Convert.TryFromBase64Chars(pem[fields.Base64Data], info, out _) || !IsP256Info(info))
            throw NotAKey(name, "another kind of key");
        var key = ECDsa.Create();
        try
        {
            key.ImportSubjectPublicKeyInfo(info, out _);
            return new VerificationKey(key);
        }
        catch (CryptographicException)
        {
            key.Dispose();
            throw NotAKey(name, "a point that is not on the curve");
        }
    }

    /// <summary>True when the DER signature over the data holds. Only strict DER is taken.</summary>
    public bool Verify(ReadOnlySpan<byte> data, ReadOnlySpan<byte> derSignature) =>
        IsStrictDer(derSignature)
        && _key.VerifyData(data, derSignature, HashAlgorithmName.SHA256, DSASignatureFormat.Rfc3279DerSequence);

    /// <summary>The same key, made ready to check many signatures.</summary>
    internal P256Key ForMany()
    {
        var point = _key.ExportParameters(includePrivateParameters: false).Q;
        return new P256Key(point.X, point.Y);
    }

    public void Dispose() => _key.Dispose();

    internal static void RequireP256(ECDsa key, string name)
    {
        var curve = key.ExportParameters(includePrivateParameters: false).Curve;
        if (!curve.IsNamed || curve.Oid.Value != P256)
            throw NotAKey(name, $"a key on the curve {curve.Oid?.FriendlyName ?? "without name"}");
    }

    /// <summary>
    /// The DER of a P-256 key with an uncompressed point always begins with the same bytes, so they are compared rather than
    /// parsed: the system's parser takes other curves and fails in several ways on damaged ones.
    /// </summary>
    private static bool IsP256Info(ReadOnlySpan<byte> info) => info.Length == InfoPrefix.Length + PointBytes && info.StartsWith(InfoPrefix);

    private static bool IsStrictDer(ReadOnlySpan<byte> signature)
    {
        try
        {
            var reader = new AsnReader(signature.ToArray(), AsnEncodingRules.DER);
            var numbers = reader.ReadSequence();
            numbers.ReadIntegerBytes();
            numbers.ReadIntegerBytes();
            numbers.ThrowIfNotEmpty();
            reader.ThrowIfNotEmpty();
            return true;
        }
        catch (AsnContentException)
        {
            return false;
        }
    }

    private static BadInputException NotAKey(string name, string found) =>
        new(name, "public key", found, "Give the PEM of an ECDSA P-256 public key, unchanged.");
}
