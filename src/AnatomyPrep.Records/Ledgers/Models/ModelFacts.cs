using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.People;

namespace AnatomyPrep.Records.Ledgers.Models;

/// <summary>A print of a released model.</summary>
public sealed record PrintFact(string Printer, string Material, string Lot, int Copies);

/// <summary>What the events say about one revision of a model. Derived, never edited.</summary>
/// <remarks>
/// requested -source-> sourced -run-> prepared -review-> reviewed -release-> released -print-> printed -inspection-> inspected
///   -delivery-> delivered; rejection leads back to sourced, a failed inspection back to released, a recall to withdrawn.
/// The fold that gives it is also the law: an event that does not follow is refused, at appending and at verifying alike.
/// </remarks>
public sealed record ModelFacts
{
    /// <summary>Such as "M-1/2": name of the model, number of the revision.</summary>
    public required string Model { get; init; }

    public required ModelStage Stage { get; init; }

    public string? Parent { get; init; }

    public string? Anatomy { get; init; }

    public string? Subject { get; init; }

    public string? Source { get; init; }

    public string? Run { get; init; }

    /// <summary>Who prepared the run; null before there is one.</summary>
    public string? Preparer { get; init; }

    public string? Reviewer { get; init; }

    public string? Releaser { get; init; }

    /// <summary>Cautions of the run that nobody acknowledged yet.</summary>
    public IReadOnlyList<string> OpenCautions { get; init; } = [];

    public IReadOnlyList<PrintFact> Prints { get; init; } = [];

    /// <summary>Codes of those who were given a copy.</summary>
    public IReadOnlyList<string> Holders { get; init; } = [];

    public int Complaints { get; init; }

    public DateOnly? RetainUntil { get; init; }

    /// <summary>Position of the last event about it.</summary>
    public required long Position { get; init; }

    /// <summary>Name and number of a revision, or null when the text is none.</summary>
    public static (string Name, int Revision)? Split(string model)
    {
        var slash = model.IndexOf('/', StringComparison.Ordinal);
        // A name becomes part of file names in bundles, so it never begins with a dot.
        return slash is > 0 and <= 64
            && char.IsAsciiLetterOrDigit(model[0])
            && model[..slash].All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '.')
            && int.TryParse(model.AsSpan(slash + 1), System.Globalization.NumberStyles.None, System.Globalization.CultureInfo.InvariantCulture, out var revision)
            && revision > 0 && model[slash + 1] != '0'
                ? (model[..slash], revision)
                : null;
    }

    /// <summary>True for kinds that move a model or say something about one; others may name models, but change none.</summary>
    public static bool Concerns(LedgerEventKind kind) => kind is >= LedgerEventKind.Request and <= LedgerEventKind.Recall
        or LedgerEventKind.RetentionSet or LedgerEventKind.Disposal;

    /// <summary>The facts after one more event.</summary>
    /// <param name="before">Of this revision; null when nothing is known of it.</param>
    /// <param name="find">Facts of another revision, for the parent.</param>
    /// <exception cref="LedgerRefusedException">The event does not follow; says why.</exception>
    public static ModelFacts After(ModelFacts? before, string model, LedgerEvent e, long position, Func<string, ModelFacts?> find)
    {
        if (e.Kind == LedgerEventKind.Request)
            return Requested(before, model, e, position);
        if (e.Kind == LedgerEventKind.Revision)
            return Revised(before, model, e, position, find);
        if (before is null)
            throw Illegal($"{model} was never requested.", "Record the request first.");
        return before.Next(e) with { Position = position };
    }

    private static ModelFacts Requested(ModelFacts? before, string model, LedgerEvent e, long position)
    {
        if (before is not null)
            throw Illegal($"{model} was requested already, at an earlier event.", "Choose another name, or make a revision.");
        if (Split(model) is not { Revision: 1 })
            throw Illegal($"{model} is not the name of a first revision.", "Name it like M-1/1.");
        var body = e.Read<RequestBody>();
        return new ModelFacts
        {
            Model = model,
            Stage = ModelStage.Requested,
            Anatomy = body.Request.Anatomy,
            Subject = body.Subject,
            Position = position,
        };
    }

    private static ModelFacts Revised(ModelFacts? before, string model, LedgerEvent e, long position, Func<string, ModelFacts?> find)
    {
        var parentName = e.Read<RevisionBody>().Parent;
        var parent = find(parentName) ?? throw Illegal($"The parent {parentName} is not known.", "Name a revision that was released.");
        if (before is not null)
            throw Illegal($"{model} exists already.", "Take the next number.");
        if (Split(model) is not { } own || Split(parentName) is not { } old || own.Name != old.Name || own.Revision != old.Revision + 1)
            throw Illegal($"{model} is not the next revision of {parentName}.", "Keep the name and take the next number.");
        if (parent.Stage < ModelStage.Released)
            throw Illegal($"{parentName} is {Word(parent.Stage)}: before release a new run is enough.", "Record a run, not a revision.");
        return new ModelFacts
        {
            Model = model,
            Stage = ModelStage.Sourced,
            Parent = parentName,
            Anatomy = parent.Anatomy,
            Subject = parent.Subject,
            Source = parent.Source,
            Position = position,
        };
    }

    private ModelFacts Next(LedgerEvent e)
    {
        switch (e.Kind)
        {
            case LedgerEventKind.SourceReceived:
                RequireStage(e, ModelStage.Requested, ModelStage.Sourced);
                return this with { Stage = ModelStage.Sourced, Source = e.Read<SourceReceivedBody>().SourceSha256 };
            case LedgerEventKind.Run:
                return AfterRun(e, e.Read<RunBody>());
            case LedgerEventKind.FindingAcknowledged:
                return AfterAcknowledgement(e, e.Read<FindingAcknowledgedBody>());
            case LedgerEventKind.Review:
                RequireStage(e, ModelStage.Prepared);
                RequireRun(e);
                RequireOtherThanPreparer(e);
                return this with { Stage = ModelStage.Reviewed, Reviewer = e.By.Person };
            case LedgerEventKind.Release:
                return AfterRelease(e);
            case LedgerEventKind.Rejection:
                RequireStage(e, ModelStage.Prepared, ModelStage.Reviewed);
                RequireRun(e);
                RequireReason(e);
                return this with { Stage = ModelStage.Sourced, Run = null, Preparer = null, Reviewer = null, OpenCautions = [] };
            case LedgerEventKind.Print:
                RequireStage(e, ModelStage.Released, ModelStage.Printed, ModelStage.Inspected, ModelStage.Delivered);
                var print = e.Read<PrintBody>();
                return this with { Stage = ModelStage.Printed, Prints = [.. Prints, new PrintFact(print.Printer, print.Material, print.Lot, print.Copies)] };
            case LedgerEventKind.PostProcessing:
                RequireStage(e, ModelStage.Printed);
                return this;
            case LedgerEventKind.Inspection:
                RequireStage(e, ModelStage.Printed);
                return this with { Stage = e.Read<InspectionBody>().Passed ? ModelStage.Inspected : ModelStage.Released };
            case LedgerEventKind.Delivery:
                RequireStage(e, ModelStage.Inspected, ModelStage.Delivered);
                return this with { Stage = ModelStage.Delivered, Holders = [.. Holders, e.Read<DeliveryBody>().To] };
            case LedgerEventKind.Complaint:
                RequireStage(e, ModelStage.Released, ModelStage.Printed, ModelStage.Inspected, ModelStage.Delivered, ModelStage.Withdrawn);
                return this with { Complaints = Complaints + 1 };
            case LedgerEventKind.Recall:
                RequireStage(e, ModelStage.Released, ModelStage.Printed, ModelStage.Inspected, ModelStage.Delivered);
                RequireReason(e);
                return this with { Stage = ModelStage.Withdrawn };
            case LedgerEventKind.RetentionSet:
                return this with { RetainUntil = e.Read<RetentionSetBody>().RetainUntil };
            case LedgerEventKind.Disposal:
                if (RetainUntil is { } until && DateOnly.FromDateTime(e.At.UtcDateTime) < until)
                    throw Illegal($"{Model} is to be kept until {until:yyyy-MM-dd}.", "Wait, or set another retention with its reason.");
                RequireReason(e);
                return this with { RetainUntil = null };
            default:
                throw new ArgumentOutOfRangeException(nameof(e), e.Kind, "Not an event about a model.");
        }
    }

    private ModelFacts AfterRun(LedgerEvent e, RunBody body)
    {
        if (Stage >= ModelStage.Released)
            throw Illegal($"{Model} is {Word(Stage)}: any change after release is a new revision.", "Record a revision first.");
        RequireStage(e, ModelStage.Sourced, ModelStage.Prepared, ModelStage.Reviewed);
        if (body.SourceSha256 != Source)
            throw Illegal($"The run is from source {Short(body.SourceSha256)}, {Model} from {Short(Source!)}.", "Run it from the source that was received.");
        if (body.Findings.FirstOrDefault(f => f.Severity == Severity.Stop) is { } stop)
            throw Illegal($"The run ended with the stop finding {stop.Code}.", "Remove the cause and run again.");
        if (e.By.Role != Role.Service && body.Operator != e.By.Person)
            throw Illegal($"{e.By.Person} cannot sign for {body.Operator}.", "Only a service records runs on behalf of a person.");
        return this with
        {
            Stage = ModelStage.Prepared,
            Run = body.Run,
            Preparer = body.Operator,
            Reviewer = null,
            OpenCautions = [.. body.Findings.Where(f => f.Severity == Severity.Caution).Select(f => f.Code).Distinct().Order(StringComparer.Ordinal)],
        };
    }

    private ModelFacts AfterAcknowledgement(LedgerEvent e, FindingAcknowledgedBody body)
    {
        RequireStage(e, ModelStage.Prepared, ModelStage.Reviewed);
        RequireReason(e);
        if (body.Run != Run || !OpenCautions.Contains(body.Finding))
            throw Illegal($"{body.Finding} is no open caution of the present run of {Model}.", "See the open ones with ledger ask model.");
        return this with { OpenCautions = [.. OpenCautions.Where(c => c != body.Finding)] };
    }

    private ModelFacts AfterRelease(LedgerEvent e)
    {
        RequireStage(e, ModelStage.Reviewed);
        RequireRun(e);
        if (OpenCautions.Count > 0)
            throw new LedgerRefusedException(
                Refusals.UnacknowledgedCaution,
                $"{Model} has cautions nobody acknowledged: {string.Join(", ", OpenCautions)}.",
                "Acknowledge each with its reason, or reject the run.");
        RequireOtherThanPreparer(e);
        return this with { Stage = ModelStage.Released, Releaser = e.By.Person, RetainUntil = e.Read<RunReferenceBody>().RetainUntil ?? RetainUntil };
    }

    private void RequireRun(LedgerEvent e)
    {
        if (e.Read<RunReferenceBody>().Run != Run)
            throw Illegal($"The present run of {Model} is another than the one named.", "Look at the present run, then sign for it.");
    }

    private void RequireOtherThanPreparer(LedgerEvent e)
    {
        if (e.By.Person == Preparer)
            throw new LedgerRefusedException(
                Refusals.SecondPersonNeeded,
                $"{e.By.Person} prepared {Model} and cannot also sign {Word(e.Kind)}.",
                "Another person must.");
    }

    private static void RequireReason(LedgerEvent e)
    {
        if (string.IsNullOrWhiteSpace(e.Reason))
            throw Illegal($"{e.Kind} takes a reason.", "Say why.");
    }

    private void RequireStage(LedgerEvent e, params ReadOnlySpan<ModelStage> allowed)
    {
        if (!allowed.Contains(Stage))
            throw Illegal(
                $"{Model} is {Word(Stage)}; {Word(e.Kind)} takes {string.Join(" or ", allowed.ToArray().Select(s => Word(s)))}.",
                Stage == ModelStage.Withdrawn ? "Make a new revision." : "Record first what is missing.");
    }

    private static string Word<T>(T value) => System.Text.Json.JsonNamingPolicy.CamelCase.ConvertName(value!.ToString()!);

    private static string Short(string sha256) => sha256.Length > 12 ? sha256[..12] : sha256;

    private static LedgerRefusedException Illegal(string why, string remedy) => new(Refusals.IllegalMove, why, remedy);
}
