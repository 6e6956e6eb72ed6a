using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.People;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Ledgers.Subjects;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>Where an appended event stands.</summary>
/// <param name="WasThere">True when the same bytes were in the ledger already: a second try after a crash.</param>
public sealed record LedgerReceipt(long Position, string EventId, bool WasThere);

/// <summary>The append-only history of everything about models: who asked, did, checked, released, printed, and what went wrong.</summary>
/// <remarks>
/// An event is canonical JSON, signed by who acts, and a leaf of an RFC 9162 tree. Event, tree nodes and signed head are one
/// transaction, on the disk before <see cref="Append(IReadOnlyList{SignedEvent})"/> returns: make an effect visible only after it. A caller who cannot know
/// whether an append got through appends the same <see cref="SignedEvent"/> again; it is taken once.
/// Several processes, on PostgreSQL several nodes, may append to one ledger. One object serves one thread at a time: it locks.
/// Cost of an append: one commit, two signatures, O(log n) hashes. Trouble comes as <see cref="LedgerRefusedException"/>.
/// </remarks>
public sealed class Ledger : IDisposable
{
    private const int MostCachedModels = 20_000;

    private static readonly LedgerEventKind[] s_peopleKinds =
        [LedgerEventKind.LedgerOpened, LedgerEventKind.PersonChange, LedgerEventKind.KeyChange, LedgerEventKind.KeyRevocation];

    private readonly Lock _lock = new();
    private readonly TimeProvider _clock;
    private readonly Dictionary<string, ModelFacts?> _models = [];
    private readonly Dictionary<string, VerificationKey> _verifiers = [];
    private SigningKey? _logKey;
    private PeopleDirectory _people = new();
    private CompactTree _tree = new();
    private LedgerLaw _law;
    private bool _isStale = true;
    private bool _isRefreshing;
    private bool _isAppending;
    private bool _isRestoring;

    private Ledger(LedgerStore store, LedgerPlace place, PersonKeys keys, string id, TimeProvider clock)
    {
        Store = store;
        Place = place;
        Keys = keys;
        Id = id;
        _clock = clock;
        _law = NewLaw();
    }

    /// <summary>32 hex digits; every event and head names it.</summary>
    public string Id { get; }

    public LedgerPlace Place { get; }

    public PersonKeys Keys { get; }

    /// <summary>People and keys as of the newest event.</summary>
    public PeopleDirectory People
    {
        get
        {
            lock (_lock)
                Refresh();
            return _people;
        }
    }

    internal LedgerStore Store { get; }

    /// <summary>Begins a ledger: its own key, its first administrator, its first event.</summary>
    /// <exception cref="LedgerRefusedException">There is one already, or the place cannot be written.</exception>
    public static Ledger Create(
        LedgerPlace place, string administrator, string name, string passphrase, TimeProvider clock, int keyIterations = PersonKeys.DefaultIterations)
    {
        Directory.CreateDirectory(place.Folder);
        var keys = new PersonKeys(place.Keys, keyIterations);
        var store = LedgerStore.Open(place, create: true);
        try
        {
            if (store.HasTables())
                throw new LedgerRefusedException(Refusals.LedgerExists, "There is a ledger in that place already.", "Choose another place.");
            var logKey = keys.Create(PeopleDirectory.LedgerItself, null);
            var key = keys.Create(administrator, passphrase);
            using var signing = keys.Open(administrator, KeyIdOf(key), passphrase);
            var id = LedgerEvent.NewId();
            var opened = new LedgerOpenedBody(
                logKey, Schema.Newest, new PersonChangeBody(administrator, name, [Role.Administrator], PublicKey: key));
            var ledger = new Ledger(store, place, keys, id, clock) { _logKey = keys.Open(PeopleDirectory.LedgerItself, KeyIdOf(logKey), null) };
            ledger.Begin(opened, new Signatory(administrator, name, Role.Administrator), signing);
            return ledger;
        }
        catch
        {
            store.Dispose();
            throw;
        }
    }

    /// <summary>Begins a ledger for a service, which signs with the ledger's own key and names the first administrator later, once.</summary>
    /// <exception cref="LedgerRefusedException">There is one already, or the place cannot be written.</exception>
    public static Ledger CreateForService(LedgerPlace place, TimeProvider clock, int keyIterations = PersonKeys.DefaultIterations)
    {
        Directory.CreateDirectory(place.Folder);
        var keys = new PersonKeys(place.Keys, keyIterations);
        var store = LedgerStore.Open(place, create: true);
        try
        {
            if (store.HasTables())
                throw new LedgerRefusedException(Refusals.LedgerExists, "There is a ledger in that place already.", "Choose another place.");
            var logKey = keys.Create(PeopleDirectory.LedgerItself, null);
            var ledger = new Ledger(store, place, keys, LedgerEvent.NewId(), clock) { _logKey = keys.Open(PeopleDirectory.LedgerItself, KeyIdOf(logKey), null) };
            ledger.Begin(
                new LedgerOpenedBody(logKey, Schema.Newest), new Signatory(PeopleDirectory.LedgerItself, PeopleDirectory.LedgerName, Role.Service), ledger._logKey);
            return ledger;
        }
        catch
        {
            store.Dispose();
            throw;
        }
    }

    /// <summary>Opens a ledger.</summary>
    /// <exception cref="LedgerRefusedException">None there, of another schema version, or not readable.</exception>
    public static Ledger Open(LedgerPlace place, TimeProvider clock, bool readOnly = false, int keyIterations = PersonKeys.DefaultIterations)
    {
        var store = LedgerStore.Open(place, readOnly);
        try
        {
            if (!store.HasTables())
                throw new LedgerRefusedException(Refusals.LedgerMissing, "The database holds no ledger.", "Begin one with ledger init.");
            var (id, schema) = store.Identity();
            if (schema > Schema.Newest)
                throw new LedgerRefusedException(
                    Refusals.SchemaNewer, $"The ledger has schema {schema}, this program knows {Schema.Newest}.", "Use the newer program.");
            if (schema < Schema.Newest)
                throw new LedgerRefusedException(
                    Refusals.SchemaOlder, $"The ledger has schema {schema}, this program {Schema.Newest}.", "Make a backup, then run ledger upgrade.");
            return new Ledger(store, place, new PersonKeys(place.Keys, keyIterations), id, clock);
        }
        catch
        {
            store.Dispose();
            throw;
        }
    }

    /// <summary>Takes an older ledger to the newest schema and records it, in one transaction.</summary>
    public static Ledger Upgrade(
        LedgerPlace place, string administrator, string passphrase, TimeProvider clock, int keyIterations = PersonKeys.DefaultIterations)
    {
        var store = LedgerStore.Open(place);
        try
        {
            var (id, schema) = store.Identity();
            if (schema >= Schema.Newest)
                throw new LedgerRefusedException(Refusals.SchemaNewer, $"The ledger has schema {schema} already.", "Nothing is to be done.");
            var ledger = new Ledger(store, place, new PersonKeys(place.Keys, keyIterations), id, clock);
            using var key = ledger.OpenKey(administrator, passphrase, logFailure: false);
            var signed = ledger.Sign(new EventDraft(LedgerEventKind.SchemaUpgrade, new SchemaUpgradeBody(schema, Schema.Newest)), administrator, key);
            ledger.Append([signed], upgradeFrom: schema);
            return ledger;
        }
        catch
        {
            store.Dispose();
            throw;
        }
    }

    /// <summary>Opens a person's key for one signature; the passphrase is asked for every time (21 CFR 11.200).</summary>
    /// <remarks>Failures are events themselves and so outlive a restart: after five in a row the key stays shut for 15 minutes.</remarks>
    /// <exception cref="LedgerRefusedException">Wrong passphrase, locked, or no such key.</exception>
    public SigningKey OpenKey(string person, string passphrase) => OpenKey(person, passphrase, logFailure: true);

    /// <summary>Builds and signs an event; it is not in the ledger yet.</summary>
    public SignedEvent Sign(EventDraft draft, string person, SigningKey key)
    {
        lock (_lock)
        {
            Refresh();
            return Build(draft, _people.SignatoryFor(person, draft.Kind, draft.Role), key);
        }
    }

    /// <summary>Signs with the person's key and appends.</summary>
    public LedgerReceipt Record(EventDraft draft, string person, string passphrase)
    {
        // Asked before the passphrase: an act that is refused anyway should not cost a wait.
        lock (_lock)
        {
            Refresh();
            _people.SignatoryFor(person, draft.Kind, draft.Role);
        }

        using var key = OpenKey(person, passphrase);
        return Append(Sign(draft, person, key));
    }

    /// <summary>Signs with the ledger's own key and appends: for what programs do.</summary>
    public LedgerReceipt RecordAsLedger(EventDraft draft) => Append(Sign(draft, PeopleDirectory.LedgerItself, LogKey()));

    /// <summary>
    /// Signs with the ledger's own key and appends all in one transaction. A draft with an id that is in the ledger already is
    /// passed over: for who cannot know whether an earlier try got through.
    /// </summary>
    public IReadOnlyList<LedgerReceipt> RecordAsLedger(IReadOnlyList<EventDraft> drafts)
    {
        var key = LogKey();
        lock (_lock)
        {
            var missing = drafts.Where(d => d.Id is not { } id || Store.EventById(id) is null).ToList();
            return missing.Count == 0 ? [] : Append([.. missing.Select(d => Sign(d, PeopleDirectory.LedgerItself, key))]);
        }
    }

    public LedgerReceipt Append(SignedEvent signed) => Append([signed])[0];

    /// <summary>Appends all or none, in one transaction. On return they are on the disk.</summary>
    public IReadOnlyList<LedgerReceipt> Append(IReadOnlyList<SignedEvent> events)
    {
        var receipts = Append(events, createTables: false);
        if (events.Any(e => e.Content.Kind == LedgerEventKind.Redaction))
            lock (_lock)
                Store.Settle();
        return receipts;
    }

    /// <summary>The newest signed head, as envelope. Giving it away keeps it.</summary>
    public byte[] PublishHead()
    {
        lock (_lock)
        {
            Store.BeginAppend();
            try
            {
                var head = Store.Head() ?? throw Damaged("there is no head");
                Store.KeepHead(Store.Size(), head);
                Store.Commit();
                return head;
            }
            catch
            {
                Store.Rollback();
                throw;
            }
        }
    }

    /// <summary>The newest head, checked with the ledger's key.</summary>
    public TreeHead Head()
    {
        lock (_lock)
        {
            Refresh();
            using var key = VerificationKey.FromPem(_people.FindKey(_people.LogKeyId!)!.Pem, "ledger key");
            return TreeHead.Verify(Store.Head() ?? throw Damaged("there is no head"), key);
        }
    }

    public long Size()
    {
        lock (_lock)
            return Store.Size();
    }

    /// <summary>The hashes that show an event to be in the tree of a size (RFC 9162).</summary>
    public IReadOnlyList<byte[]> InclusionProof(long position, long size)
    {
        lock (_lock)
            return Subtrees().InclusionProof(position, size);
    }

    /// <summary>The hashes that show an earlier tree to be the beginning of a later one (RFC 9162).</summary>
    public IReadOnlyList<byte[]> ConsistencyProof(long first, long second)
    {
        lock (_lock)
            return Subtrees().ConsistencyProof(first, second);
    }

    /// <summary>Root the tree had at an earlier size, from stored subtree hashes.</summary>
    public byte[] Root(long size)
    {
        lock (_lock)
            return Subtrees().Root(size);
    }

    public SignedEvent? Event(long position)
    {
        lock (_lock)
            return Store.Event(position) is { } stored ? SignedEvent.Parse(stored.Envelope) : null;
    }

    public (long Position, SignedEvent Event)? EventById(string id)
    {
        lock (_lock)
            return Store.EventById(id) is { } stored ? (stored.Position, SignedEvent.Parse(stored.Envelope)) : null;
    }

    /// <summary>Every event about a revision, in order.</summary>
    public IReadOnlyList<(long Position, SignedEvent Event)> EventsOf(string model)
    {
        lock (_lock)
            return [.. Store.EventsWith(EventTerms.Model, model).Select(s => (s.Position, SignedEvent.Parse(s.Envelope)))];
    }

    /// <summary>State of a revision, folded from its events now; null when it was never requested.</summary>
    public ModelFacts? Model(string model)
    {
        lock (_lock)
            return Fold(model);
    }

    /// <summary>Seals personal data so that only the subject's own key opens it.</summary>
    public SealedText Seal(string subject, string text)
    {
        lock (_lock)
            return new SubjectVault(Store).Seal(Id, subject, text);
    }

    /// <summary>Opens sealed data; null once the subject's key was destroyed.</summary>
    public string? Unseal(SealedText sealedText)
    {
        lock (_lock)
            return new SubjectVault(Store).Open(Id, sealedText);
    }

    public void Dispose()
    {
        foreach (var key in _verifiers.Values)
            key.Dispose();
        _logKey?.Dispose();
        Store.Dispose();
    }

    /// <summary>Tables without an event, for a backup to be read into.</summary>
    /// <exception cref="LedgerRefusedException">There is a ledger already.</exception>
    internal static Ledger Empty(LedgerPlace place, string id, TimeProvider clock, int keyIterations)
    {
        var store = LedgerStore.Open(place, create: true);
        try
        {
            if (store.HasTables())
                throw new LedgerRefusedException(Refusals.LedgerExists, "There is a ledger in that place already.", "Restore into an empty place.");
            store.BeginAppend();
            store.CreateTables(id, Schema.Newest);
            store.Commit();
            return new Ledger(store, place, new PersonKeys(place.Keys, keyIterations), id, clock);
        }
        catch
        {
            store.Dispose();
            throw;
        }
    }

    /// <summary>Appends events of a backup. The keys of their subjects come afterwards, or are gone for ever.</summary>
    internal void AppendRestored(IReadOnlyList<SignedEvent> events)
    {
        lock (_lock)
        {
            _isRestoring = true;
            try
            {
                if (_logKey is null && _tree.Count == 0)
                {
                    var logKey = events[0].Content.Read<LedgerOpenedBody>().LogKey;
                    _logKey = Keys.Open(PeopleDirectory.LedgerItself, KeyIdOf(logKey), null);
                }

                Append(events, createTables: false);
            }
            finally
            {
                _isRestoring = false;
            }
        }
    }

    internal static string KeyIdOf(string pem)
    {
        using var key = VerificationKey.FromPem(pem, "public key");
        return key.KeyId;
    }

    /// <summary>Rows are a derived copy; see <see cref="EventTerms"/> and <see cref="ModelFacts"/>.</summary>
    internal static StoredModel Row(ModelFacts m) => new(
        m.Model, m.Stage.ToString(), m.Preparer, m.Releaser,
        m.RetainUntil?.ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture),
        CanonicalJson.Write(RecordJson.ToNode(m)));

    internal static StoredEvent Row(SignedEvent e, long position) => new(
        position, e.Content.Id, e.Content.Kind.ToString(), RecordTime.Text(e.Content.At), e.Content.By.Person, e.KeyId, e.Envelope);

    internal T Locked<T>(Func<LedgerStore, T> work)
    {
        lock (_lock)
            return work(Store);
    }

    internal SigningKey LogKey()
    {
        lock (_lock)
        {
            Refresh();
            return _logKey ??= Keys.Open(PeopleDirectory.LedgerItself, _people.LogKeyId!, null);
        }
    }

    private SigningKey OpenKey(string person, string passphrase, bool logFailure)
    {
        string keyId;
        lock (_lock)
        {
            Refresh();
            keyId = _people.CurrentKey(person)?.KeyId ?? throw new LedgerRefusedException(
                _people.Find(person) is null ? Refusals.PersonUnknown : Refusals.UnknownKey,
                $"{person} has no key in this ledger.", "An administrator adds people and keys.");
            PassphraseGuard.RequireOpen(Store, person, _clock.GetUtcNow());
        }

        try
        {
            return Keys.Open(person, keyId, passphrase);
        }
        catch (LedgerRefusedException e) when (e.Code == Refusals.PassphraseWrong && logFailure)
        {
            RecordAsLedger(new EventDraft(LedgerEventKind.PassphraseFailed, new PassphraseFailedBody(person)));
            throw;
        }
    }

    private void Begin(LedgerOpenedBody opened, Signatory by, SigningKey key)
    {
        Append([Build(new EventDraft(LedgerEventKind.LedgerOpened, opened), by, key)], createTables: true);
        Place.Save();
    }

    private SignedEvent Build(EventDraft draft, Signatory by, SigningKey key)
    {
        if (draft.Body.GetType() != EventBodies.TypeOf(draft.Kind))
            throw new ArgumentException($"A {draft.Kind} does not carry a {draft.Body.GetType().Name}.", nameof(draft));
        var content = new LedgerEvent
        {
            Id = draft.Id ?? LedgerEvent.NewId(),
            Ledger = Id,
            Kind = draft.Kind,
            At = ToMilliseconds(_clock.GetUtcNow()),
            By = by,
            Meaning = Privileges.MeaningOf(draft.Kind),
            Models = draft.Models is { Count: > 0 } ? draft.Models : null,
            Reason = draft.Reason,
            Personal = draft.Personal,
            Body = RecordJson.ToNode(draft.Body),
        };
        return SignedEvent.Parse(content.Sign(key).ToBytes());
    }

    private List<LedgerReceipt> Append(IReadOnlyList<SignedEvent> events, bool createTables = false, int? upgradeFrom = null)
    {
        lock (_lock)
        {
            // The log key is opened outside the transaction, so that a missing one cannot hold the lock.
            var logKey = _logKey ?? LogKey();
            Store.BeginAppend();
            try
            {
                if (createTables)
                    Store.CreateTables(Id, Schema.Newest);
                if (upgradeFrom is { } schema)
                {
                    Store.Upgrade(schema);
                    FillDerivedRows();
                }

                Refresh();
                _isAppending = true;
                var receipts = AppendInside(events, logKey);
                Store.Commit();
                return receipts;
            }
            catch
            {
                Store.Rollback();
                _isStale = true;
                throw;
            }
            finally
            {
                _isAppending = false;
            }
        }
    }

    /// <summary>A newer schema may have columns that the facts of a model already hold.</summary>
    private void FillDerivedRows()
    {
        for (var name = ""; Store.ModelsAfter(name, 1000) is { Count: > 0 } page; name = page[^1].Model)
            foreach (var row in page)
                Store.PutModel(Row(JsonSerializer.Deserialize<ModelFacts>(row.Facts, RecordJson.Options)!));
    }

    private List<LedgerReceipt> AppendInside(IReadOnlyList<SignedEvent> events, SigningKey logKey)
    {
        var receipts = new List<LedgerReceipt>();
        var rows = new List<StoredEvent>();
        var nodes = new List<(int, long, byte[])>();
        var terms = new List<(EventTerm, long)>();
        var changed = new Dictionary<string, ModelFacts>();
        var pending = new Dictionary<string, SignedEvent>();
        foreach (var signed in events)
        {
            if (FindSame(signed, pending, rows) is { } there)
            {
                receipts.Add(new LedgerReceipt(there, signed.Content.Id, WasThere: true));
                continue;
            }

            var position = _tree.Count;
            foreach (var model in _law.Admit(signed, position))
                _models[model.Model] = changed[model.Model] = model;
            RequireSignature(signed);
            KeepSubject(signed.Content);
            _tree.Append(MerkleHash.Leaf(signed.Envelope), (level, at, hash) => nodes.Add((level, at, hash)));
            rows.Add(Row(signed, position));
            terms.AddRange(EventTerms.Of(signed.Content).Select(t => (t, position)));
            pending[signed.Content.Id] = signed;
            receipts.Add(new LedgerReceipt(position, signed.Content.Id, WasThere: false));
        }

        if (rows.Count == 0)
            return receipts;
        Store.InsertEvents(rows);
        Store.InsertNodes(nodes);
        Store.InsertTerms(terms);
        foreach (var model in changed.Values)
            Store.PutModel(Row(model));
        var head = new TreeHead
        {
            Ledger = Id,
            Size = _tree.Count,
            Root = Convert.ToHexStringLower(_tree.Root()),
            At = ToMilliseconds(_clock.GetUtcNow()),
        };
        Store.PutHead(head.Size, head.Sign(logKey));
        return receipts;
    }

    /// <summary>Position of the same event, when this is a second try.</summary>
    private long? FindSame(SignedEvent signed, Dictionary<string, SignedEvent> pending, List<StoredEvent> rows)
    {
        var id = signed.Content.Id;
        var stored = pending.ContainsKey(id) ? rows.Find(r => r.Id == id) : Store.EventById(id);
        if (stored is null)
            return null;
        if (!stored.Envelope.AsSpan().SequenceEqual(signed.Envelope))
            throw new LedgerRefusedException(Refusals.DuplicateId, $"The id {id} belongs to another event, at {stored.Position}.", "Draw a new id.");
        return stored.Position;
    }

    private void RequireSignature(SignedEvent signed)
    {
        if (!_verifiers.TryGetValue(signed.KeyId, out var key))
            _verifiers[signed.KeyId] = key = VerificationKey.FromPem(_people.FindKey(signed.KeyId)!.Pem, "key");
        if (!key.Verify(signed.Signed(), signed.Signature))
            throw new LedgerRefusedException(Refusals.SignatureInvalid, "The signature does not hold with the key it names.", "Sign the event anew.");
    }

    private void KeepSubject(LedgerEvent e)
    {
        if (e.Kind == LedgerEventKind.Redaction)
            Store.RemoveSubjectKey(e.Read<RedactionBody>().Subject);
        if (!_isRestoring && e.Personal is { } personal && Store.SubjectKey(personal.Subject) is null)
            throw new LedgerRefusedException(
                Refusals.SubjectRedacted, "The key of this subject is not there: it was redacted, or the data was sealed elsewhere.", "Seal the data in this ledger.");
    }

    private ModelFacts? Fold(string model)
    {
        Refresh();
        if (_models.TryGetValue(model, out var known))
            return known;
        ModelFacts? facts = null;
        foreach (var stored in Store.EventsWith(EventTerms.Model, model))
        {
            var e = SignedEvent.Parse(stored.Envelope).Content;
            if (ModelFacts.Concerns(e.Kind))
                facts = ModelFacts.After(facts, model, e, stored.Position, Fold);
        }

        if (_models.Count >= MostCachedModels)
            _models.Clear();
        return _models[model] = facts;
    }

    /// <summary>Brings tree, people and time up to what the database holds: another process may have appended.</summary>
    private void Refresh()
    {
        // Inside an append the tree is ahead of the database, and nobody else can have appended.
        if (_isRefreshing || _isAppending)
            return;
        _isRefreshing = true;
        try
        {
            var size = Store.Size();
            if (!_isStale && size == _tree.Count)
                return;
            try
            {
                Load(size);
            }
            catch (CheckFailedException e)
            {
                throw new LedgerRefusedException(Refusals.DatabaseDamaged, e.Message, "Run ledger verify; restore a backup.", e);
            }
        }
        finally
        {
            _isRefreshing = false;
        }
    }

    private void Load(long size)
    {
        _models.Clear();
        var from = _isStale ? 0 : _tree.Count;
        if (_isStale)
            _people = new PeopleDirectory();
        var events = s_peopleKinds
            .SelectMany(kind => size == 0 ? [] : Store.EventsOfKind(kind.ToString(), from))
            .Where(e => e.Position < size)
            .OrderBy(e => e.Position);
        foreach (var stored in events)
        {
            var signed = SignedEvent.Parse(stored.Envelope);
            _people.Admit(signed.Content, signed.KeyId, stored.Position);
        }

        _tree = CompactTree.Load(size, Complete);
        _law = NewLaw();
        if (size > 0)
            _law.Latest = Latest(Store.Event(size - 1) ?? throw Damaged($"event {size - 1} is missing"));
        _isStale = false;
    }

    private static DateTimeOffset? Latest(StoredEvent last)
    {
        var e = SignedEvent.Parse(last.Envelope).Content;
        return e.Kind == LedgerEventKind.ClockCorrection ? null : e.At;
    }

    private LedgerLaw NewLaw() => new(Id, _people, Fold, id => Store.EventById(id) is not null);

    private MerkleSubtrees Subtrees() => new(Complete);

    private byte[] Complete(int level, long position) =>
        Store.Node(level, position) ?? throw Damaged($"the hash of subtree {position} on level {level} is missing");

    private static LedgerRefusedException Damaged(string what) =>
        new(Refusals.DatabaseDamaged, $"The ledger is not whole: {what}.", "Run ledger verify; restore a backup.");

    private static DateTimeOffset ToMilliseconds(DateTimeOffset t) => new(t.UtcTicks / TimeSpan.TicksPerMillisecond * TimeSpan.TicksPerMillisecond, TimeSpan.Zero);
}
