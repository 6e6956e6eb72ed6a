using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;

namespace AnatomyPrep.Records.Ledgers.People;

/// <summary>A person as the ledger knows them now.</summary>
public sealed record Person(string Id, string Name, IReadOnlyList<Role> Roles, bool Active);

/// <summary>A key and the stretch of the ledger in which it may sign.</summary>
/// <param name="From">Position of the event that brought it.</param>
/// <param name="Until">Position of the event that ended it; null while it may sign.</param>
public sealed record PersonKey(string KeyId, string Person, string Pem, long From, long? Until = null, DateTimeOffset? DoubtfulSince = null);

/// <summary>People and keys, folded from the events that name them; nothing else is believed.</summary>
/// <remarks>
/// Time of a key is place in the tree, not clock: what stands before its revocation stays valid, nothing after it is taken. A
///   revocation may say since when the key was doubtful; events signed with it from then on are listed, not undone.
/// Memory: people and keys only. Not safe for several threads at once.
/// </remarks>
public sealed class PeopleDirectory
{
    /// <summary>Name under which the ledger's own key signs heads and what programs do.</summary>
    public const string LedgerItself = "ledger";

    internal const string LedgerName = "The ledger itself";

    private readonly Dictionary<string, Person> _people = [];
    private readonly Dictionary<string, PersonKey> _keys = [];

    public string? LogKeyId { get; private set; }

    /// <summary>True once somebody was named administrator: from then on only administrators change people.</summary>
    public bool HadAdministrator { get; private set; }

    public IEnumerable<Person> People => _people.Values.OrderBy(p => p.Id, StringComparer.Ordinal);

    public IEnumerable<PersonKey> Keys => _keys.Values.OrderBy(k => k.From).ThenBy(k => k.KeyId, StringComparer.Ordinal);

    public Person? Find(string person) => _people.GetValueOrDefault(person);

    public PersonKey? FindKey(string keyId) => _keys.GetValueOrDefault(keyId);

    public PersonKey? CurrentKey(string person) => _keys.Values.LastOrDefault(k => k.Person == person && k.Until is null);

    /// <summary>True for the kinds that change people or keys.</summary>
    public static bool Concerns(LedgerEventKind kind) => kind is LedgerEventKind.LedgerOpened or LedgerEventKind.PersonChange
        or LedgerEventKind.KeyChange or LedgerEventKind.KeyRevocation;

    /// <summary>Refuses an event that its signer may not make; then takes in what it says about people and keys.</summary>
    /// <exception cref="LedgerRefusedException">Unknown or revoked key, unknown person, or a role without that right.</exception>
    public void Admit(LedgerEvent e, string keyId, long position)
    {
        if (e.Kind == LedgerEventKind.LedgerOpened)
            Open(e, keyId, position);
        Authorize(e, keyId);
        switch (e.Kind)
        {
            case LedgerEventKind.PersonChange:
                RequireFirstAdministrator(e);
                ChangePerson(e.Read<PersonChangeBody>(), position);
                break;
            case LedgerEventKind.KeyChange:
                ChangeKey(e, e.Read<KeyChangeBody>(), position);
                break;
            case LedgerEventKind.KeyRevocation:
                Revoke(e.Read<KeyRevocationBody>(), position);
                break;
        }
    }

    /// <summary>The role of those the person holds that may do this.</summary>
    /// <exception cref="LedgerRefusedException">Person unknown, or none of the roles may.</exception>
    internal Signatory SignatoryFor(string personId, LedgerEventKind kind, Role? wanted)
    {
        var person = Known(personId);
        var allowed = Privileges.For(kind);
        foreach (var role in person.Roles)
            if (allowed.Contains(role) && (wanted is null || wanted == role))
                return new Signatory(person.Id, person.Name, role);
        throw NotAllowed(person, kind);
    }

    internal void Authorize(LedgerEvent e, string keyId)
    {
        var key = _keys.GetValueOrDefault(keyId) ?? throw new LedgerRefusedException(
            Refusals.UnknownKey, $"The key {keyId} is not one of this ledger's.", "Sign with the key the ledger holds for you.");
        if (key.Until is not null)
            throw new LedgerRefusedException(
                Refusals.KeyRevoked, $"The key {keyId} of {key.Person} was given up at event {key.Until}.", "Sign with your present key.");
        var person = Known(e.By.Person);
        if (key.Person != person.Id)
            throw new LedgerRefusedException(
                Refusals.UnknownKey, $"The key {keyId} is not {person.Id}'s but {key.Person}'s.", "Sign with your own key.");
        if (!person.Active)
            throw new LedgerRefusedException(Refusals.RoleNotAllowed, $"{person.Id} is no longer active.", "Ask an administrator.");
        if (!person.Roles.Contains(e.By.Role) || !Privileges.For(e.Kind).Contains(e.By.Role))
            throw NotAllowed(person, e.Kind);
        if (e.By.Name != person.Name)
            throw new LedgerRefusedException(Refusals.EventForm, "The printed name is not the one on record.", "Build the event anew.");
        if (e.Meaning != Privileges.MeaningOf(e.Kind))
            throw new LedgerRefusedException(
                Refusals.EventForm, $"A signature under {e.Kind} means {Privileges.MeaningOf(e.Kind)}, not {e.Meaning}.", "Build the event anew.");
    }

    private void Open(LedgerEvent e, string keyId, long position)
    {
        if (position != 0)
            throw new LedgerRefusedException(Refusals.EventForm, "A ledger is opened once, by its first event.", "Leave the event out.");
        var body = e.Read<LedgerOpenedBody>();
        _people[LedgerItself] = new Person(LedgerItself, LedgerName, [Role.Service], true);
        LogKeyId = AddKey(LedgerItself, body.LogKey, position);
        if (body.Administrator is { } administrator)
            ChangePerson(administrator, position);
        if (CurrentKey(body.Administrator?.Person ?? LedgerItself)?.KeyId != keyId)
            throw new LedgerRefusedException(Refusals.UnknownKey, "The first event is not signed by the administrator it names, or by the ledger itself.", "Sign it so.");
    }

    private void RequireFirstAdministrator(LedgerEvent e)
    {
        if (e.By.Role == Role.Service && (HadAdministrator || !e.Read<PersonChangeBody>().Roles.Contains(Role.Administrator)))
            throw new LedgerRefusedException(
                Refusals.RoleNotAllowed, "A service names the first administrator of a ledger it began, and nobody else.", "An administrator must sign.");
    }

    private void ChangePerson(PersonChangeBody body, long position)
    {
        var isNew = !_people.ContainsKey(body.Person);
        if (!IsName(body.Person) || (body.Person == LedgerItself) || body.Roles.Count == 0)
            throw new LedgerRefusedException(
                Refusals.EventForm, $"A person needs an id of letters, digits, '-', '.' and '_', and a role; this is {body.Person}.", "Choose another id.");
        if (isNew != body.PublicKey is not null)
            throw new LedgerRefusedException(
                Refusals.EventForm,
                isNew ? $"{body.Person} is new and brings no key." : $"{body.Person} is known already; a key is changed by its own event.",
                isNew ? "Give the public key." : "Leave the key out, or choose another id.");
        if (body.PublicKey is { } pem)
            AddKey(body.Person, pem, position);
        HadAdministrator |= body.Roles.Contains(Role.Administrator);
        _people[body.Person] = new Person(body.Person, body.Name, [.. body.Roles], body.Active);
    }

    private void ChangeKey(LedgerEvent e, KeyChangeBody body, long position)
    {
        Known(body.Person);
        if (e.By.Person != body.Person && e.By.Role != Role.Administrator)
            throw new LedgerRefusedException(
                Refusals.RoleNotAllowed, $"{e.By.Person} may not change the key of {body.Person}.", "An administrator may, and so may the person.");
        if (CurrentKey(body.Person) is { } old)
            _keys[old.KeyId] = old with { Until = position };
        AddKey(body.Person, body.PublicKey, position);
    }

    private void Revoke(KeyRevocationBody body, long position)
    {
        var key = _keys.GetValueOrDefault(body.Key) ?? throw new LedgerRefusedException(
            Refusals.UnknownKey, $"The key {body.Key} is not one of this ledger's.", "See the keys with ledger people.");
        if (key.KeyId == LogKeyId)
            throw new LedgerRefusedException(Refusals.RoleNotAllowed, "The ledger's own key cannot be revoked in it.", "Begin a new ledger.");
        _keys[key.KeyId] = key with { Until = key.Until ?? position, DoubtfulSince = body.DoubtfulSince };
    }

    private string AddKey(string person, string pem, long position)
    {
        try
        {
            using var key = VerificationKey.FromPem(pem, $"key of {person}");
            if (key.Pem != pem || !_keys.TryAdd(key.KeyId, new PersonKey(key.KeyId, person, key.Pem, position)))
                throw new LedgerRefusedException(
                    Refusals.EventForm, "The key is in the ledger already, or not in its one form.", "Make a new key.");
            return key.KeyId;
        }
        catch (BadInputException e)
        {
            throw new LedgerRefusedException(Refusals.EventForm, e.Message, "Give the PEM of an ECDSA P-256 public key.", e);
        }
    }

    private Person Known(string person) => _people.GetValueOrDefault(person) ?? throw new LedgerRefusedException(
        Refusals.PersonUnknown, $"{person} is not known to this ledger.", "An administrator adds people with ledger person add.");

    private static bool IsName(string id) => id.Length is > 0 and <= 64 && id.All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '.' or '_') && id[0] != '.';

    private static LedgerRefusedException NotAllowed(Person person, LedgerEventKind kind) => new(
        Refusals.RoleNotAllowed,
        $"{person.Id} ({string.Join(", ", person.Roles)}) may not record {kind}.",
        $"It takes {string.Join(" or ", Privileges.For(kind))}.");
}
