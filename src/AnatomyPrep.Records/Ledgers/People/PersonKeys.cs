using System.Security.Cryptography;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Records.Ledgers.People;

/// <summary>The private keys of a ledger's people: one file each, PKCS#8, encrypted with the person's own passphrase.</summary>
/// <remarks>
/// Files: `person-fingerprint.pem` (PBES2: PBKDF2 with HMAC-SHA-256, AES-256-CBC), and `ledger-fingerprint.pem` without passphrase for the
///   ledger's own key, which programs use. Mode 0600 in a folder 0700; refused when others may read them.
/// A file is named by its key, so that a rotation broken off halfway leaves both keys and the ledger says which one counts.
/// Nothing of a passphrase is kept: every signature asks for it again.
/// </remarks>
public sealed class PersonKeys(string folder, int iterations = PersonKeys.DefaultIterations)
{
    /// <summary>Common practice for PBKDF2 with HMAC-SHA-256 (from memory): about 0.2 s a try.</summary>
    public const int DefaultIterations = 600_000;

    /// <summary>Common practice, no source.</summary>
    public const int ShortestPassphrase = 12;

    private readonly PbeParameters _encryption = new(PbeEncryptionAlgorithm.Aes256Cbc, HashAlgorithmName.SHA256, iterations);

    /// <summary>Makes a key and gives its public half (PEM). The ledger does not know it yet.</summary>
    /// <param name="passphrase">Null only for the ledger's own key.</param>
    /// <exception cref="LedgerRefusedException">The passphrase is too short.</exception>
    public string Create(string person, string? passphrase)
    {
        if (passphrase is { Length: < ShortestPassphrase })
            throw new LedgerRefusedException(
                Refusals.PassphraseWrong, $"A passphrase has at least {ShortestPassphrase} characters.", "Choose a longer one.");
        using var key = SigningKey.Create();
        SecretFile.ReadOrCreate(folder, FileName(person, key.KeyId), () =>
            passphrase is null ? key.ExportPem() : key.ExportPem(passphrase, _encryption));
        return key.PublicPem;
    }

    /// <summary>Opens a key.</summary>
    /// <exception cref="LedgerRefusedException">No such file here, or the passphrase does not open it.</exception>
    public SigningKey Open(string person, string keyId, string? passphrase)
    {
        var name = FileName(person, keyId);
        if (!File.Exists(Path.Combine(folder, name)))
            throw new LedgerRefusedException(
                Refusals.UnknownKey, $"The private key {keyId} of {person} is not in this key folder.", "Copy it here, or change the key.");
        var pem = SecretFile.ReadOrCreate(folder, name, () => "");
        var key = ECDsa.Create();
        try
        {
            if (passphrase is null)
                key.ImportFromPem(pem);
            else
                key.ImportFromEncryptedPem(pem, passphrase);
            VerificationKey.RequireP256(key, name);
            var opened = SigningKey.Of(key);
            if (opened.KeyId == keyId)
                return opened;
            throw new LedgerRefusedException(Refusals.UnknownKey, $"The file {name} holds another key.", "Put the right one in its place.");
        }
        catch (Exception e) when (e is ArgumentException or CryptographicException)
        {
            key.Dispose();
            throw new LedgerRefusedException(Refusals.PassphraseWrong, $"The key of {person} does not open with this passphrase.", "Try again.", e);
        }
    }

    private static string FileName(string person, string keyId) => $"{person}-{keyId[..16]}.pem";
}
