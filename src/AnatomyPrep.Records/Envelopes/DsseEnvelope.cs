using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;

namespace AnatomyPrep.Records.Envelopes;

/// <summary>One signature of an envelope.</summary>
/// <param name="KeyId">A hint which key to try first. Not covered by the signature, so never trusted.</param>
/// <param name="Bytes">ECDSA signature, DER.</param>
public sealed record DsseSignature(string? KeyId, byte[] Bytes);

/// <summary>Bytes, what kind of bytes they are, and signatures over both: DSSE 1.0.2, JSON form.</summary>
/// <remarks>Parsing proves nothing about the payload; <see cref="Dsse.Verify"/> does.</remarks>
public sealed class DsseEnvelope
{
    private readonly byte[] _payload;

    internal DsseEnvelope(string payloadType, byte[] payload, IReadOnlyList<DsseSignature> signatures)
    {
        PayloadType = payloadType;
        _payload = payload;
        Signatures = signatures;
    }

    public string PayloadType { get; }

    public ReadOnlySpan<byte> Payload => _payload;

    public IReadOnlyList<DsseSignature> Signatures { get; }

    /// <summary>Reads an envelope. Fields it does not know are passed over, as DSSE asks.</summary>
    /// <exception cref="CheckFailedException">It is not an envelope.</exception>
    public static DsseEnvelope Parse(ReadOnlySpan<byte> utf8)
    {
        var fields = ParseObject(utf8);
        if (fields["signatures"] is not JsonArray { Count: > 0 } signatures)
            throw Malformed("signatures", "a list of at least one");
        return new DsseEnvelope(
            Text(fields, "payloadType"),
            Bytes(fields, "payload"),
            [.. signatures.Select(ParseSignature)]);
    }

    /// <summary>The envelope in the one form this program writes: canonical JSON, standard base64.</summary>
    public byte[] ToBytes() => CanonicalJson.Write(new JsonObject
    {
        ["payload"] = Convert.ToBase64String(_payload),
        ["payloadType"] = PayloadType,
        ["signatures"] = new JsonArray([.. Signatures.Select(ToJson)]),
    });

    private static JsonObject ToJson(DsseSignature signature)
    {
        var fields = new JsonObject { ["sig"] = Convert.ToBase64String(signature.Bytes) };
        if (signature.KeyId is not null)
            fields["keyid"] = signature.KeyId;
        return fields;
    }

    private static JsonObject ParseObject(ReadOnlySpan<byte> utf8)
    {
        try
        {
            return CanonicalJson.Parse(utf8) as JsonObject ?? throw Malformed("envelope", "a JSON object");
        }
        catch (StrictJsonException e)
        {
            throw new CheckFailedException("envelope", "strict JSON", e.Message);
        }
    }

    private static DsseSignature ParseSignature(JsonNode? node)
    {
        if (node is not JsonObject fields)
            throw Malformed("signatures", "a list of objects");
        return new DsseSignature(fields.ContainsKey("keyid") ? Text(fields, "keyid") : null, Bytes(fields, "sig"));
    }

    private static string Text(JsonObject fields, string name) =>
        fields[name] is JsonValue value && value.TryGetValue<string>(out var text) ? text : throw Malformed(name, "a text");

    private static byte[] Bytes(JsonObject fields, string name) =>
        StrictBase64.Decode(Text(fields, name)) ?? throw Malformed(name, "strict base64");

    private static CheckFailedException Malformed(string field, string expected) =>
        new($"envelope field {field}", expected, "something else");
}
