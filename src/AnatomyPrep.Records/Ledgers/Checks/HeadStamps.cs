using System.Security.Cryptography;
using System.Security.Cryptography.Pkcs;
using System.Security.Cryptography.X509Certificates;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Checks;

/// <summary>Time stamps by an outside authority: that a head, and so all before it, existed at a time.</summary>
/// <remarks>
/// Method: RFC 3161. What is stamped is the SHA-256 of the head's envelope. The request goes to the authority as a file and the answer
///   comes back as one, so the ledger needs no network.
/// </remarks>
public static class HeadStamps
{
    /// <summary>A request for the newest head (DER), and the size of that head.</summary>
    public static (byte[] Request, long Size) Request(Ledger ledger)
    {
        var envelope = ledger.PublishHead();
        var request = Rfc3161TimestampRequest.CreateFromData(envelope, HashAlgorithmName.SHA256, requestSignerCertificates: true);
        return (request.Encode(), TreeHead.Read(envelope, out _).Size);
    }

    /// <summary>Takes the authority's answer in, when it stamps a head that was given away. Gives the time and the size.</summary>
    /// <exception cref="CheckFailedException">Not an answer, or one for other data.</exception>
    public static (DateTimeOffset At, long Size) Add(Ledger ledger, byte[] response)
    {
        var token = Token(response);
        foreach (var (size, envelope) in ledger.Locked(s => s.Heads()))
            if (token.VerifySignatureForData(envelope, out _))
            {
                var encoded = token.AsSignedCms().Encode();
                ledger.Locked(s =>
                {
                    s.PutStamp(size, encoded);
                    return 0;
                });
                return (token.TokenInfo.Timestamp, size);
            }

        throw new CheckFailedException("time stamp", "one for a head of this ledger, with a signature that holds", "none such");
    }

    /// <summary>Checks every stamp; says when each head existed, and names those that do not hold.</summary>
    /// <param name="trusted">Certificates of authorities you trust; none to leave the signer unchecked, which a note then says.</param>
    internal static void Check(
        IReadOnlyList<(long Size, byte[] Token)> stamps, IReadOnlyList<(long Size, byte[] Envelope)> heads, X509Certificate2Collection? trusted,
        Action<string, string, string, string> add, Action<string> note)
    {
        foreach (var (size, encoded) in stamps)
        {
            var where = $"time stamp of the head of {size}";
            var envelope = heads.FirstOrDefault(h => h.Size == size).Envelope;
            if (envelope is null || !Rfc3161TimestampToken.TryDecode(encoded, out var token, out var length) || length != encoded.Length
                || !token.VerifySignatureForData(envelope, out var signer))
            {
                add(LedgerFailures.Stamp, where, "a token for that head, with a signature that holds", "none such");
                continue;
            }

            if (trusted is not null && !IsTrusted(signer!, token, trusted))
                add(LedgerFailures.Stamp, where, "an authority you trust", signer!.Subject);
            note($"The head of {size} existed at {RecordTime.Text(token.TokenInfo.Timestamp)}, says {signer!.Subject}{(trusted is null ? " (not checked: no authority was given)" : "")}.");
        }
    }

    private static Rfc3161TimestampToken Token(byte[] response)
    {
        try
        {
            // A request of the same shape is needed only to open the answer; what is stamped is compared by the caller.
            if (Rfc3161TimestampToken.TryDecode(response, out var token, out _))
                return token;
            var inner = new System.Formats.Asn1.AsnReader(response, System.Formats.Asn1.AsnEncodingRules.DER).ReadSequence();
            inner.ReadSequence();
            if (inner.HasData && Rfc3161TimestampToken.TryDecode(inner.ReadEncodedValue(), out token, out _))
                return token;
        }
        catch (System.Formats.Asn1.AsnContentException)
        {
        }

        throw new CheckFailedException("time stamp", "the answer of a time stamp authority (RFC 3161)", "something else");
    }

    private static bool IsTrusted(X509Certificate2 signer, Rfc3161TimestampToken token, X509Certificate2Collection trusted)
    {
        using var chain = new X509Chain();
        chain.ChainPolicy.TrustMode = X509ChainTrustMode.CustomRootTrust;
        chain.ChainPolicy.CustomTrustStore.AddRange(trusted);
        chain.ChainPolicy.RevocationMode = X509RevocationMode.NoCheck;
        chain.ChainPolicy.VerificationTime = token.TokenInfo.Timestamp.UtcDateTime;
        chain.ChainPolicy.ExtraStore.AddRange(token.AsSignedCms().Certificates);
        return chain.Build(signer);
    }
}
