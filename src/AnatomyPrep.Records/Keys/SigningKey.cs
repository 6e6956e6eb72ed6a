using System.Security.Cryptography;

namespace AnatomyPrep.Records.Keys;

/// <summary>A private key that signs: ECDSA P-256.</summary>
public sealed class SigningKey : IDisposable
{
    private readonly ECDsa _key;

    private SigningKey(ECDsa key)
    {
        _key = key;
        using var copy = ECDsa.Create();
        copy.ImportSubjectPublicKeyInfo(key.ExportSubjectPublicKeyInfo(), out _);
        using var publicKey = new VerificationKey(copy);
        (KeyId, PublicPem) = (publicKey.KeyId, publicKey.Pem);
    }

    /// <inheritdoc cref="VerificationKey.KeyId"/>
    public string KeyId { get; }

    /// <inheritdoc cref="VerificationKey.Pem"/>
    public string PublicPem { get; }

    public static SigningKey Create() => new(ECDsa.Create(ECCurve.NamedCurves.nistP256));

    /// <summary>DER signature over SHA-256 of the data. Each call gives other bytes: ECDSA draws a fresh secret number.</summary>
    public byte[] Sign(ReadOnlySpan<byte> data) =>
        _key.SignData(data, HashAlgorithmName.SHA256, DSASignatureFormat.Rfc3279DerSequence);

    public VerificationKey PublicKey() => VerificationKey.FromPem(PublicPem, "public key");

    public void Dispose() => _key.Dispose();

    internal static SigningKey Of(ECDsa key) => new(key);

    internal string ExportPem() => _key.ExportPkcs8PrivateKeyPem() + "\n";

    internal string ExportPem(string passphrase, PbeParameters encryption) =>
        _key.ExportEncryptedPkcs8PrivateKeyPem(passphrase, encryption) + "\n";
}
