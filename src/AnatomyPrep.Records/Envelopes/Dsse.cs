using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Records.Envelopes;

/// <summary>Bytes whose signatures were checked. Only <see cref="Dsse.Verify"/> makes one, so whoever holds one may parse it.</summary>
public sealed class VerifiedPayload
{
    private readonly byte[] _bytes;

    internal VerifiedPayload(string payloadType, byte[] bytes, IReadOnlyList<VerificationKey> signers)
    {
        PayloadType = payloadType;
        _bytes = bytes;
        Signers = signers;
    }

    public string PayloadType { get; }

    public ReadOnlySpan<byte> Bytes => _bytes;

    /// <summary>The different keys whose signature holds.</summary>
    public IReadOnlyList<VerificationKey> Signers { get; }
}

/// <summary>Signing and checking of envelopes.</summary>
/// <remarks>
/// Method: DSSE 1.0.2, protocol. Signed is PAE(type, payload) = "DSSEv1" SP length(type) SP type SP length(payload) SP payload
///   with lengths in bytes, so neither type nor payload can be changed or moved into the other.
/// Signatures: ECDSA P-256 over SHA-256, DER (SEQUENCE of r and s), which `openssl dgst -verify` reads as it is.
/// </remarks>
public static class Dsse
{
    /// <summary>Payload type of an in-toto Statement.</summary>
    public const string InTotoPayloadType = "application/vnd.in-toto+json";

    /// <summary>The bytes that are signed.</summary>
    public static byte[] Pae(string payloadType, ReadOnlySpan<byte> payload)
    {
        var type = Encoding.UTF8.GetBytes(payloadType);
        return
        [
            .. "DSSEv1 "u8, .. Decimal(type.Length), (byte)' ', .. type,
            (byte)' ', .. Decimal(payload.Length), (byte)' ', .. payload,
        ];
    }

    /// <summary>Signs the payload with each key.</summary>
    public static DsseEnvelope Sign(string payloadType, ReadOnlySpan<byte> payload, params IReadOnlyList<SigningKey> keys)
    {
        if (keys.Count == 0)
            throw new ArgumentException("An envelope carries at least one signature.", nameof(keys));
        var signed = Pae(payloadType, payload);
        return new DsseEnvelope(payloadType, payload.ToArray(), [.. keys.Select(k => new DsseSignature(k.KeyId, k.Sign(signed)))]);
    }

    /// <summary>Checks the signatures against trusted keys and gives the payload back only if enough of them hold.</summary>
    /// <param name="threshold">How many different keys must have signed; two signatures of one key count once.</param>
    /// <exception cref="CheckFailedException">Too few signatures hold.</exception>
    public static VerifiedPayload Verify(DsseEnvelope envelope, IReadOnlyCollection<VerificationKey> trusted, int threshold = 1)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(threshold, 1);
        var payload = envelope.Payload.ToArray();
        var signed = Pae(envelope.PayloadType, payload);
        var signers = trusted
            .Where(key => envelope.Signatures.Any(signature => key.Verify(signed, signature.Bytes)))
            .DistinctBy(key => key.KeyId)
            .ToList();
        if (signers.Count < threshold)
            throw new CheckFailedException(
                "signature",
                threshold == 1 ? "a valid one by a trusted key" : $"valid ones by {threshold} different trusted keys",
                signers.Count == 0 ? "none" : $"{signers.Count}");
        return new VerifiedPayload(envelope.PayloadType, payload, signers);
    }

    private static byte[] Decimal(int length) => Encoding.ASCII.GetBytes(length.ToString(CultureInfo.InvariantCulture));
}
