using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.People;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Service.Ledgers;

/// <summary>A key that waits for an administrator to admit it.</summary>
public sealed record KeyCandidate(string Person, string Name, string PublicKey, DateTimeOffset At)
{
    [System.Text.Json.Serialization.JsonIgnore]
    public string KeyId
    {
        get
        {
            using var key = VerificationKey.FromPem(PublicKey, "waiting key");
            return key.KeyId;
        }
    }
}

/// <summary>How somebody with an account comes to a key of the ledger, and signs with it.</summary>
/// <remarks>
/// Person and account have one name. Everybody makes their own key with their own passphrase; an administrator admits it by signing. The
///   first administrator of a ledger that the service began is admitted by the service. Opening a key takes about 0.2 s of a
///   processor: two are opened at a time.
/// </remarks>
public sealed class KeyDesk(ServiceLedger ledger, TimeProvider clock) : IDisposable
{
    private const int LongestPassphrase = 256;
    private const int LongestName = 100;

    private readonly SemaphoreSlim _opening = new(2);

    private string Folder => Path.Combine(ledger.Place.Folder, "candidates");

    /// <summary>Makes a key. Gives the event when it is admitted at once, which only the first administrator's is.</summary>
    /// <exception cref="LedgerRefusedException">The passphrase is too short, or the person has a key already.</exception>
    public async Task<LedgerReceipt?> EnrolAsync(string person, string name, Role role, string passphrase)
    {
        Check(passphrase, "passphrase");
        if (name.Trim().Length is 0 or > LongestName || name.Any(char.IsControl))
            throw new PlanException("key", null, "name", "not allowed", "the printed name, 1 to 100 characters");
        if (person == PeopleDirectory.LedgerItself)
            throw new PlanException("key", null, "person", "not allowed", "any other name than that of the ledger itself");
        var people = ledger.Ledger.People;
        var candidate = new KeyCandidate(person, name.Trim(), await Run(() => ledger.Ledger.Keys.Create(person, passphrase)).ConfigureAwait(false), clock.GetUtcNow());
        if (!people.HadAdministrator && role == Role.Administrator)
            return ledger.Ledger.RecordAsLedger(new EventDraft(
                LedgerEventKind.PersonChange, new PersonChangeBody(person, candidate.Name, [role], PublicKey: candidate.PublicKey)));
        Directory.CreateDirectory(Folder);
        await File.WriteAllBytesAsync(PathOf(person), JsonSerializer.SerializeToUtf8Bytes(candidate, RecordJson.Options)).ConfigureAwait(false);
        return null;
    }

    /// <summary>Keys that wait.</summary>
    public IReadOnlyList<KeyCandidate> Waiting() => Directory.Exists(Folder)
        ? [.. Directory.GetFiles(Folder, "*.json").Order(StringComparer.Ordinal).Select(f => JsonSerializer.Deserialize<KeyCandidate>(File.ReadAllBytes(f), RecordJson.Options)!)]
        : [];

    /// <summary>An administrator signs that a waiting key is the person's.</summary>
    /// <exception cref="BadInputException">No key waits.</exception>
    public async Task<LedgerReceipt> AdmitAsync(string person, string keyId, IReadOnlyList<Role> roles, string administrator, string passphrase)
    {
        var candidate = Waiting().FirstOrDefault(c => c.Person == person && c.KeyId == keyId)
            ?? throw new BadInputException("key", "person", "no such key waits", "The person makes one first, with POST /api/v1/ledger/me/key.");
        var draft = ledger.Ledger.People.Find(person) is null
            ? new EventDraft(LedgerEventKind.PersonChange, new PersonChangeBody(person, candidate.Name, roles, PublicKey: candidate.PublicKey))
            : new EventDraft(LedgerEventKind.KeyChange, new KeyChangeBody(person, candidate.PublicKey), Role: Role.Administrator);
        var receipt = await SignAsync(draft, administrator, passphrase).ConfigureAwait(false);
        File.Delete(PathOf(person));
        return receipt;
    }

    /// <summary>A new key in place of one's own.</summary>
    public Task<LedgerReceipt> ChangeAsync(string person, string passphrase, string newPassphrase)
    {
        Check(passphrase, "passphrase");
        Check(newPassphrase, "newPassphrase");
        return Run(() =>
        {
            using var old = ledger.Ledger.OpenKey(person, passphrase);
            var pem = ledger.Ledger.Keys.Create(person, newPassphrase);
            return ledger.Ledger.Append(ledger.Ledger.Sign(new EventDraft(LedgerEventKind.KeyChange, new KeyChangeBody(person, pem)), person, old));
        });
    }

    /// <summary>Opens the person's key with the passphrase, signs, appends; nothing of the passphrase is kept.</summary>
    /// <exception cref="LedgerRefusedException">Whatever the ledger refuses, a wrong passphrase among it.</exception>
    public Task<LedgerReceipt> SignAsync(EventDraft draft, string person, string passphrase)
    {
        Check(passphrase, "passphrase");
        return Run(() => ledger.Ledger.Record(draft, person, passphrase));
    }

    public void Dispose() => _opening.Dispose();

    private static void Check(string passphrase, string field)
    {
        if (passphrase.Length is 0 or > LongestPassphrase)
            throw new PlanException("signature", null, field, "not allowed", "1 to 256 characters; a new one 12 or more");
    }

    private string PathOf(string person) => Path.Combine(Folder, $"{person}.json");

    private async Task<T> Run<T>(Func<T> work)
    {
        await _opening.WaitAsync().ConfigureAwait(false);
        try
        {
            return await Task.Run(work).ConfigureAwait(false);
        }
        finally
        {
            _opening.Release();
        }
    }
}
