using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Accounts;

/// <summary>An account as the lists show it.</summary>
public sealed record AccountEntry(string Name, string Role, DateTimeOffset CreatedAt, bool Disabled);

/// <summary>A session: the secret of the cookie, and the token that each changing request must carry in a header.</summary>
public sealed record NewSession(string Secret, string CsrfToken, AccountEntry Account);

/// <summary>A token as the lists show it.</summary>
public sealed record TokenEntry(string Id, string Name, DateTimeOffset ExpiresAt);

/// <param name="Secret">Given once, never again.</param>
public sealed record NewToken(string Id, string Secret)
{
    /// <summary>Never printed whole.</summary>
    public override string ToString() => Id;
}

/// <summary>Who a request comes from.</summary>
internal sealed record SessionOwner(string Name, string Role, string CsrfToken);

/// <summary>Accounts, invitations and sessions. Secrets are kept as hashes only.</summary>
/// <remarks>
/// Nobody sets a password for somebody else: an account is made by its owner from an invitation, a link that works once, for a day.
/// After five wrong passwords in a row an account rests for 15 minutes.
/// </remarks>
public sealed class AccountStore(Database database, EventLog events, TimeProvider clock) : IDisposable
{
    public const int LeastPasswordLength = 12;
    private const int LongestPasswordLength = 256;
    internal const int LongestName = 40;
    private const int MostWrongTries = 5;
    private const int LongestTokenDays = 366;

    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS account (
            name TEXT PRIMARY KEY,
            role TEXT NOT NULL,
            salt BLOB NOT NULL,
            hash BLOB NOT NULL,
            memory_kib INTEGER NOT NULL,
            passes INTEGER NOT NULL,
            created_at TEXT NOT NULL,
            wrong_tries INTEGER NOT NULL DEFAULT 0,
            rests_until TEXT,
            disabled INTEGER NOT NULL DEFAULT 0);
        CREATE UNIQUE INDEX IF NOT EXISTS account_any_case ON account (lower(name));
        CREATE TABLE IF NOT EXISTS invitation (
            secret_hash TEXT PRIMARY KEY,
            role TEXT NOT NULL,
            expires_at TEXT NOT NULL);
        CREATE TABLE IF NOT EXISTS session (
            secret_hash TEXT PRIMARY KEY,
            account TEXT NOT NULL REFERENCES account (name),
            csrf TEXT NOT NULL,
            expires_at TEXT NOT NULL);
        CREATE TABLE IF NOT EXISTS token (
            id TEXT PRIMARY KEY,
            secret_hash TEXT NOT NULL UNIQUE,
            account TEXT NOT NULL REFERENCES account (name),
            name TEXT NOT NULL,
            expires_at TEXT NOT NULL);
        """;

    private static readonly TimeSpan s_rest = TimeSpan.FromMinutes(15);
    private static readonly TimeSpan s_invitationLife = TimeSpan.FromDays(1);
    private static readonly TimeSpan s_sessionLife = TimeSpan.FromHours(10);

    // A hash takes 64 MiB: however many try at once, two are computed at a time.
    private readonly SemaphoreSlim _hashing = new(2);

    public IReadOnlyList<AccountEntry> List() => database.Read("SELECT name, role, created_at, disabled FROM account ORDER BY name", Entry);

    /// <summary>The secret of a new invitation for the first administrator, while there is no account; else null.</summary>
    public string? InviteFirst() => List().Count > 0 ? null : Invite(Roles.Administrator, null);

    /// <summary>A secret that makes one account.</summary>
    public string Invite(string role, string? actor)
    {
        if (!Roles.All.Contains(role))
            throw new PlanException("invitation", null, "role", "not a role", string.Join(", ", Roles.All));
        var secret = NewSecret();
        database.Write(change =>
        {
            change.Execute("DELETE FROM invitation WHERE expires_at < @now", ("@now", Now()));
            change.Execute("INSERT INTO invitation (secret_hash, role, expires_at) VALUES (@hash, @role, @until)", ("@hash", HashOf(secret)), ("@role", role), ("@until", Now(s_invitationLife)));
            events.Append(change, new("account.invited", null, actor, Detail: role));
        });
        return secret;
    }

    /// <summary>Makes an account from an invitation, once.</summary>
    /// <exception cref="PlanException">Name or password are not allowed.</exception>
    /// <exception cref="CheckFailedException">No such invitation, or the name is taken.</exception>
    public async Task<AccountEntry> AcceptAsync(string secret, string name, string password)
    {
        if (!IsName(name))
            throw new PlanException("account", null, "name", "not allowed", "1 to 40 letters, digits, '.', - and _");
        if (password.Length is < LeastPasswordLength or > LongestPasswordLength)
            throw new PlanException("account", null, "password", "not allowed", "12 to 256 characters");
        var hash = await HashAsync(() => PasswordHash.Of(password)).ConfigureAwait(false);
        return database.Write(change =>
        {
            if (change.Read("SELECT role FROM invitation WHERE secret_hash = @hash AND expires_at > @now", r => r.GetString(0), ("@hash", HashOf(secret)), ("@now", Now())) is not [var role])
                throw new CheckFailedException("invitation", "one that is not used or over", "none");
            if (change.Execute(
                "INSERT INTO account (name, role, salt, hash, memory_kib, passes, created_at) VALUES (@name, @role, @salt, @hash, @memory, @passes, @now) ON CONFLICT DO NOTHING",
                ("@name", name), ("@role", role), ("@salt", hash.Salt), ("@hash", hash.Hash), ("@memory", hash.MemoryKib), ("@passes", hash.Passes), ("@now", Now())) == 0)
                throw new CheckFailedException("account", "a name that is free", "one that is taken");
            change.Execute("DELETE FROM invitation WHERE secret_hash = @hash", ("@hash", HashOf(secret)));
            events.Append(change, new("account.created", name, name, Detail: role));
            return change.Read("SELECT name, role, created_at, disabled FROM account WHERE lower(name) = lower(@name)", Entry, ("@name", name))[0];
        });
    }

    /// <summary>A new session, or null: wrong name or password, disabled, or resting. Which of them, nobody is told.</summary>
    public async Task<NewSession?> SignInAsync(string name, string password)
    {
        if (password.Length > LongestPasswordLength || name.Length > LongestName)
            return null;
        var found = database.ReadOne(
            "SELECT salt, hash, memory_kib, passes, rests_until, disabled FROM account WHERE lower(name) = lower(@name)",
            r => new { Hash = new PasswordHash((byte[])r[0], (byte[])r[1], r.GetInt32(2), r.GetInt32(3)), Rests = r.IsDBNull(4) ? "" : r.GetString(4), Disabled = r.GetInt32(5) != 0 },
            ("@name", name));
        var isRight = await HashAsync(() => (found?.Hash ?? PasswordHash.Nobody).Matches(password)).ConfigureAwait(false);
        // A rest that ends later than any can was begun under a clock that was ahead.
        var mayTry = found is { Disabled: false } && (string.CompareOrdinal(found.Rests, Now()) < 0 || string.CompareOrdinal(found.Rests, Now(s_rest)) > 0);
        return isRight && mayTry ? Open(name) : Refuse(found is null || !mayTry ? null : name);
    }

    /// <summary>Columns that the first version did not have.</summary>
    internal static readonly (string, string)[] Added = [("subject", "TEXT")];

    /// <summary>A session for somebody whom the organisation's issuer vouches for; null without a role, for a disabled account, or a name that is another one's.</summary>
    /// <param name="subject">Hash of issuer and subject: who it is, whatever the name.</param>
    /// <param name="name">For a new account.</param>
    internal NewSession? SignInExternal(string subject, string name, string? role)
    {
        var known = database.Write(change =>
        {
            var found = change.Read("SELECT name, role, disabled FROM account WHERE subject = @subject", r => (Name: r.GetString(0), Role: r.GetString(1), Disabled: r.GetInt32(2) != 0), ("@subject", subject));
            if (role is null || found is [{ Disabled: true }])
                return null;
            if (found is [var there])
            {
                if (there.Role != role)
                {
                    change.Execute("UPDATE account SET role = @role WHERE name = @name", ("@role", role), ("@name", there.Name));
                    ShutOut(change, there.Name);
                    events.Append(change, new("account.role-changed", there.Name, Detail: $"{there.Role} to {role}, as the organisation says"));
                }

                return there.Name;
            }

            // No password opens it: the hash is of nothing.
            if (name.Length == 0 || change.Execute(
                "INSERT INTO account (name, role, salt, hash, memory_kib, passes, created_at, subject) VALUES (@name, @role, @salt, @hash, @memory, 3, @now, @subject) ON CONFLICT DO NOTHING",
                ("@name", name), ("@role", role), ("@salt", RandomNumberGenerator.GetBytes(16)), ("@hash", RandomNumberGenerator.GetBytes(32)), ("@memory", 64 << 10), ("@now", Now()), ("@subject", subject)) == 0)
                return null;
            events.Append(change, new("account.created", name, name, Detail: $"{role}, by the organisation's sign-in"));
            return name;
        });
        return known is null ? Refuse(null) : Open(known);
    }

    /// <summary>Makes a token for programs of an account: its secret is given once and kept as a hash.</summary>
    /// <exception cref="PlanException">Name or days are not allowed.</exception>
    public NewToken MakeToken(string account, string name, int days)
    {
        if (!IsName(name))
            throw new PlanException("token", null, "name", "not allowed", "1 to 40 letters, digits, '.', - and _");
        if (days is < 1 or > LongestTokenDays)
            throw new PlanException("token", null, "days", "not allowed", "1 to 366");
        var (id, secret) = (Guid.CreateVersion7(clock.GetUtcNow()).ToString("N"), NewSecret());
        database.Write(change =>
        {
            change.Execute("DELETE FROM token WHERE expires_at < @now", ("@now", Now()));
            change.Execute("INSERT INTO token (id, secret_hash, account, name, expires_at) VALUES (@id, @hash, @account, @name, @until)", ("@id", id), ("@hash", HashOf(secret)), ("@account", account), ("@name", name), ("@until", Now(TimeSpan.FromDays(days))));
            events.Append(change, new("token.made", account, account, Detail: $"{id[..12]} for {days} days"));
        });
        return new(id, secret);
    }

    /// <summary>Tokens of an account that still hold.</summary>
    public IReadOnlyList<TokenEntry> Tokens(string account) => database.Read(
        "SELECT id, name, expires_at FROM token WHERE account = @account AND expires_at > @now ORDER BY id", r => new TokenEntry(r.GetString(0), r.GetString(1), RecordTime.Parse(r.GetString(2))), ("@account", account), ("@now", Now()));

    /// <summary>Ends a token; false when the account has none such.</summary>
    public bool EndToken(string account, string id) => database.Write(change =>
    {
        if (change.Execute("DELETE FROM token WHERE id = @id AND account = @account", ("@id", id), ("@account", account)) == 0)
            return false;
        events.Append(change, new("token.ended", account, account, Detail: id.Length > 12 ? id[..12] : id));
        return true;
    });

    /// <summary>Whose token a secret is.</summary>
    internal SessionOwner? TokenOwner(string secret) => database.ReadOne(
        "SELECT a.name, a.role FROM token t JOIN account a ON a.name = t.account WHERE t.secret_hash = @hash AND t.expires_at > @now AND a.disabled = 0",
        r => new SessionOwner(r.GetString(0), r.GetString(1), ""), ("@hash", HashOf(secret)), ("@now", Now()));

    public void SignOut(string secret) => database.Write(change => change.Execute("DELETE FROM session WHERE secret_hash = @hash", ("@hash", HashOf(secret))));

    /// <summary>Disables an account and ends its sessions; false when there is none, or it is the last administrator's.</summary>
    public bool Disable(string name, string actor) => database.Write(change =>
    {
        if (change.Execute(
            "UPDATE account SET disabled = 1 WHERE lower(name) = lower(@name) AND (role <> @admin OR (SELECT count(*) FROM account WHERE role = @admin AND disabled = 0) > 1)", ("@name", name), ("@admin", Roles.Administrator)) == 0)
            return false;
        ShutOut(change, name);
        events.Append(change, new("account.disabled", name, actor));
        return true;
    });

    public void Dispose() => _hashing.Dispose();

    internal SessionOwner? Owner(string secret) => database.ReadOne(
        "SELECT a.name, a.role, s.csrf FROM session s JOIN account a ON a.name = s.account WHERE s.secret_hash = @hash AND s.expires_at > @now AND a.disabled = 0",
        r => new SessionOwner(r.GetString(0), r.GetString(1), r.GetString(2)),
        ("@hash", HashOf(secret)),
        ("@now", Now()));

    internal static bool IsNameCharacter(char c) => char.IsAsciiLetterOrDigit(c) || c is '.' or '-' or '_';

    private static bool IsName(string name) => name.Length is > 0 and <= LongestName && name.All(IsNameCharacter);

    /// <summary>Ends all sessions and tokens of an account.</summary>
    private static void ShutOut(DatabaseChange change, string name)
    {
        change.Execute("DELETE FROM session WHERE lower(account) = lower(@name)", ("@name", name));
        change.Execute("DELETE FROM token WHERE lower(account) = lower(@name)", ("@name", name));
    }

    private NewSession Open(string name) => database.Write(change =>
    {
        var (secret, csrf) = (NewSecret(), NewSecret());
        change.Execute("UPDATE account SET wrong_tries = 0, rests_until = NULL WHERE lower(name) = lower(@name)", ("@name", name));
        change.Execute("DELETE FROM session WHERE expires_at < @now", ("@now", Now()));
        var account = change.Read("SELECT name, role, created_at, disabled FROM account WHERE lower(name) = lower(@name)", Entry, ("@name", name))[0];
        change.Execute("INSERT INTO session (secret_hash, account, csrf, expires_at) VALUES (@hash, @name, @csrf, @until)", ("@hash", HashOf(secret)), ("@name", account.Name), ("@csrf", csrf), ("@until", Now(s_sessionLife)));
        // Also while the ledger takes nothing: somebody must be able to see why, and an administrator to set it right.
        events.AppendOrOwe(change, new("session.opened", account.Name, account.Name));
        return new NewSession(secret, csrf, account);
    });

    private NewSession? Refuse(string? name)
    {
        database.Write(change =>
        {
            // The name that was typed is not kept unless it is an account's: people type passwords into the wrong field.
            events.Append(change, new("session.refused", name));
            if (name is null)
                return;
            change.Execute("UPDATE account SET wrong_tries = wrong_tries + 1 WHERE lower(name) = lower(@name)", ("@name", name));
            if (change.Execute("UPDATE account SET wrong_tries = 0, rests_until = @until WHERE lower(name) = lower(@name) AND wrong_tries >= @most", ("@until", Now(s_rest)), ("@name", name), ("@most", MostWrongTries)) > 0)
                events.Append(change, new("account.rests", name, Detail: "too many wrong passwords"));
        });
        return null;
    }

    private async Task<T> HashAsync<T>(Func<T> work)
    {
        await _hashing.WaitAsync().ConfigureAwait(false);
        try
        {
            return await Task.Run(work).ConfigureAwait(false);
        }
        finally
        {
            _hashing.Release();
        }
    }

    private string Now(TimeSpan later = default) => RecordTime.Text(clock.GetUtcNow() + later);

    private static string NewSecret() => Base64Url.EncodeToString(RandomNumberGenerator.GetBytes(32));

    private static string HashOf(string secret) => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(secret)));

    private static AccountEntry Entry(System.Data.Common.DbDataReader row) => new(row.GetString(0), row.GetString(1), RecordTime.Parse(row.GetString(2)), row.GetInt32(3) != 0);
}
