using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>Size and root of a ledger's tree at one time: the few bytes that stand for everything before it.</summary>
public sealed record TreeHead
{
    public const string HeadType = "https://anatomyprep.invalid/head/v1";
    public const string PayloadType = "application/vnd.anatomyprep.head+json";

    private const int RootDigits = 2 * MerkleHash.Bytes;

    public string Type { get; init; } = HeadType;

    public required string Ledger { get; init; }

    public required long Size { get; init; }

    /// <summary>Hex.</summary>
    public required string Root { get; init; }

    public required DateTimeOffset At { get; init; }

    public byte[] Sign(SigningKey logKey) =>
        Dsse.Sign(PayloadType, CanonicalJson.Write(RecordJson.ToNode(this)), logKey).ToBytes();

    /// <summary>Reads a head without checking its signature.</summary>
    /// <exception cref="CheckFailedException">Not a head in its exact form.</exception>
    public static TreeHead Read(byte[] envelope, out string keyId) => Split(envelope, out keyId, out _, out _);

    /// <summary>Reads a head that the key has signed.</summary>
    /// <exception cref="CheckFailedException">Not a head, or not signed with this key.</exception>
    public static TreeHead Verify(byte[] envelope, VerificationKey logKey)
    {
        var head = Split(envelope, out var keyId, out var payload, out var signature);
        if (keyId != logKey.KeyId || !logKey.Verify(Dsse.Pae(PayloadType, payload), signature))
            throw new CheckFailedException("head signature", $"a valid one by key {logKey.KeyId}", $"none (it names {keyId})");
        return head;
    }

    private static TreeHead Split(byte[] envelope, out string keyId, out byte[] payload, out byte[] signature)
    {
        (payload, signature, keyId) = ExactEnvelope.Parse(envelope, PayloadType);
        try
        {
            var head = JsonSerializer.Deserialize<TreeHead>(payload, RecordJson.Options)!;
            if (!CanonicalJson.IsCanonical(payload) || head.Type != HeadType || head.Size < 0
                || head.Root.Length != RootDigits || !head.Root.All(char.IsAsciiHexDigitLower))
                throw new CheckFailedException("head", "the form of head/v1", "something else");
            return head;
        }
        catch (JsonException)
        {
            throw new CheckFailedException("head", "the form of head/v1", "something else");
        }
    }
}
