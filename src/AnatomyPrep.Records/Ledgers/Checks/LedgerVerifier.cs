using System.Collections.Concurrent;
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
/// Signatures of keys that signed many are checked by tables of our own. What those reject the system is asked about again, and so is a random
///   sample of what they accept: one disagreement there, and the whole ledger is checked once more by the system alone.
/// Cost: O(n) on <see cref="RunContext.Threads"/> threads, some 70 µs of processor an event. Memory: 100 bytes an event, 1 kB a model, a
///   megabyte a key, and the database's own check 256 MB.
/// </remarks>
/// <param name="checkMany">Checks signatures by tables; null to ask the system about every one.</param>
internal sealed class LedgerVerifier(
    LedgerStore store, IReadOnlyList<WitnessedHead> witness, X509Certificate2Collection? authorities, RunContext run, Action<IReadOnlyList<P256Item>>? checkMany)
{
    private const int ChunkEvents = 16384;
    private const int PieceEvents = 1024;
    private const int MostFailures = 100;

    /// <summary>A megabyte each; the keys that came first have signed most.</summary>
    private const int MostTables = 64;

    /// <summary>So many signatures of a key pay for its table.</summary>
    private const int LeastForTable = 256;

    /// <summary>Of so many signatures that hold by a table, the system is asked about one.</summary>
    private const int SampleEvery = 128;

    private readonly List<LedgerFailure> _failures = [];
    private readonly List<string> _notes = [];
    private readonly CompactTree _tree = new();
    private readonly PeopleDirectory _people = new();
    private readonly Dictionary<string, ModelFacts?> _models = [];
    private readonly HashSet<UInt128> _ids = [];
    private readonly HashSet<string> _sealed = [];
    private readonly HashSet<string> _redacted = [];
    private readonly Dictionary<long, string> _roots = [];
    private readonly Dictionary<string, string> _pems = [];
    private readonly Dictionary<string, P256Key> _tables = [];
    private readonly Dictionary<string, int> _seen = [];
    private readonly ConcurrentBag<Dictionary<string, VerificationKey>> _verifiers = [];
    private long _expectedTermCount;
    private LedgerLaw? _law;
    private string? _ledger;
    private volatile bool _areTablesWrong;

    private enum Signed
    {
        KeyNotKnown,
        Rightly,
        Wrongly,
    }

    /// <param name="Terms">In order of position, name, value.</param>
    /// <param name="Nodes">By level.</param>
    private sealed record Chunk(
        IReadOnlyList<StoredEvent> Rows, IReadOnlyList<(EventTerm Term, long Position)> Terms, IReadOnlyList<IReadOnlyList<(long Position, byte[] Hash)>> Nodes);

    /// <summary>Verifies one consistent state of the ledger; others may go on appending.</summary>
    public static LedgerReport Verify(
        Ledger ledger, IReadOnlyList<WitnessedHead> witness, RunContext run, X509Certificate2Collection? authorities = null) =>
        Verify(ledger, witness, run, authorities, P256Key.Check);

    /// <summary>The same with another check of many signatures.</summary>
    internal static LedgerReport Verify(
        Ledger ledger, IReadOnlyList<WitnessedHead> witness, RunContext run, X509Certificate2Collection? authorities, Action<IReadOnlyList<P256Item>> checkMany) =>
        ledger.Locked(store => Verify(store, ledger.Place, witness, authorities, run, checkMany));

    private static LedgerReport Verify(
        LedgerStore store, LedgerPlace place, IReadOnlyList<WitnessedHead> witness, X509Certificate2Collection? authorities, RunContext run, Action<IReadOnlyList<P256Item>> checkMany)
    {
        store.BeginRead();
        try
        {
            LedgerReport? report = null;
            IReadOnlyList<LedgerFailure> own = [];
            // The database's own check reads all of the file by itself, so it has a connection and a piece of its own.
            Partition.For(run, 2, piece =>
            {
                if (piece == 0)
                    own = OwnCheck(place);
                else
                    report = Events(store, witness, authorities, run, checkMany);
            });
            return own.Count == 0 ? report! : report! with { Holds = false, Failures = [.. own.Concat(report.Failures).Take(MostFailures)] };
        }
        finally
        {
            store.Rollback();
        }
    }

    private static LedgerReport Events(
        LedgerStore store, IReadOnlyList<WitnessedHead> witness, X509Certificate2Collection? authorities, RunContext run, Action<IReadOnlyList<P256Item>> checkMany)
    {
        var quick = new LedgerVerifier(store, witness, authorities, run, checkMany);
        var report = quick.Run();
        if (!quick._areTablesWrong)
            return report;
        report = new LedgerVerifier(store, witness, authorities, run, checkMany: null).Run();
        return report with
        {
            Notes = [.. report.Notes, "The quick check of signatures held one that the system's check refuses, so every signature was checked by the system: report this, it is a fault of this program or machine."],
        };
    }

    private static IReadOnlyList<LedgerFailure> OwnCheck(LedgerPlace place)
    {
        try
        {
            using var store = LedgerStore.Open(place, readOnly: true);
            return [.. store.OwnCheck().Select(line => new LedgerFailure(LedgerFailures.Database, "database file", "a whole database", line))];
        }
        catch (LedgerRefusedException e)
        {
            return [new LedgerFailure(LedgerFailures.Database, "database", "a database that can be read", e.Message)];
        }
    }

    private LedgerReport Run()
    {
        try
        {
            var heads = ReadHeads();
            var wanted = heads.Select(h => h.Size).Concat(witness.Select(w => w.Head.Size)).ToHashSet();
            CheckEvents(wanted);
            CheckHeads(heads);
            new WitnessCheck(_ledger, LogKey(), _tree.Count, _roots, Add).Check(witness);
            CheckNodeCount();
            CheckTermCount();
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
        // One piece reads the next chunk while the other computes: the database waits for nobody.
        for (var chunk = ReadChunk(0); chunk.Rows.Count > 0;)
        {
            run.ThrowIfCancelled();
            run.Report("verify", "events", (double)chunk.Rows[0].Position / total);
            var next = chunk;
            var (present, after) = (chunk, chunk.Rows[^1].Position + 1);
            Partition.For(run, 2, piece =>
            {
                if (piece == 0)
                    next = ReadChunk(after);
                else
                    CheckChunk(present, wantedRoots);
            });
            chunk = next;
        }

        foreach (var verifier in _verifiers.SelectMany(set => set.Values))
            verifier.Dispose();
    }

    /// <summary>Events from a position on, with the words and tree nodes that belong to their places.</summary>
    private Chunk ReadChunk(long from)
    {
        var rows = store.EventsFrom(from, ChunkEvents);
        if (rows.Count == 0)
            return new Chunk(rows, [], []);
        var end = rows[^1].Position + 1;
        var nodes = new List<IReadOnlyList<(long Position, byte[] Hash)>>();
        for (var level = 0; end >> level > 0; level++)
        {
            var (first, count) = (from >> level, (end >> level) - (from >> level));
            nodes.Add(count == 0 ? [] : [.. store.Nodes(level, first, (int)count).Select(n => (n.Position, n.Hash))]);
        }

        return new Chunk(rows, store.TermsIn(from, end), nodes);
    }

    private void CheckChunk(Chunk chunk, HashSet<long> wantedRoots)
    {
        var rows = chunk.Rows;
        var leaves = new byte[rows.Count][];
        var events = new SignedEvent?[rows.Count];
        var faults = new CheckFailedException?[rows.Count];
        var (rowsAgree, termsAgree) = (new bool[rows.Count], new bool[rows.Count]);
        var signatures = new Signed[rows.Count];
        Partition.Ranges(run, rows.Count, PieceEvents, (_, from, to) =>
        {
            var term = FirstTermAt(chunk.Terms, rows[from].Position);
            for (var i = from; i < to; i++)
            {
                leaves[i] = MerkleHash.Leaf(rows[i].Envelope);
                try
                {
                    var signed = events[i] = SignedEvent.Parse(rows[i].Envelope);
                    rowsAgree[i] = rows[i] == Ledger.Row(signed, rows[i].Position) with { Envelope = rows[i].Envelope };
                    termsAgree[i] = TermsAgree(signed, rows[i].Position, chunk.Terms, ref term, out var count);
                    Interlocked.Add(ref _expectedTermCount, count);
                }
                catch (CheckFailedException e)
                {
                    faults[i] = e;
                }
            }

            CheckSignatures(events.AsSpan(from, to - from), signatures.AsSpan(from, to - from));
        });
        var completed = new List<(int Level, long Position, byte[] Hash)>(2 * rows.Count);
        for (var i = 0; i < rows.Count; i++)
        {
            var (row, where) = (rows[i], $"event {rows[i].Position}");
            if (row.Position != _tree.Count)
                Add(LedgerFailures.EventMissing, $"event {_tree.Count}", "every position once, without gap", $"position {row.Position} next");
            _tree.Append(leaves[i], (level, at, hash) => completed.Add((level, at, hash)));
            if (wantedRoots.Contains(_tree.Count))
                _roots[_tree.Count] = Convert.ToHexStringLower(_tree.Root());
            if (events[i] is not { } signed)
            {
                Add(LedgerFailures.EventForm, where, faults[i]!.Expected, faults[i]!.Found);
                continue;
            }

            if (!rowsAgree[i])
                Add(LedgerFailures.EventRow, where, "columns that say what the event says", "others");
            if (!termsAgree[i])
                Add(LedgerFailures.Index, $"words of {where}", "those the event gives", "others");
            CheckOne(row.Position, signed, where, signatures[i]);
        }

        CheckNodes(completed, chunk.Nodes);
    }

    /// <summary>Asks the law; and checks the signature of a key that only this chunk brought.</summary>
    private void CheckOne(long position, SignedEvent signed, string where, Signed signature)
    {
        var e = signed.Content;
        if (!_ids.Add(Id(e.Id)))
            Add(LedgerFailures.EventDuplicate, where, "every id once", e.Id);
        if (e.Personal is { } personal)
            _sealed.Add(personal.Subject);
        if (e.Kind == LedgerEventKind.Redaction)
            _redacted.Add(e.Read<RedactionBody>().Subject);
        try
        {
            foreach (var model in _law!.Admit(signed, position))
                _models[model.Model] = model;
        }
        catch (LedgerRefusedException refused)
        {
            Add(LedgerFailures.EventNotAllowed, where, "an event that may stand here", refused.Message);
        }

        if (signature == Signed.KeyNotKnown && _people.FindKey(signed.KeyId) is { } key)
        {
            lock (_pems)
                _pems[key.KeyId] = key.Pem;
            var verifiers = TakeVerifiers();
            signature = CheckSignature(signed, verifiers);
            _verifiers.Add(verifiers);
        }

        if (signature == Signed.KeyNotKnown)
            Add(LedgerFailures.EventSignature, where, "a key of this ledger", signed.KeyId);
        else if (signature == Signed.Wrongly)
            Add(LedgerFailures.EventSignature, where, $"a valid one by key {signed.KeyId}", "none");
    }

    /// <summary>Checks many signatures by the tables of their keys; the system is asked about what does not hold there, and about some that do.</summary>
    private void CheckSignatures(ReadOnlySpan<SignedEvent?> events, Span<Signed> signatures)
    {
        var verifiers = TakeVerifiers();
        var (items, places) = (new List<P256Item>(events.Length), new List<int>(events.Length));
        for (var i = 0; i < events.Length; i++)
        {
            if (events[i] is not { } signed)
                continue;
            if (TableOf(signed.KeyId) is not { } table)
            {
                signatures[i] = CheckSignature(signed, verifiers);
                continue;
            }

            items.Add(new P256Item(table, signed.Signed(), signed.Signature));
            places.Add(i);
        }

        checkMany?.Invoke(items);
        // Drawn anew each time: who knew the sample could keep out of it.
        var sampled = RandomNumberGenerator.GetInt32(SampleEvery);
        for (var k = 0; k < items.Count; k++)
        {
            var isSampled = items[k].Holds && k % SampleEvery == sampled;
            signatures[places[k]] = items[k].Holds && !isSampled ? Signed.Rightly : CheckSignature(events[places[k]]!, verifiers);
            if (isSampled && signatures[places[k]] != Signed.Rightly)
                _areTablesWrong = true;
        }

        _verifiers.Add(verifiers);
    }

    private P256Key? TableOf(string keyId)
    {
        if (checkMany is null)
            return null;
        lock (_pems)
        {
            if (_tables.TryGetValue(keyId, out var table))
                return table;
            var seen = _seen[keyId] = _seen.GetValueOrDefault(keyId) + 1;
            if (seen < LeastForTable || _tables.Count == MostTables || !_pems.TryGetValue(keyId, out var pem))
                return null;
            using var key = VerificationKey.FromPem(pem, "key");
            return _tables[keyId] = key.ForMany();
        }
    }

    /// <summary>Whether the key could sign at that place is the law's question; which key it is never changes.</summary>
    private Signed CheckSignature(SignedEvent signed, Dictionary<string, VerificationKey> verifiers)
    {
        if (!verifiers.TryGetValue(signed.KeyId, out var verifier))
        {
            string? pem;
            lock (_pems)
                pem = _pems.GetValueOrDefault(signed.KeyId);
            if (pem is null)
                return Signed.KeyNotKnown;
            verifiers[signed.KeyId] = verifier = VerificationKey.FromPem(pem, "key");
        }

        return verifier.Verify(signed.Signed(), signed.Signature) ? Signed.Rightly : Signed.Wrongly;
    }

    /// <summary>A set of open keys that nobody else uses now; opening one costs as much as checking several signatures.</summary>
    private Dictionary<string, VerificationKey> TakeVerifiers() => _verifiers.TryTake(out var set) ? set : [];

    private static int FirstTermAt(IReadOnlyList<(EventTerm Term, long Position)> terms, long position)
    {
        var (low, high) = (0, terms.Count);
        while (low < high)
        {
            var middle = (low + high) / 2;
            if (terms[middle].Position < position)
                low = middle + 1;
            else
                high = middle;
        }

        return low;
    }

    /// <summary>Compares the stored words of an event, in order of name and value, with those the event gives.</summary>
    private static bool TermsAgree(SignedEvent signed, long position, IReadOnlyList<(EventTerm Term, long Position)> stored, ref int at, out int count)
    {
        var expected = (List<EventTerm>)EventTerms.Of(signed.Content);
        count = expected.Count;
        expected.Sort(static (a, b) => string.CompareOrdinal(a.Name, b.Name) is not 0 and var byName ? byName : string.CompareOrdinal(a.Value, b.Value));
        while (at < stored.Count && stored[at].Position < position)
            at++;
        var from = at;
        while (at < stored.Count && stored[at].Position == position)
            at++;
        if (at - from != count)
            return false;
        // By UTF-8 bytes and by UTF-16 units few texts sort differently: then every word is looked for.
        for (var i = 0; i < count; i++)
            if (stored[from + i].Term != expected[i])
                return Enumerable.Range(from, count).All(k => expected.Contains(stored[k].Term));
        return true;
    }

    private void CheckNodes(List<(int Level, long Position, byte[] Hash)> completed, IReadOnlyList<IReadOnlyList<(long Position, byte[] Hash)>> stored)
    {
        var seen = new int[64];
        var isToldOf = new bool[64];
        foreach (var (level, position, hash) in completed)
        {
            var (there, i) = (level < stored.Count ? stored[level] : [], seen[level]++);
            if (isToldOf[level] || (i < there.Count && there[i].Position == position && there[i].Hash.AsSpan().SequenceEqual(hash)))
                continue;
            isToldOf[level] = true;
            Add(LedgerFailures.TreeNode, $"subtree {position} on level {level}", Convert.ToHexStringLower(hash), i < there.Count ? Convert.ToHexStringLower(there[i].Hash) : "nothing");
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

    /// <summary>Each event's words were compared with it; this finds words of events that are not there.</summary>
    private void CheckTermCount()
    {
        var found = store.CountTerms();
        if (found != _expectedTermCount)
            Add(LedgerFailures.Index, "table term", $"{_expectedTermCount} words as the events give them", $"{found}");
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
