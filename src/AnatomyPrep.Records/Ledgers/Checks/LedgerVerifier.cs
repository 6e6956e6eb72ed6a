using System.Buffers.Binary;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.People;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Checks;

/// <summary>Recomputes a whole ledger from nothing but the bytes of its events, and compares everything stored with that.</summary>
/// <remarks>
/// Checked are: the form and signature of every event by the key that was valid at its place; that each was allowed to follow;
///   every node of the tree; every head kept, and those a witness holds; every derived row; the database's own check.
/// Trusts no stored hash. What it cannot see alone is a history that was replaced as a whole by somebody who has the ledger's
///   key, or cut off together with its head: that takes heads kept elsewhere (<paramref name="witness"/>).
/// Cost: O(n) on <see cref="RunContext.Threads"/> threads, some 40 µs an event. Memory: 200 bytes an event, 1 kB a model.
/// </remarks>
internal sealed class LedgerVerifier(LedgerStore store, IReadOnlyList<WitnessedHead> witness, X509Certificate2Collection? authorities, RunContext run)
{
    private const int ChunkEvents = 8192;
    private const int PieceEvents = 512;
    private const int MostFailures = 100;

    private readonly List<LedgerFailure> _failures = [];
    private readonly List<string> _notes = [];
    private readonly CompactTree _tree = new();
    private readonly PeopleDirectory _people = new();
    private readonly Dictionary<string, ModelFacts?> _models = [];
    private readonly HashSet<UInt128> _ids = [];
    private readonly HashSet<string> _sealed = [];
    private readonly HashSet<string> _redacted = [];
    private readonly Dictionary<long, string> _roots = [];
    private UInt128 _expectedTerms;
    private long _expectedTermCount;
    private LedgerLaw? _law;
    private string? _ledger;

    /// <summary>Verifies one consistent state of the ledger; others may go on appending.</summary>
    public static LedgerReport Verify(
        Ledger ledger, IReadOnlyList<WitnessedHead> witness, RunContext run, X509Certificate2Collection? authorities = null) =>
        ledger.Locked(store => Verify(store, witness, authorities, run));

    private static LedgerReport Verify(LedgerStore store, IReadOnlyList<WitnessedHead> witness, X509Certificate2Collection? authorities, RunContext run)
    {
        store.BeginRead();
        try
        {
            return new LedgerVerifier(store, witness, authorities, run).Run();
        }
        finally
        {
            store.Rollback();
        }
    }

    private LedgerReport Run()
    {
        try
        {
            foreach (var line in store.OwnCheck())
                Add(LedgerFailures.Database, "database file", "a whole database", line);
            var heads = ReadHeads();
            var wanted = heads.Select(h => h.Size).Concat(witness.Select(w => w.Head.Size)).ToHashSet();
            CheckEvents(wanted);
            CheckHeads(heads);
            new WitnessCheck(_ledger, LogKey(), _tree.Count, _roots, Add).Check(witness);
            CheckNodeCount();
            CheckTerms();
            CheckModels();
            CheckSubjects();
            HeadStamps.Check(store.Stamps(), store.Heads(), authorities, Add, _notes.Add);
            NoteDoubtfulKeys();
        }
        catch (LedgerRefusedException e)
        {
            Add(LedgerFailures.Database, "database", "a database that can be read", e.Message);
        }

        return new LedgerReport(
            _failures.Count == 0, _tree.Count, _tree.Count > 0 ? Convert.ToHexStringLower(_tree.Root()) : null, _ledger, _people.LogKeyId,
            [.. _failures.Take(MostFailures)], _notes);
    }

    private void Add(string code, string where, string expected, string found)
    {
        if (_failures.Count <= MostFailures)
            _failures.Add(new LedgerFailure(code, where, expected, found));
    }

    private List<(long Size, TreeHead Head, byte[] Envelope)> ReadHeads()
    {
        var result = new List<(long, TreeHead, byte[])>();
        foreach (var (size, envelope) in store.Heads())
        {
            try
            {
                result.Add((size, TreeHead.Read(envelope, out _), envelope));
            }
            catch (CheckFailedException e)
            {
                Add(LedgerFailures.Head, $"head of {size}", e.Expected, e.Found);
            }
        }

        return result;
    }

    private void CheckEvents(HashSet<long> wantedRoots)
    {
        var identity = store.Identity();
        _ledger = identity.Ledger;
        if (identity.Schema != Schema.Newest)
            Add(LedgerFailures.Identity, "table ledger", $"schema {Schema.Newest}", $"{identity.Schema}");
        _law = new LedgerLaw(_ledger, _people, m => _models.GetValueOrDefault(m), id => _ids.Contains(Id(id)));
        var total = Math.Max(1, store.CountEvents());
        for (long from = 0; ;)
        {
            run.ThrowIfCancelled();
            run.Report("verify", "events", (double)from / total);
            var rows = store.EventsFrom(from, ChunkEvents);
            if (rows.Count == 0)
                break;
            CheckChunk(rows, wantedRoots);
            from = rows[^1].Position + 1;
        }
    }

    private void CheckChunk(IReadOnlyList<StoredEvent> rows, HashSet<long> wantedRoots)
    {
        var leaves = new byte[rows.Count][];
        var events = new SignedEvent?[rows.Count];
        var keys = new PersonKey?[rows.Count];
        var faults = new CheckFailedException?[rows.Count];
        var terms = new (UInt128 Sum, int Count)[rows.Count];
        Partition.Ranges(run, rows.Count, PieceEvents, (_, from, to) =>
        {
            for (var i = from; i < to; i++)
            {
                leaves[i] = MerkleHash.Leaf(rows[i].Envelope);
                try
                {
                    events[i] = SignedEvent.Parse(rows[i].Envelope);
                    terms[i] = SumOfTerms(EventTerms.Of(events[i]!.Content), rows[i].Position);
                }
                catch (CheckFailedException e)
                {
                    faults[i] = e;
                }
            }
        });
        var completed = new List<(int Level, long Position, byte[] Hash)>();
        for (var i = 0; i < rows.Count; i++)
        {
            var row = rows[i];
            if (row.Position != _tree.Count)
                Add(LedgerFailures.EventMissing, $"event {_tree.Count}", "every position once, without gap", $"position {row.Position} next");
            _tree.Append(leaves[i], (level, at, hash) => completed.Add((level, at, hash)));
            if (wantedRoots.Contains(_tree.Count))
                _roots[_tree.Count] = Convert.ToHexStringLower(_tree.Root());
            if (events[i] is { } signed)
                keys[i] = CheckOne(row, signed);
            else
                Add(LedgerFailures.EventForm, $"event {row.Position}", faults[i]!.Expected, faults[i]!.Found);
            _expectedTerms += terms[i].Sum;
            _expectedTermCount += terms[i].Count;
        }

        CheckSignatures(rows, events, keys);
        CheckNodes(completed);
    }

    /// <summary>Compares the row with its event and asks the law; gives the key that must have signed.</summary>
    private PersonKey? CheckOne(StoredEvent row, SignedEvent signed)
    {
        var e = signed.Content;
        var where = $"event {row.Position}";
        if (row != Ledger.Row(signed, row.Position) with { Envelope = row.Envelope })
            Add(LedgerFailures.EventRow, where, "columns that say what the event says", "others");
        if (!_ids.Add(Id(e.Id)))
            Add(LedgerFailures.EventDuplicate, where, "every id once", e.Id);
        if (e.Personal is { } personal)
            _sealed.Add(personal.Subject);
        if (e.Kind == LedgerEventKind.Redaction)
            _redacted.Add(e.Read<RedactionBody>().Subject);
        try
        {
            // Before the event is taken in: it may end the very key that signed it.
            foreach (var model in _law!.Admit(signed, row.Position))
                _models[model.Model] = model;
        }
        catch (LedgerRefusedException refused)
        {
            Add(LedgerFailures.EventNotAllowed, where, "an event that may stand here", refused.Message);
        }

        var key = _people.FindKey(signed.KeyId);
        if (key is null)
            Add(LedgerFailures.EventSignature, where, "a key of this ledger", signed.KeyId);
        return key;
    }

    private void CheckSignatures(IReadOnlyList<StoredEvent> rows, SignedEvent?[] events, PersonKey?[] keys)
    {
        var holds = new bool[rows.Count];
        Partition.Ranges(run, rows.Count, PieceEvents, (_, from, to) =>
        {
            var opened = new Dictionary<string, VerificationKey>();
            for (var i = from; i < to; i++)
            {
                if (events[i] is not { } signed || keys[i] is not { } key)
                {
                    holds[i] = true;
                    continue;
                }

                if (!opened.TryGetValue(key.KeyId, out var verifier))
                    opened[key.KeyId] = verifier = VerificationKey.FromPem(key.Pem, "key");
                holds[i] = verifier.Verify(signed.Signed(), signed.Signature);
            }

            foreach (var verifier in opened.Values)
                verifier.Dispose();
        });
        for (var i = 0; i < rows.Count; i++)
            if (!holds[i])
                Add(LedgerFailures.EventSignature, $"event {rows[i].Position}", $"a valid one by key {events[i]!.KeyId}", "none");
    }

    private void CheckNodes(List<(int Level, long Position, byte[] Hash)> completed)
    {
        foreach (var level in completed.GroupBy(n => n.Level))
        {
            var expected = level.ToList();
            var stored = store.Nodes(level.Key, expected[0].Position, expected.Count);
            for (var i = 0; i < expected.Count; i++)
                if (i >= stored.Count || stored[i].Position != expected[i].Position || !stored[i].Hash.AsSpan().SequenceEqual(expected[i].Hash))
                {
                    Add(LedgerFailures.TreeNode, $"subtree {expected[i].Position} on level {level.Key}", Convert.ToHexStringLower(expected[i].Hash),
                        i < stored.Count ? Convert.ToHexStringLower(stored[i].Hash) : "nothing");
                    break;
                }
        }
    }

    private void CheckNodeCount()
    {
        var expected = (2 * _tree.Count) - long.PopCount(_tree.Count);
        var found = store.CountNodes();
        if (expected != found)
            Add(LedgerFailures.TreeNode, "table node", $"{expected} rows", $"{found}");
    }

    private VerificationKey? LogKey() =>
        _people.LogKeyId is { } id ? VerificationKey.FromPem(_people.FindKey(id)!.Pem, "ledger key") : null;

    private void CheckHeads(List<(long Size, TreeHead Head, byte[] Envelope)> heads)
    {
        using var key = LogKey();
        if (store.CountHeads() != 1)
            Add(LedgerFailures.Head, "table head", "one newest head", "another number");
        foreach (var (size, head, envelope) in heads)
        {
            var where = $"head of {size}";
            try
            {
                if (key is not null)
                    TreeHead.Verify(envelope, key);
            }
            catch (CheckFailedException e)
            {
                Add(LedgerFailures.Head, where, e.Expected, e.Found);
                continue;
            }

            if (head.Size != size || head.Ledger != _ledger)
                Add(LedgerFailures.Head, where, $"size {size} of ledger {_ledger}", $"size {head.Size} of {head.Ledger}");
            else if (head.Size > _tree.Count)
                Add(LedgerFailures.TailRemoved, where, $"{head.Size} events", $"{_tree.Count}");
            else if (head.Root != RootAt(head.Size))
                Add(LedgerFailures.HeadRoot, where, head.Root, RootAt(head.Size));
        }

        if (store.Size() < _tree.Count)
            Add(LedgerFailures.Head, "newest head", $"size {_tree.Count}", $"{store.Size()}");
    }

    private string RootAt(long size) => size == 0 ? Convert.ToHexStringLower(MerkleHash.Empty()) : _roots.GetValueOrDefault(size, "none");

    private void CheckTerms()
    {
        UInt128 sum = 0;
        long count = 0;
        var (name, value, position) = ("", "", -1L);
        while (store.TermsAfter(name, value, position, 2 * ChunkEvents) is { Count: > 0 } page)
        {
            run.ThrowIfCancelled();
            var parts = new UInt128[Partition.Pieces(page.Count, PieceEvents)];
            Partition.Ranges(run, page.Count, PieceEvents, (piece, from, to) =>
            {
                for (var i = from; i < to; i++)
                    parts[piece] += HashOf(page[i].Name, page[i].Value, page[i].Position);
            });
            foreach (var part in parts)
                sum += part;
            count += page.Count;
            (name, value, position) = page[^1];
        }

        if (count != store.CountTerms() || count != _expectedTermCount || sum != _expectedTerms)
            Add(LedgerFailures.Index, "table term", $"{_expectedTermCount} words as the events give them", $"{count}, not the same");
    }

    private static (UInt128 Sum, int Count) SumOfTerms(IReadOnlyList<EventTerm> terms, long position)
    {
        UInt128 sum = 0;
        foreach (var term in terms)
            sum += HashOf(term.Name, term.Value, position);
        return (sum, terms.Count);
    }

    /// <summary>Adding the hashes compares two large sets in any order; nobody finds other words with the same sum by chance.</summary>
    private static UInt128 HashOf(string name, string value, long position)
    {
        Span<byte> hash = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(Encoding.UTF8.GetBytes($"{name}\0{value}\0{position}"), hash);
        return BinaryPrimitives.ReadUInt128LittleEndian(hash);
    }

    private void CheckModels()
    {
        long seen = 0;
        for (var name = ""; store.ModelsAfter(name, ChunkEvents) is { Count: > 0 } page; name = page[^1].Model)
        {
            foreach (var row in page)
            {
                seen++;
                var expected = _models.GetValueOrDefault(row.Model) is { } facts ? Ledger.Row(facts) : null;
                if (expected is null || expected with { Facts = row.Facts } != row || !expected.Facts.AsSpan().SequenceEqual(row.Facts))
                    Add(LedgerFailures.ModelState, $"model {row.Model}", expected is null ? "no such model" : Encoding.UTF8.GetString(expected.Facts), Encoding.UTF8.GetString(row.Facts));
            }
        }

        if (seen != _models.Count || store.CountModels() != seen)
            Add(LedgerFailures.ModelState, "table model", $"{_models.Count} models", $"{seen}");
    }

    private void CheckSubjects()
    {
        var keys = store.Subjects();
        foreach (var (subject, key) in keys)
        {
            if (_redacted.Contains(subject))
                Add(LedgerFailures.Subject, $"subject {subject}", "no key after its redaction", "a key");
            if (key.Length != 32)
                Add(LedgerFailures.Subject, $"subject {subject}", "a key of 32 bytes", $"{key.Length} bytes");
        }

        foreach (var subject in _sealed.Except(keys.Select(k => k.Subject)).Except(_redacted))
            Add(LedgerFailures.Subject, $"subject {subject}", "a key, or a redaction", "neither");
    }

    private void NoteDoubtfulKeys()
    {
        foreach (var key in _people.Keys.Where(k => k.DoubtfulSince is not null))
            _notes.Add($"The key {key.KeyId} of {key.Person} is doubtful since {RecordTime.Text(key.DoubtfulSince!.Value)}: ledger ask key lists what it signed.");
    }

    private static UInt128 Id(string hex) => UInt128.Parse(hex, System.Globalization.NumberStyles.HexNumber, System.Globalization.CultureInfo.InvariantCulture);
}
