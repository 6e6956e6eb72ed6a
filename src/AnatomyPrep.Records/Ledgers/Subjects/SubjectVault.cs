using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.Records.Ledgers.Subjects;

/// <summary>Personal data in an append-only ledger: sealed with a key per subject, which can be destroyed.</summary>
/// <remarks>
/// Method: AES-256-GCM, random nonce of 12 bytes, bound to ledger and subject. The tree holds the sealed bytes, so it verifies the
///   same before and after; without the key nobody can read them (crypto-shredding).
/// A backup made before a redaction still holds the key: destroy it too, or let it expire. Restoring one redacts again.
/// </remarks>
internal sealed class SubjectVault(LedgerStore store)
{
    private const int KeyBytes = 32;
    private const int NonceBytes = 12;
    private const int TagBytes = 16;

    /// <exception cref="LedgerRefusedException">The subject was redacted.</exception>
    public SealedText Seal(string ledger, string subject, string text)
    {
        var key = store.SubjectKey(subject) ?? NewKey(subject);
        var plain = Encoding.UTF8.GetBytes(text);
        var data = new byte[NonceBytes + plain.Length + TagBytes];
        RandomNumberGenerator.Fill(data.AsSpan(0, NonceBytes));
        using var aes = new AesGcm(key, TagBytes);
        aes.Encrypt(
            data.AsSpan(0, NonceBytes), plain, data.AsSpan(NonceBytes, plain.Length), data.AsSpan(NonceBytes + plain.Length), Bound(ledger, subject));
        return new SealedText(subject, Convert.ToBase64String(data));
    }

    /// <summary>Null when the key is gone.</summary>
    public string? Open(string ledger, SealedText sealedText)
    {
        if (store.SubjectKey(sealedText.Subject) is not { } key)
            return null;
        var data = Convert.FromBase64String(sealedText.Data);
        var plain = new byte[data.Length - NonceBytes - TagBytes];
        using var aes = new AesGcm(key, TagBytes);
        aes.Decrypt(
            data.AsSpan(0, NonceBytes), data.AsSpan(NonceBytes, plain.Length), data.AsSpan(NonceBytes + plain.Length), plain, Bound(ledger, sealedText.Subject));
        return Encoding.UTF8.GetString(plain);
    }

    private byte[] NewKey(string subject)
    {
        if (store.EventsWith(EventTerms.Subject, subject).Any(e => e.Kind == nameof(LedgerEventKind.Redaction)))
            throw new LedgerRefusedException(Refusals.SubjectRedacted, "This subject was redacted.", "Use a new handle.");
        var key = RandomNumberGenerator.GetBytes(KeyBytes);
        store.PutSubjectKey(subject, key);
        return key;
    }

    private static byte[] Bound(string ledger, string subject) => Encoding.UTF8.GetBytes($"{ledger}\n{subject}");
}
