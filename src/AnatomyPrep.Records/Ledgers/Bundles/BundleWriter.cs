using System.Globalization;
using System.Security.Cryptography;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.People;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Bundles;

/// <summary>One file with models, their records, every event about them with its proof, the public keys, and how to check all that.</summary>
/// <remarks>docs/formats/ledger.md describes the files. Memory: the whole bundle, twice.</remarks>
public static class BundleWriter
{
    /// <param name="models">Revisions; their parents come with them.</param>
    /// <param name="runFolders">Folders of finished runs, by model; null for the events alone. Files in them go under `models/`.</param>
    /// <exception cref="LedgerRefusedException">A model that is not known, or a folder that is not the recorded run's.</exception>
    public static byte[] Write(Ledger ledger, IReadOnlyList<string> models, IReadOnlyDictionary<string, string> runFolders)
    {
        var all = WithParents(ledger, models);
        var headEnvelope = ledger.PublishHead();
        var head = TreeHead.Read(headEnvelope, out _);
        var files = new Dictionary<string, byte[]> { [BundleManifest.HeadFile] = headEnvelope };
        var events = new SortedDictionary<long, SignedEvent>();
        foreach (var model in all)
            foreach (var (position, e) in ledger.EventsOf(model).Where(e => e.Position < head.Size))
                events[position] = e;
        AddPeople(ledger, events);
        foreach (var (position, e) in events)
        {
            var name = position.ToString("D10", CultureInfo.InvariantCulture);
            files[$"events/{name}.json"] = e.Envelope;
            files[$"proofs/{name}.json"] = CanonicalJson.Write(RecordJson.ToNode(new BundleProof(
                position, head.Size, [.. ledger.InclusionProof(position, head.Size).Select(Convert.ToHexStringLower)])));
        }

        foreach (var key in ledger.People.Keys)
            if (key.KeyId == ledger.People.LogKeyId || events.Values.Any(e => e.KeyId == key.KeyId))
                files[key.KeyId == ledger.People.LogKeyId ? BundleManifest.LogKeyFile : $"keys/{key.KeyId}.pem"] = System.Text.Encoding.ASCII.GetBytes(key.Pem);
        foreach (var (model, folder) in runFolders)
            AddRun(ledger, files, model, folder);
        files[BundleManifest.GuideFile] = System.Text.Encoding.UTF8.GetBytes(BundleGuide.Text(ledger, head, all));
        var hashes = new SortedDictionary<string, string>(StringComparer.Ordinal);
        foreach (var (name, data) in files)
            hashes[name] = Convert.ToHexStringLower(SHA256.HashData(data));
        files[BundleManifest.ManifestFile] = new BundleManifest(BundleManifest.ManifestType, ledger.Id, head.Size, all, hashes).Sign(ledger.LogKey());
        return StoredZip.Write(files);
    }

    private static List<string> WithParents(Ledger ledger, IReadOnlyList<string> models)
    {
        var all = new SortedSet<string>(StringComparer.Ordinal);
        foreach (var model in models)
        {
            for (var at = model; at is not null;)
            {
                var facts = ledger.Model(at) ?? throw new LedgerRefusedException(Refusals.IllegalMove, $"{at} is not known.", "Name a model of this ledger.");
                all.Add(at);
                at = facts.Parent;
            }
        }

        return [.. all];
    }

    /// <summary>The events that say whose keys these are come along, so that the bundle explains its signatures itself.</summary>
    private static void AddPeople(Ledger ledger, SortedDictionary<long, SignedEvent> events)
    {
        var wanted = events.Values.Select(e => e.KeyId).ToHashSet();
        for (var found = true; found;)
        {
            found = false;
            foreach (var key in ledger.People.Keys.Where(k => wanted.Contains(k.KeyId)).ToList())
                foreach (var position in new[] { 0L, key.From }.Concat(key.Until is { } until ? [until] : []))
                    if (!events.ContainsKey(position) && ledger.Event(position) is { } e)
                    {
                        events[position] = e;
                        found |= wanted.Add(e.KeyId);
                    }
        }
    }

    private static void AddRun(Ledger ledger, Dictionary<string, byte[]> files, string model, string folder)
    {
        var run = ledger.EventsOf(model).LastOrDefault(e => e.Event.Content.Kind == LedgerEventKind.Run).Event?.Content.Read<RunBody>();
        var record = File.ReadAllBytes(Path.Combine(folder, RecordFiles.Record));
        if (run is null || Convert.ToHexStringLower(SHA256.HashData(record)) != run.RecordSha256)
            throw new LedgerRefusedException(Refusals.IllegalMove, $"The folder is not that of the recorded run of {model}.", "Name the folder the ledger knows.");
        foreach (var entry in FolderFiles.List(folder).Where(f => !f.IsLink))
            files[$"models/{model}/{entry.Name}"] = File.ReadAllBytes(Path.Combine(folder, entry.Name));
    }
}
