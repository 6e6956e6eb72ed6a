using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Bundles;

/// <summary>Checks a bundle from nothing but its bytes, on a machine that never saw the ledger.</summary>
/// <remarks>
/// Any change of one bit is found: the file has one form; the manifest, signed, names every file by hash. Apart from that, as if there were no manifest:
/// the head's signature, the proof of every event, every event's signature by the key that an event of the same bundle gave its person.
/// Safe on hostile input: sizes are bounded by the file's own, nothing is written.
/// </remarks>
public static class BundleVerifier
{
    private const string PersonKind = "keys/";

    /// <summary>True when the file begins like a ZIP file.</summary>
    public static bool LooksLikeBundle(string path)
    {
        Span<byte> start = stackalloc byte[4];
        using var file = File.OpenRead(path);
        return file.ReadAtLeast(start, 4, throwOnEndOfStream: false) == 4 && start.SequenceEqual("PK\x03\x04"u8);
    }

    /// <param name="trusted">The ledger's key as you have it from another place; null to take the one in the bundle.</param>
    public static LedgerReport Verify(ReadOnlySpan<byte> zip, VerificationKey? trusted)
    {
        var failures = new List<LedgerFailure>();
        var notes = new List<string>();
        Dictionary<string, byte[]> files;
        try
        {
            files = StoredZip.Read(zip);
        }
        catch (CheckFailedException e)
        {
            return new LedgerReport(false, 0, null, null, null, [new("bundle", "file", e.Expected, e.Found)], notes);
        }

        var check = new Check(files, failures);
        check.Run(trusted);
        if (trusted is null)
            notes.Add("The ledger's key came with the bundle: this shows that nothing changed since, not who made it. Give the key you have from the laboratory with --key.");
        return new LedgerReport(failures.Count == 0, check.Head?.Size ?? 0, check.Head?.Root, check.Head?.Ledger, check.LogKeyId, failures, notes);
    }

    private sealed class Check(Dictionary<string, byte[]> files, List<LedgerFailure> failures)
    {
        private readonly SortedDictionary<long, SignedEvent> _events = [];

        public TreeHead? Head { get; private set; }

        public string? LogKeyId { get; private set; }

        public void Run(VerificationKey? trusted)
        {
            Try("keys/ledger.pem", () =>
            {
                using var beside = VerificationKey.FromPem(Encoding.UTF8.GetString(File(BundleManifest.LogKeyFile)), "ledger.pem");
                var key = trusted ?? beside;
                LogKeyId = key.KeyId;
                if (beside.KeyId != key.KeyId || Encoding.UTF8.GetString(File(BundleManifest.LogKeyFile)) != beside.Pem)
                    Add("key", BundleManifest.LogKeyFile, key.KeyId, beside.KeyId);
                Try(BundleManifest.ManifestFile, () => CheckManifest(BundleManifest.Verify(File(BundleManifest.ManifestFile), key)));
                Try(BundleManifest.HeadFile, () => Head = TreeHead.Verify(File(BundleManifest.HeadFile), key));
            });
            foreach (var name in files.Keys.Where(n => n.StartsWith("events/", StringComparison.Ordinal)).Order(StringComparer.Ordinal))
                Try(name, () => CheckEvent(name));
            CheckSignatures();
        }

        private void CheckManifest(BundleManifest manifest)
        {
            foreach (var name in files.Keys.Concat(manifest.Files.Keys).Distinct().Where(n => n != BundleManifest.ManifestFile).Order(StringComparer.Ordinal))
            {
                var found = files.TryGetValue(name, out var data) ? Convert.ToHexStringLower(SHA256.HashData(data)) : "not there";
                var expected = manifest.Files.GetValueOrDefault(name, "no such file");
                if (found != expected)
                    Add("hash", name, expected, found);
            }
        }

        private void CheckEvent(string name)
        {
            var signed = SignedEvent.Parse(files[name]);
            var proofName = "proofs/" + name["events/".Length..];
            var proof = JsonSerializer.Deserialize<BundleProof>(File(proofName), RecordJson.Options)!;
            if (!CanonicalJson.IsCanonical(files[proofName]) || name != $"events/{proof.Position.ToString("D10", CultureInfo.InvariantCulture)}.json")
                throw new CheckFailedException("proof", "the position in its name", $"{proof.Position}");
            _events[proof.Position] = signed;
            if (Head is null)
                return;
            if (proof.Size != Head.Size || signed.Content.Ledger != Head.Ledger)
                throw new CheckFailedException("proof", $"size {Head.Size} of ledger {Head.Ledger}", $"size {proof.Size} of {signed.Content.Ledger}");
            MerkleProof.VerifyInclusion(
                MerkleHash.Leaf(signed.Envelope), proof.Position, proof.Size, [.. proof.Hashes.Select(Convert.FromHexString)], Convert.FromHexString(Head.Root));
        }

        private void CheckSignatures()
        {
            var owners = new Dictionary<string, (string Person, string Pem)>();
            foreach (var (position, signed) in _events)
            {
                var where = $"events/{position.ToString("D10", CultureInfo.InvariantCulture)}.json";
                Try(where, () =>
                {
                    foreach (var (person, pem) in KeysGivenBy(signed.Content))
                        owners[Ledger.KeyIdOf(pem)] = (person, pem);
                    if (!owners.TryGetValue(signed.KeyId, out var owner) || owner.Person != signed.Content.By.Person)
                        throw new CheckFailedException("signer", $"a key that an event of this bundle gave {signed.Content.By.Person}", signed.KeyId);
                    using var key = VerificationKey.FromPem(owner.Pem, PersonKind + signed.KeyId);
                    if (!key.Verify(signed.Signed(), signed.Signature))
                        throw new CheckFailedException("signature", $"a valid one by key {signed.KeyId}", "none");
                });
            }

            if (_events.Count == 0)
                Add("event", "events/", "at least one", "none");
        }

        private static IEnumerable<(string Person, string Pem)> KeysGivenBy(LedgerEvent e)
        {
            switch (e.Kind)
            {
                case LedgerEventKind.LedgerOpened:
                    var opened = e.Read<LedgerOpenedBody>();
                    return
                    [
                        (People.PeopleDirectory.LedgerItself, opened.LogKey),
                        .. opened.Administrator is { PublicKey: { } first } administrator ? [(administrator.Person, first)] : Array.Empty<(string, string)>(),
                    ];
                case LedgerEventKind.PersonChange when e.Read<PersonChangeBody>() is { PublicKey: { } pem } body:
                    return [(body.Person, pem)];
                case LedgerEventKind.KeyChange:
                    return [(e.Read<KeyChangeBody>().Person, e.Read<KeyChangeBody>().PublicKey)];
                default:
                    return [];
            }
        }

        private byte[] File(string name) => files.GetValueOrDefault(name) ?? throw new CheckFailedException("file", "there", "missing");

        private void Add(string check, string where, string expected, string found) => failures.Add(new(check, where, expected, found));

        private void Try(string where, Action check)
        {
            try
            {
                check();
            }
            catch (CheckFailedException e)
            {
                Add(e.Check, where, e.Expected, e.Found);
            }
            catch (Exception e) when (e is BadInputException or JsonException or FormatException or StrictJsonException)
            {
                Add("form", where, "a file this program writes", "something else");
            }
        }
    }
}
