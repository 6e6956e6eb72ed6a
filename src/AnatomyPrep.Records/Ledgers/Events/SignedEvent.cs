using System.Buffers.Text;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Envelopes;

namespace AnatomyPrep.Records.Ledgers.Events;

/// <summary>An envelope and the event in it. The bytes of the envelope, in their one form, are the leaf of the tree.</summary>
/// <remarks>Reading proves nothing about who signed: that takes <see cref="Signed"/>, <see cref="Signature"/> and the key named.</remarks>
public sealed class SignedEvent
{
    private SignedEvent(byte[] envelope, byte[] payload, byte[] signature, string keyId, LedgerEvent content)
    {
        Envelope = envelope;
        Payload = payload;
        Signature = signature;
        KeyId = keyId;
        Content = content;
    }

    public byte[] Envelope { get; }

    public byte[] Payload { get; }

    public byte[] Signature { get; }

    /// <summary>As the envelope names it; the key that must have signed.</summary>
    public string KeyId { get; }

    public LedgerEvent Content { get; }

    /// <summary>The bytes under the signature.</summary>
    public byte[] Signed() => Dsse.Pae(LedgerEvent.PayloadType, Payload);

    /// <summary>Reads one envelope with one signature, in exactly the form this program writes.</summary>
    /// <exception cref="CheckFailedException">Anything else.</exception>
    public static SignedEvent Parse(byte[] envelope)
    {
        var (payload, signature, keyId) = ExactEnvelope.Parse(envelope, LedgerEvent.PayloadType);
        return new SignedEvent(envelope, payload, signature, keyId, LedgerEvent.Parse(payload));
    }
}

/// <summary>The one form of an envelope with one signature, read without a JSON parser.</summary>
/// <remarks>
/// {"payload":"…","payloadType":"…","signatures":[{"keyid":"…","sig":"…"}]}: whatever is not these bytes is refused, so a change
/// that leaves the signed bytes alone is seen too. Cost: O(n), a tenth of reading it as JSON.
/// </remarks>
internal static class ExactEnvelope
{
    private const int KeyIdDigits = 64;

    internal static (byte[] Payload, byte[] Signature, string KeyId) Parse(ReadOnlySpan<byte> envelope, string payloadType)
    {
        if (envelope.Length > LedgerEvent.LargestEnvelopeBytes)
            throw new CheckFailedException("envelope", $"at most {LedgerEvent.LargestEnvelopeBytes} bytes", $"{envelope.Length}");
        var rest = envelope;
        Take(ref rest, "{\"payload\":\""u8);
        var payload = Base64Text(ref rest);
        Take(ref rest, "\",\"payloadType\":\""u8);
        Take(ref rest, Encoding.UTF8.GetBytes(payloadType));
        Take(ref rest, "\",\"signatures\":[{\"keyid\":\""u8);
        if (rest.Length < KeyIdDigits)
            throw NotExact(envelope);
        var keyId = Encoding.ASCII.GetString(rest[..KeyIdDigits]);
        if (!keyId.All(char.IsAsciiHexDigitLower))
            throw NotExact(envelope);
        rest = rest[KeyIdDigits..];
        Take(ref rest, "\",\"sig\":\""u8);
        var signature = Base64Text(ref rest);
        Take(ref rest, "\"}]}"u8);
        if (rest.Length > 0)
            throw NotExact(envelope);
        return (payload, signature, keyId);
    }

    private static void Take(ref ReadOnlySpan<byte> rest, ReadOnlySpan<byte> expected)
    {
        if (!rest.StartsWith(expected))
            throw NotExact(rest);
        rest = rest[expected.Length..];
    }

    private static byte[] Base64Text(ref ReadOnlySpan<byte> rest)
    {
        var length = rest.IndexOf((byte)'"');
        if (length < 0 || length % 4 != 0)
            throw NotExact(rest);
        var text = rest[..length];
        var bytes = new byte[Base64.GetMaxDecodedFromUtf8Length(length)];
        // Decoding passes over white space and unused bits; writing it again does not.
        if (Base64.DecodeFromUtf8(text, bytes, out var consumed, out var written) != System.Buffers.OperationStatus.Done || consumed != length)
            throw NotExact(rest);
        Array.Resize(ref bytes, written);
        var again = new byte[Base64.GetMaxEncodedToUtf8Length(written)];
        Base64.EncodeToUtf8(bytes, again, out _, out var encoded);
        if (!again.AsSpan(0, encoded).SequenceEqual(text))
            throw NotExact(rest);
        rest = rest[length..];
        return bytes;
    }

    private static CheckFailedException NotExact(ReadOnlySpan<byte> at) =>
        new("envelope", "the exact form with one signature", $"another, {at.Length} bytes before the end");
}
