using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Records.Keys;

/// <summary>The folder that holds a person's or service's keys; each is made on first use.</summary>
/// <remarks>
/// Files: `signing-key.pem`, PKCS#8 PEM, encrypted where a passphrase is given (PBES2: PBKDF2 with HMAC-SHA-256, AES-256-CBC);
///   `site-key.txt`, 64 hex digits. Modes: see <see cref="SecretFile"/>.
/// </remarks>
public sealed class KeyFolder(string folder)
{
    public const string SigningKeyFile = "signing-key.pem";
    public const string SiteKeyFile = "site-key.txt";

    private const string Remedy = "Restore the file from a backup, or move it away to begin with a new key.";

    /// <summary>Common practice for PBKDF2 with HMAC-SHA-256 (from memory): about 0.2 s a try.</summary>
    private static readonly PbeParameters s_encryption = new(PbeEncryptionAlgorithm.Aes256Cbc, HashAlgorithmName.SHA256, 600_000);

    /// <summary>The signing key.</summary>
    /// <param name="passphrase">Null for a key that only the file mode protects.</param>
    /// <exception cref="BadInputException">Mode too wide, not a P-256 key, or the passphrase does not open it.</exception>
    public SigningKey OpenSigningKey(string? passphrase = null)
    {
        var pem = SecretFile.ReadOrCreate(folder, SigningKeyFile, () =>
        {
            using var made = SigningKey.Create();
            return passphrase is null ? made.ExportPem() : made.ExportPem(passphrase, s_encryption);
        });
        return ReadSigningKey(pem, passphrase);
    }

    /// <summary>The key for pseudonyms.</summary>
    /// <exception cref="BadInputException">Mode too wide, or not such a key.</exception>
    public SiteKey OpenSiteKey() =>
        SiteKey.TryParse(SecretFile.ReadOrCreate(folder, SiteKeyFile, () => SiteKey.Create().ToText()))
        ?? throw new BadInputException(SiteKeyFile, "content", "not 64 hex digits", Remedy);

    private static SigningKey ReadSigningKey(string pem, string? passphrase)
    {
        var key = ECDsa.Create();
        try
        {
            var label = pem[PemEncoding.Find(pem).Label];
            if (!label.EndsWith("PRIVATE KEY", StringComparison.Ordinal))
                throw new BadInputException(SigningKeyFile, "content", $"PEM with the label {label}", Remedy);
            var isEncrypted = label == "ENCRYPTED PRIVATE KEY";
            if (isEncrypted && passphrase is null)
                throw new BadInputException(SigningKeyFile, "passphrase", "none given", "Give the passphrase this key was made with.");
            if (!isEncrypted && passphrase is not null)
                throw new BadInputException(SigningKeyFile, "passphrase", "given, but the key has none", "Leave it out, or encrypt the key first.");
            if (isEncrypted)
                key.ImportFromEncryptedPem(pem, passphrase);
            else
                key.ImportFromPem(pem);
            VerificationKey.RequireP256(key, SigningKeyFile);
            return SigningKey.Of(key);
        }
        catch (Exception e)
        {
            key.Dispose();
            if (e is ArgumentException or CryptographicException or PlatformNotSupportedException)
                throw new BadInputException(
                    SigningKeyFile, "content", passphrase is null ? "not a private key in PEM" : "not opened by this passphrase", Remedy);
            throw;
        }
    }
}
