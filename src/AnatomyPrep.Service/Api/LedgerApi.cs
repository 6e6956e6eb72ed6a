using System.Security.Claims;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.Questions;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Ledgers;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <param name="Key">Fingerprint of the ledger's own key: compare it with the one you wrote down.</param>
/// <param name="Check">How the last full check came out; null while the first one runs.</param>
public sealed record LedgerAnswer(string Id, long Size, string Root, DateTimeOffset At, string Key, LedgerState? Check);

/// <summary>Somebody who may sign.</summary>
/// <param name="Key">Fingerprint of the present key; null for none.</param>
public sealed record PersonView(string Person, string Name, IReadOnlyList<Role> Roles, bool Active, string? Key);

/// <summary>A key that waits for an administrator.</summary>
public sealed record WaitingKey(string Person, string Name, string Key, DateTimeOffset At);

/// <param name="Signer">As the ledger knows this account; null when it does not.</param>
/// <param name="Waiting">Fingerprint of a key that waits for an administrator.</param>
public sealed record MyKey(string Account, PersonView? Signer, string? Waiting);

/// <summary>Hashes that show an event to be in the tree (RFC 9162); all hexadecimal.</summary>
/// <param name="Event">The envelope: SHA-256(00 ‖ its UTF-8 bytes) is the leaf.</param>
public sealed record InclusionAnswer(long Position, long Size, string Root, string Leaf, IReadOnlyList<string> Hashes, string Event);

public sealed record ConsistencyAnswer(long FirstSize, string FirstRoot, long SecondSize, string SecondRoot, IReadOnlyList<string> Hashes);

/// <summary>What the ledger says: state, timelines, questions, proofs. Nothing here changes anything.</summary>
internal static class LedgerApi
{
    private static readonly string[] s_readers = [Roles.QualityOfficer, Roles.Administrator];

    public static void MapLedger(this RouteGroupBuilder api)
    {
        var ledger = api.MapGroup("/ledger");
        ledger.MapGet("/", State).RequireAuthorization(p => p.RequireRole(Roles.All));
        ledger.MapGet("/me", Me).RequireAuthorization(p => p.RequireRole(Roles.All));
        ledger.MapGet("/people", (ServiceLedger l) => new ListPart<PersonView>([.. l.Ledger.People.People.Select(p => View(l.Ledger, p.Id)!)], null)).RequireAuthorization(p => p.RequireRole(Roles.All));
        ledger.MapGet("/people/waiting", (KeyDesk desk) => new ListPart<WaitingKey>([.. desk.Waiting().Select(c => new WaitingKey(c.Person, c.Name, c.KeyId, c.At))], null)).RequireAuthorization(p => p.RequireRole(Roles.Administrator));
        ledger.MapGet("/models", ListModels).RequireAuthorization(p => p.RequireRole(Roles.All));
        ledger.MapGet("/models/{name}/{revision:int}", About).RequireAuthorization(p => p.RequireRole(Roles.All));

        var records = ledger.MapGroup("");
        records.RequireAuthorization(p => p.RequireRole(s_readers));
        records.MapGet("/head", (ServiceLedger l) => Results.Bytes(l.Ledger.PublishHead(), "application/json", $"head-{l.Ledger.Id[..8]}.json"));
        records.MapGet("/events", ListEvents);
        records.MapGet("/events/{position:long}/proof", Inclusion);
        records.MapGet("/consistency", Consistency);
        records.MapPost("/checks", Check);

        var ask = ledger.MapGroup("/questions");
        ask.RequireAuthorization(p => p.RequireRole(s_readers));
        ask.MapGet("/models", (ServiceLedger l, string by, string value) => LedgerQuestions.Finders.Contains(by)
            ? All(Questions(l).ModelsBy(by, value))
            : throw new PlanException("question", null, "by", "not allowed", string.Join(", ", LedgerQuestions.Finders)));
        ask.MapGet("/recall", (ServiceLedger l, string lot) => All(Questions(l).RecallOf(lot)));
        ask.MapGet("/acknowledged", (ServiceLedger l, string finding, string? model = null) => All(Questions(l).AcknowledgedBy(finding, model)));
        ask.MapGet("/alone", (ServiceLedger l) => All(Questions(l).ReleasedAlone()));
        ask.MapGet("/drift", (ServiceLedger l) => All(Questions(l).Drifted()));
        ask.MapGet("/drift-by-software", (ServiceLedger l) => All(Questions(l).DriftBySoftware()));
        ask.MapGet("/retention", (ServiceLedger l, DateOnly before) => All(Questions(l).RetentionEnding(before)));
        ask.MapGet("/differences", (ServiceLedger l, string first, string second) => All(Questions(l).Between(first, second)));
        ask.MapGet("/key", (ServiceLedger l, string fingerprint) => All(Questions(l).SignedWith(fingerprint)));
    }

    internal static LedgerQuestions Questions(ServiceLedger ledger) => new(ledger.Ledger);

    internal static PersonView? View(Ledger ledger, string person) => ledger.People.Find(person) is { } known
        ? new(known.Id, known.Name, known.Roles, known.Active, ledger.People.CurrentKey(person)?.KeyId)
        : null;

    internal static IResult NotFound() => Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such thing in the ledger");

    private static ListPart<T> All<T>(IReadOnlyList<T> items) => new(items, null);

    private static LedgerAnswer State(ServiceLedger ledger, LedgerWatch watch)
    {
        var head = ledger.Ledger.Head();
        return new(ledger.Ledger.Id, head.Size, head.Root, head.At, ledger.Ledger.People.LogKeyId!, watch.State);
    }

    private static MyKey Me(ServiceLedger ledger, KeyDesk desk, ClaimsPrincipal user)
    {
        var person = user.Identity!.Name!;
        return new(person, View(ledger.Ledger, person), desk.Waiting().FirstOrDefault(c => c.Person == person)?.KeyId);
    }

    private static ListPart<ModelFacts> ListModels(ServiceLedger ledger, string after = "", int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = Questions(ledger).Models(after, most);
        return new(items, items.Count == most ? items[^1].Model : null);
    }

    private static IResult About(string name, int revision, ServiceLedger ledger) =>
        Questions(ledger).AboutModel(NameOf(name, revision)) is { } answer ? Results.Ok(answer) : NotFound();

    internal static string NameOf(string name, int revision) => string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{name}/{revision}");

    private static ListPart<EventLine> ListEvents(ServiceLedger ledger, long after = -1, string? kind = null, int limit = Listing.Usual)
    {
        var most = Listing.Limit(limit);
        var items = kind is not null ? Questions(ledger).OfKind(KindOf(kind), after + 1, most) : Questions(ledger).From(after + 1, most);
        return new(items, items.Count == most ? items[^1].Position.ToString(System.Globalization.CultureInfo.InvariantCulture) : null);
    }

    private static LedgerEventKind KindOf(string word) => Enum.TryParse<LedgerEventKind>(word, ignoreCase: true, out var kind) && char.IsAsciiLetter(word[0])
        ? kind
        : throw new PlanException("list", null, "kind", "not a kind of event", string.Join(", ", Enum.GetNames<LedgerEventKind>().Select(System.Text.Json.JsonNamingPolicy.CamelCase.ConvertName)));

    private static IResult Inclusion(long position, ServiceLedger ledger, long? size = null)
    {
        var of = size ?? ledger.Ledger.Size();
        if (position < 0 || position >= of || of > ledger.Ledger.Size() || ledger.Ledger.Event(position) is not { } signed)
            return NotFound();
        return Results.Ok(new InclusionAnswer(
            position, of, Hex(ledger.Ledger.Root(of)), Hex(MerkleHash.Leaf(signed.Envelope)), [.. ledger.Ledger.InclusionProof(position, of).Select(Hex)], Encoding.UTF8.GetString(signed.Envelope)));
    }

    private static IResult Consistency(ServiceLedger ledger, long first, long? second = null)
    {
        var to = second ?? ledger.Ledger.Size();
        if (first < 1 || first > to || to > ledger.Ledger.Size())
            return NotFound();
        return Results.Ok(new ConsistencyAnswer(first, Hex(ledger.Ledger.Root(first)), to, Hex(ledger.Ledger.Root(to)), [.. ledger.Ledger.ConsistencyProof(first, to).Select(Hex)]));
    }

    private static async Task<IResult> Check(LedgerWatch watch, CancellationToken cancellation) =>
        Results.Ok(await Task.Run(() => watch.Check(cancellation), cancellation).ConfigureAwait(false));

    private static string Hex(byte[] hash) => Convert.ToHexStringLower(hash);
}
