using System.Security.Claims;
using System.Security.Cryptography;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Bundles;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Ledgers;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>What every signature takes: the passphrase of the signer's own key, asked for each time, and a reason where the act takes one.</summary>
public record Signing(string Passphrase, string? Reason = null)
{
    /// <summary>Never printed: whatever prints a request prints no passphrase.</summary>
    public sealed override string ToString() => GetType().Name;
}

public sealed record AcknowledgeAct(string Passphrase, string Finding, string Reason) : Signing(Passphrase, Reason);

public sealed record ReleaseAct(string Passphrase, DateOnly? RetainUntil = null, string? Reason = null) : Signing(Passphrase, Reason);

/// <param name="Job">A finished job whose run is to be the present one of this revision.</param>
public sealed record RunAct(string Passphrase, string Job, string? Reason = null) : Signing(Passphrase, Reason);

public sealed record PrintAct(string Passphrase, string Printer, string Material, string Lot, int Copies = 1, string? Reason = null) : Signing(Passphrase, Reason);

public sealed record FinishAct(string Passphrase, string Process, string? Lot = null, string? Reason = null) : Signing(Passphrase, Reason);

public sealed record InspectAct(string Passphrase, bool Passed, string Method, double? LargestDeviationMm = null, string? Reason = null) : Signing(Passphrase, Reason);

/// <param name="To">Code of who gets it, never a name.</param>
public sealed record DeliverAct(string Passphrase, string To, int Copies = 1, string? Reason = null) : Signing(Passphrase, Reason);

/// <param name="About">In a word, never a name.</param>
/// <param name="Words">What was said, sealed with the key of <paramref name="Subject"/>, the handle of who said it.</param>
public sealed record ComplainAct(string Passphrase, string About, string? Words = null, string? Subject = null, string? Reason = null) : Signing(Passphrase, Reason);

public sealed record RetainAct(string Passphrase, DateOnly RetainUntil, string? Reason = null) : Signing(Passphrase, Reason);

public sealed record DisposeAct(string Passphrase, string What, string Reason) : Signing(Passphrase, Reason);

/// <param name="Lot">Of the material that is the cause, where one is.</param>
public sealed record WithdrawAct(string Passphrase, string Reason, string? Lot = null) : Signing(Passphrase, Reason);

public sealed record RecallAct(string Passphrase, IReadOnlyList<string> Models, string Reason, string? Lot = null) : Signing(Passphrase, Reason);

/// <param name="Event">Id of the event that was wrong; it stays.</param>
public sealed record CorrectAct(string Passphrase, string Event, JsonElement Now, string Reason) : Signing(Passphrase, Reason);

/// <param name="Subject">Handle of the person whose sealed data nobody is to open any more.</param>
public sealed record RedactAct(string Passphrase, string Subject, string Reason) : Signing(Passphrase, Reason);

/// <param name="WithFiles">Whether the files of the runs come along.</param>
public sealed record BundleAct(string Passphrase, IReadOnlyList<string> Models, bool WithFiles = true, string? Reason = null) : Signing(Passphrase, Reason);

/// <summary>The machine's clock was ahead and is right now.</summary>
public sealed record ClockAct(string Passphrase, string Reason) : Signing(Passphrase, Reason);

/// <param name="Name">Printed with every signature.</param>
public sealed record NewKey(string Passphrase, string Name) : Signing(Passphrase);

public sealed record ChangedKey(string Passphrase, string NewPassphrase) : Signing(Passphrase);

/// <param name="Key">Fingerprint of the waiting key, compared with what the person says.</param>
public sealed record AdmitAct(string Passphrase, string Key, IReadOnlyList<Role> Roles) : Signing(Passphrase);

public sealed record ChangePersonAct(string Passphrase, string Name, IReadOnlyList<Role> Roles, bool Active = true) : Signing(Passphrase);

public sealed record RevokeAct(string Passphrase, string Reason, DateTimeOffset? DoubtfulSince = null) : Signing(Passphrase, Reason);

/// <summary>A signature that is in the ledger.</summary>
/// <param name="Model">State of the model after it; null for an act about none, or about several.</param>
public sealed record SignedAnswer(long Position, string EventId, LedgerEventKind Kind, Meaning Meaning, DateTimeOffset At, Signatory By, IReadOnlyList<string> Models, ModelFacts? Model);

/// <summary>A key that was made.</summary>
/// <param name="Admitted">False while it waits for an administrator.</param>
public sealed record KeyAnswer(string Key, bool Admitted);

/// <summary>Acts that take a person's signature: each is one event, and each asks for the passphrase of the person's key again.</summary>
/// <remarks>
/// The account must have the role, and the ledger asks its own law again with the roles it knows. Five wrong passphrases shut a key for 15
/// minutes (the ledger counts them, so a restart changes nothing), and an address may do each act so many times a minute.
/// </remarks>
internal static class SignatureApi
{
    /// <summary>Name of the limit on signatures.</summary>
    public const string Limit = "signatures";

    private const string T = Roles.Technician;
    private const string C = Roles.Coordinator;
    private const string Q = Roles.QualityOfficer;
    private const string A = Roles.Administrator;

    public static void MapSignatures(this RouteGroupBuilder api)
    {
        var ledger = api.MapGroup("/ledger");
        ledger.RequireRateLimiting(Limit);
        var model = ledger.MapGroup("/models/{name}/{revision:int}");
        On<AcknowledgeAct>(model, "/acknowledge", (l, m, a) => new(LedgerEventKind.FindingAcknowledged, new FindingAcknowledgedBody(RunOf(l, m), a.Finding)), T, Q);
        On<Signing>(model, "/review", (l, m, _) => new(LedgerEventKind.Review, new RunReferenceBody(RunOf(l, m))), T, Q);
        On<ReleaseAct>(model, "/release", (l, m, a) => new(LedgerEventKind.Release, new RunReferenceBody(RunOf(l, m), a.RetainUntil)), Q);
        On<Signing>(model, "/reject", (l, m, _) => new(LedgerEventKind.Rejection, new RunReferenceBody(RunOf(l, m))), Q);
        On<PrintAct>(model, "/print", (_, _, a) => new(LedgerEventKind.Print, new PrintBody(a.Printer, a.Material, a.Lot, a.Copies)), T);
        On<FinishAct>(model, "/finish", (_, _, a) => new(LedgerEventKind.PostProcessing, new PostProcessingBody(a.Process, a.Lot)), T);
        On<InspectAct>(model, "/inspect", (_, _, a) => new(LedgerEventKind.Inspection, new InspectionBody(a.Passed, a.Method, a.LargestDeviationMm)), T, Q);
        On<DeliverAct>(model, "/deliver", (_, _, a) => new(LedgerEventKind.Delivery, new DeliveryBody(a.To, a.Copies)), C);
        On<ComplainAct>(model, "/complain", (l, _, a) => new(LedgerEventKind.Complaint, new ComplaintBody(a.About), Personal: Sealed(l, a)), C, Q);
        On<WithdrawAct>(model, "/withdraw", (_, _, a) => new(LedgerEventKind.Recall, new RecallBody(a.Lot)), Q);
        On<RetainAct>(model, "/retain", (_, _, a) => new(LedgerEventKind.RetentionSet, new RetentionSetBody(a.RetainUntil)), Q);
        On<DisposeAct>(model, "/dispose", (_, _, a) => new(LedgerEventKind.Disposal, new DisposalBody(a.What)), Q);
        model.MapPost("/revise", Revise).RequireAuthorization(p => p.RequireRole(T, C));
        model.MapPost("/run", AddRun).RequireAuthorization(p => p.RequireRole(T));

        ledger.MapPost("/recalls", (RecallAct a, ServiceLedger l, KeyDesk desk, ClaimsPrincipal user) =>
            Sign(l, desk, user, a, new(LedgerEventKind.Recall, new RecallBody(a.Lot), a.Models))).RequireAuthorization(p => p.RequireRole(Q));
        ledger.MapPost("/corrections", (CorrectAct a, ServiceLedger l, KeyDesk desk, ClaimsPrincipal user) =>
            Sign(l, desk, user, a, new(LedgerEventKind.Correction, CorrectionBody.Of(a.Event, a.Now.GetRawText()), l.Ledger.EventById(a.Event)?.Event.Content.Models))).RequireAuthorization(p => p.RequireRole(Roles.All));
        ledger.MapPost("/redactions", (RedactAct a, ServiceLedger l, KeyDesk desk, ClaimsPrincipal user) =>
            Sign(l, desk, user, a, new(LedgerEventKind.Redaction, new RedactionBody(a.Subject)))).RequireAuthorization(p => p.RequireRole(Q));
        ledger.MapPost("/clock", (ClockAct a, ServiceLedger l, KeyDesk desk, ClaimsPrincipal user) =>
            Sign(l, desk, user, a, new(LedgerEventKind.ClockCorrection, new ClockCorrectionBody()))).RequireAuthorization(p => p.RequireRole(A));
        ledger.MapPost("/bundles", Bundle).RequireAuthorization(p => p.RequireRole(Q, C));
        MapKeys(ledger);
    }

    private static void MapKeys(RouteGroupBuilder ledger)
    {
        ledger.MapPost("/me/key", async (NewKey asked, KeyDesk desk, ServiceLedger l, ClaimsPrincipal user) =>
        {
            var person = user.Identity!.Name!;
            var receipt = await desk.EnrolAsync(person, asked.Name, LedgerRole(user), asked.Passphrase).ConfigureAwait(false);
            return new KeyAnswer(receipt is null ? desk.Waiting().First(c => c.Person == person).KeyId : l.Ledger.People.CurrentKey(person)!.KeyId, receipt is not null);
        }).RequireAuthorization(p => p.RequireRole(Roles.All));
        ledger.MapPost("/me/key/change", async (ChangedKey asked, KeyDesk desk, ServiceLedger l, ClaimsPrincipal user) =>
            Answer(l, await desk.ChangeAsync(user.Identity!.Name!, asked.Passphrase, asked.NewPassphrase).ConfigureAwait(false))).RequireAuthorization(p => p.RequireRole(Roles.All));
        ledger.MapPost("/people/{person}/admit", async (string person, AdmitAct asked, KeyDesk desk, ServiceLedger l, ClaimsPrincipal user) =>
            Answer(l, await desk.AdmitAsync(person, asked.Key, asked.Roles, user.Identity!.Name!, asked.Passphrase).ConfigureAwait(false))).RequireAuthorization(p => p.RequireRole(A));
        ledger.MapPost("/people/{person}/change", (string person, ChangePersonAct a, ServiceLedger l, KeyDesk desk, ClaimsPrincipal user) =>
            Sign(l, desk, user, a, new(LedgerEventKind.PersonChange, new PersonChangeBody(person, a.Name, a.Roles, a.Active)))).RequireAuthorization(p => p.RequireRole(A));
        ledger.MapPost("/keys/{fingerprint}/revoke", (string fingerprint, RevokeAct a, ServiceLedger l, KeyDesk desk, ClaimsPrincipal user) =>
            Sign(l, desk, user, a, new(LedgerEventKind.KeyRevocation, new KeyRevocationBody(fingerprint, a.DoubtfulSince)))).RequireAuthorization(p => p.RequireRole(Q, A));
    }

    private static void On<T>(RouteGroupBuilder models, string act, Func<Ledger, string, T, EventDraft> draft, params string[] roles)
        where T : Signing => models.MapPost(act, (string name, int revision, T asked, ServiceLedger ledger, KeyDesk desk, ClaimsPrincipal user) =>
    {
        var model = LedgerApi.NameOf(name, revision);
        return Sign(ledger, desk, user, asked, draft(ledger.Ledger, model, asked) with { Models = [model] });
    }).RequireAuthorization(p => p.RequireRole(roles));

    private static async Task<SignedAnswer> Sign(ServiceLedger ledger, KeyDesk desk, ClaimsPrincipal user, Signing asked, EventDraft draft) =>
        Answer(ledger, await desk.SignAsync(draft with { Reason = asked.Reason }, user.Identity!.Name!, asked.Passphrase).ConfigureAwait(false));

    private static SignedAnswer Answer(ServiceLedger ledger, LedgerReceipt receipt)
    {
        var e = ledger.Ledger.Event(receipt.Position)!.Content;
        return new(receipt.Position, receipt.EventId, e.Kind, e.Meaning, e.At, e.By, e.ModelsOrNone, e.ModelsOrNone is [var only] ? ledger.Ledger.Model(only) : null);
    }

    private static string RunOf(Ledger ledger, string model) => ledger.Model(model)?.Run ?? throw new LedgerRefusedException(
        Refusals.IllegalMove, $"{model} has no run.", "Wait for its job to end.");

    private static SealedText? Sealed(Ledger ledger, ComplainAct asked) => asked.Words is { } words
        ? ledger.Seal(asked.Subject ?? throw new PlanException("complaint", null, "subject", "missing", "a handle, with words"), words)
        : null;

    /// <summary>The next revision of a released model.</summary>
    private static Task<SignedAnswer> Revise(string name, int revision, Signing asked, ServiceLedger ledger, KeyDesk desk, ClaimsPrincipal user) => Sign(
        ledger, desk, user, asked, new(LedgerEventKind.Revision, new RevisionBody(LedgerApi.NameOf(name, revision)), [LedgerApi.NameOf(name, revision + 1)]));

    private static async Task<IResult> AddRun(string name, int revision, RunAct asked, ServiceLedger ledger, KeyDesk desk, JobStore jobs, DataFolder folder, ClaimsPrincipal user)
    {
        if (jobs.Find(asked.Job) is not { Published: not null } job)
            return Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such finished job");
        var entry = await Task.Run(() => RunEntry.Of(Artifacts.FolderOf(job, folder), user.Identity!.Name!)).ConfigureAwait(false);
        return Results.Ok(await Sign(ledger, desk, user, asked, new(LedgerEventKind.Run, entry.Run, [LedgerApi.NameOf(name, revision)])).ConfigureAwait(false));
    }

    /// <summary>The export is an event before a byte of the bundle leaves.</summary>
    private static async Task<IResult> Bundle(BundleAct asked, ServiceLedger ledger, KeyDesk desk, JobStore jobs, DataFolder folder, ClaimsPrincipal user)
    {
        var zip = await Task.Run(() => BundleWriter.Write(ledger.Ledger, asked.Models, asked.WithFiles ? Folders(ledger.Ledger, asked.Models, jobs, folder) : new Dictionary<string, string>())).ConfigureAwait(false);
        var draft = new EventDraft(LedgerEventKind.Export, new ExportBody(Convert.ToHexStringLower(SHA256.HashData(zip)), ledger.Ledger.Size()), asked.Models);
        await Sign(ledger, desk, user, asked, draft).ConfigureAwait(false);
        return Results.Bytes(zip, "application/zip", "bundle.zip");
    }

    /// <summary>Folders of the runs that jobs here made and that are the models' present ones.</summary>
    private static Dictionary<string, string> Folders(Ledger ledger, IReadOnlyList<string> models, JobStore jobs, DataFolder folder)
    {
        var folders = new Dictionary<string, string>();
        foreach (var model in models)
            if (ServiceLedger.JobOf(model) is { } id && jobs.Find(id) is { Published: not null } job && ledger.Model(model)?.Run is not null)
                folders[model] = Artifacts.FolderOf(job, folder);
        return folders;
    }

    private static Role LedgerRole(ClaimsPrincipal user) => user.FindFirstValue(ClaimTypes.Role) switch
    {
        T => Role.Technician,
        C => Role.Coordinator,
        Q => Role.QualityOfficer,
        _ => Role.Administrator,
    };
}
