using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Bundles;

/// <summary>What is in a bundle, signed with the ledger's key.</summary>
/// <param name="Files">SHA-256 of every other file, by name.</param>
public sealed record BundleManifest(string Type, string Ledger, long Size, IReadOnlyList<string> Models, SortedDictionary<string, string> Files)
{
    public const string ManifestType = "https://anatomyprep.invalid/bundle/v1";
    public const string PayloadType = "application/vnd.anatomyprep.bundle+json";

    public const string ManifestFile = "manifest.json";
    public const string HeadFile = "head.json";
    public const string GuideFile = "README.md";
    public const string LogKeyFile = "keys/ledger.pem";

    public byte[] Sign(SigningKey logKey) => Dsse.Sign(PayloadType, CanonicalJson.Write(RecordJson.ToNode(this)), logKey).ToBytes();

    /// <exception cref="CheckFailedException">Not a manifest, or not signed with the key.</exception>
    public static BundleManifest Verify(byte[] envelope, VerificationKey logKey)
    {
        var (payload, signature, keyId) = ExactEnvelope.Parse(envelope, PayloadType);
        if (keyId != logKey.KeyId || !logKey.Verify(Dsse.Pae(PayloadType, payload), signature))
            throw new CheckFailedException("manifest signature", $"a valid one by key {logKey.KeyId}", $"none (it names {keyId})");
        try
        {
            var manifest = JsonSerializer.Deserialize<BundleManifest>(payload, RecordJson.Options)!;
            return CanonicalJson.IsCanonical(payload) && manifest.Type == ManifestType
                ? manifest
                : throw new CheckFailedException("manifest", "the form of bundle/v1", "something else");
        }
        catch (JsonException)
        {
            throw new CheckFailedException("manifest", "the form of bundle/v1", "something else");
        }
    }
}

/// <summary>Where an event of a bundle stands in the tree.</summary>
/// <param name="Hashes">Inclusion proof (RFC 9162), hex, lowest first.</param>
public sealed record BundleProof(long Position, long Size, IReadOnlyList<string> Hashes);
