using System.CommandLine;
using System.Globalization;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>What people do with models: each command is one signed event.</summary>
internal sealed class LedgerActs(LedgerSession session)
{
    /// <summary>A part that is off by more is another part.</summary>
    private const int MostDeviationMm = 1000;

    private readonly Option<string?> _reason = new("--reason") { Description = "Why" };

    public IEnumerable<Command> All() =>
    [
        Request(), Receive(), AddRun(), Acknowledge(),
        OnRun("review", "The prepared model was checked and is right", LedgerEventKind.Review),
        Release(),
        OnRun("reject", "The prepared model is not right; takes --reason", LedgerEventKind.Rejection),
        Revise(), Print(), Finish(), Inspect(), Deliver(), Complain(), Recall(), Correct(), Redact(), Retain(), Dispose(),
    ];

    private static Argument<string> ModelArgument() => new("MODEL") { Description = "Model and revision, such as M-1/1" };

    private static Option<string> Needed(string name, string description) => new(name) { Description = description, Required = true };

    private Command Act(string name, string description, Argument<string>? model, IEnumerable<Option> options, Func<ParseResult, Ledger, EventDraft> draft)
    {
        var command = new Command(name, description);
        if (model is not null)
            command.Arguments.Add(model);
        foreach (var option in options)
            command.Options.Add(option);
        command.Options.Add(_reason);
        session.AddTo(command, signs: true);
        command.SetAction((parsed, _) =>
        {
            using var ledger = session.Open(parsed);
            LedgerChecks.OnStart(ledger);
            return Task.FromResult(session.Record(parsed, ledger, draft(parsed, ledger)));
        });
        return command;
    }

    private EventDraft Draft(ParseResult parsed, LedgerEventKind kind, object body, params string[] models) =>
        new(kind, body, models, parsed.GetValue(_reason));

    private Command Request()
    {
        var model = ModelArgument();
        var anatomy = Needed("--anatomy", "What the model shows, such as skull");
        var purpose = new Option<Purpose>("--purpose") { Description = "education or planning" };
        var side = new Option<Side?>("--side") { Description = "left, right, both or midline" };
        var scale = new Option<double>("--scale") { Description = "Model size over true size", DefaultValueFactory = _ => 1 };
        var requester = new Option<string?>("--requester") { Description = "Code of who asks; never a name" };
        var needed = new Option<string?>("--needed-by") { Description = "Day, as 2026-05-31" };
        var subject = new Option<string?>("--subject") { Description = "Handle of the person it is about; no name, no number" };
        return Act("request", "A model is asked for", model, [anatomy, purpose, side, scale, requester, needed, subject], (p, _) => Draft(
            p, LedgerEventKind.Request,
            new RequestBody(
                new RunRequest(p.GetValue(purpose), p.GetValue(anatomy)!, RequestOptions.Scale(p.GetValue(scale)), p.GetValue(side), p.GetValue(requester), Day(p.GetValue(needed), "--needed-by")),
                p.GetValue(subject)),
            p.GetValue(model)!));
    }

    private Command Receive()
    {
        var model = ModelArgument();
        var source = new Option<string?>("--source") { Description = "Folder or file of the source; it is read and hashed" };
        var record = new Option<string?>("--from-run") { Description = "Folder of a finished run: its source, as its record names it" };
        return Act("receive", "The source of a model is here", model, [source, record], (p, _) =>
        {
            var facts = SourceOf(p.GetValue(source), p.GetValue(record));
            return Draft(p, LedgerEventKind.SourceReceived, new SourceReceivedBody(facts.TreeSha256, facts.Files.Count), p.GetValue(model)!);
        });
    }

    private SourceFacts SourceOf(string? source, string? run)
    {
        if (run is not null)
            return Verified(run).Run.Source;
        if (source is null)
            throw new PlanException("command", null, "--source", "missing", "a folder or file, or --from-run DIR");
        using var loaded = session.Context.Run(r => new SourceLoader(session.Context.Bench.Folders).Load(new SourceRequest(source), r), default);
        return loaded.Facts;
    }

    private static RunStatement Verified(string folder) => RecordVerifier.Verify(folder, null, null, Core.Running.RunContext.Default).Require();

    private Command AddRun()
    {
        var model = ModelArgument();
        var folder = new Argument<string>("DIR") { Description = "Folder of the finished run" };
        var @operator = new Option<string?>("--operator") { Description = "On whose behalf, when a service signs (default: who signs)" };
        var command = Act("add", "A finished run becomes the present one of a model", model, [@operator], (p, _) =>
            Draft(p, LedgerEventKind.Run, RunEntry.Of(p.GetValue(folder)!, p.GetValue(@operator) ?? session.Person(p)).Run, p.GetValue(model)!));
        command.Arguments.Insert(0, folder);
        return new Command("run", "Finished runs") { command };
    }

    private static string RunOf(Ledger ledger, string model) => ledger.Model(model)?.Run ?? throw new LedgerRefusedException(
        Refusals.IllegalMove, $"{model} has no run.", "Add a finished run first.");

    private Command Acknowledge()
    {
        var model = ModelArgument();
        var finding = Needed("--finding", "Code of the caution");
        return Act("acknowledge", "A caution was looked at; takes --reason", model, [finding], (p, ledger) => Draft(
            p, LedgerEventKind.FindingAcknowledged, new FindingAcknowledgedBody(RunOf(ledger, p.GetValue(model)!), p.GetValue(finding)!), p.GetValue(model)!));
    }

    private Command OnRun(string name, string description, LedgerEventKind kind)
    {
        var model = ModelArgument();
        return Act(name, description, model, [], (p, ledger) =>
            Draft(p, kind, new RunReferenceBody(RunOf(ledger, p.GetValue(model)!)), p.GetValue(model)!));
    }

    private Command Release()
    {
        var model = ModelArgument();
        var retain = new Option<string?>("--retain-until") { Description = "Day until which everything is to be kept" };
        return Act("release", "The model may be printed and given away", model, [retain], (p, ledger) => Draft(
            p, LedgerEventKind.Release, new RunReferenceBody(RunOf(ledger, p.GetValue(model)!), Day(p.GetValue(retain), "--retain-until")), p.GetValue(model)!));
    }

    private Command Revise()
    {
        var model = ModelArgument();
        var parent = Needed("--parent", "The revision it changes");
        return Act("revise", "A released model is changed: a new revision", model, [parent], (p, _) =>
            Draft(p, LedgerEventKind.Revision, new RevisionBody(p.GetValue(parent)!), p.GetValue(model)!));
    }

    private Command Print()
    {
        var model = ModelArgument();
        var printer = Needed("--printer", "Which machine");
        var material = Needed("--material", "Which material");
        var lot = Needed("--lot", "Lot of the material");
        var copies = new Option<int>("--copies") { Description = "How many", DefaultValueFactory = _ => 1 };
        return Act("print", "A released model was printed", model, [printer, material, lot, copies], (p, _) => Draft(
            p, LedgerEventKind.Print, new PrintBody(p.GetValue(printer)!, p.GetValue(material)!, p.GetValue(lot)!, p.GetValue(copies)), p.GetValue(model)!));
    }

    private Command Finish()
    {
        var model = ModelArgument();
        var process = Needed("--process", "What was done, such as washed and cured");
        var lot = new Option<string?>("--lot") { Description = "Lot of what was used" };
        return Act("finish", "A print was post-processed", model, [process, lot], (p, _) =>
            Draft(p, LedgerEventKind.PostProcessing, new PostProcessingBody(p.GetValue(process)!, p.GetValue(lot)), p.GetValue(model)!));
    }

    private Command Inspect()
    {
        var model = ModelArgument();
        var method = Needed("--method", "How it was measured");
        var failed = new Option<bool>("--failed") { Description = "It did not pass" };
        var deviation = new Option<double?>("--largest-deviation-mm") { Description = "Largest deviation found" };
        return Act("inspect", "A print was inspected", model, [method, failed, deviation], (p, _) => Draft(
            p, LedgerEventKind.Inspection, new InspectionBody(!p.GetValue(failed), p.GetValue(method)!, Deviation(p.GetValue(deviation))), p.GetValue(model)!));
    }

    private static double? Deviation(double? given) => given is null or (>= 0 and <= MostDeviationMm)
        ? given
        : throw new PlanException("command", null, "--largest-deviation-mm", string.Create(CultureInfo.InvariantCulture, $"{given}"), $"0 to {MostDeviationMm} mm");

    private Command Deliver()
    {
        var model = ModelArgument();
        var to = Needed("--to", "Code of who gets it; never a name");
        var copies = new Option<int>("--copies") { Description = "How many", DefaultValueFactory = _ => 1 };
        return Act("deliver", "An inspected print was handed over", model, [to, copies], (p, _) =>
            Draft(p, LedgerEventKind.Delivery, new DeliveryBody(p.GetValue(to)!, p.GetValue(copies)), p.GetValue(model)!));
    }

    private Command Complain()
    {
        var model = ModelArgument();
        var about = Needed("--about", "In a word; never a name");
        var words = new Option<string?>("--words") { Description = "What was said; sealed with the subject's key" };
        var subject = new Option<string?>("--subject") { Description = "Handle of who said it; needed with --words" };
        return Act("complaint", "Something was wrong with a model", model, [about, words, subject], (p, ledger) =>
        {
            var personal = p.GetValue(words) is { } said
                ? ledger.Seal(p.GetValue(subject) ?? throw new PlanException("command", null, "--subject", "missing", "a handle, with --words"), said)
                : null;
            return Draft(p, LedgerEventKind.Complaint, new ComplaintBody(p.GetValue(about)!), p.GetValue(model)!) with { Personal = personal };
        });
    }

    private Command Recall()
    {
        var models = new Option<string[]>("--model") { Description = "Which revisions", Required = true, AllowMultipleArgumentsPerToken = true };
        var lot = new Option<string?>("--lot") { Description = "Lot that is the cause" };
        return Act("recall", "Models are withdrawn; takes --reason", null, [models, lot], (p, _) =>
            Draft(p, LedgerEventKind.Recall, new RecallBody(p.GetValue(lot)), p.GetValue(models)!));
    }

    private Command Correct()
    {
        var wrong = new Argument<string>("EVENT") { Description = "Id of the event that was wrong" };
        var now = Needed("--now", "What it should have said, as JSON");
        return Act("correct", "An earlier event was wrong; it stays, this stands beside it", wrong, [now], (p, ledger) =>
        {
            var e = ledger.EventById(p.GetValue(wrong)!)?.Event.Content;
            return new EventDraft(LedgerEventKind.Correction, CorrectionBody.Of(p.GetValue(wrong)!, p.GetValue(now)!), e?.Models, p.GetValue(_reason));
        });
    }

    private Command Redact()
    {
        var subject = new Argument<string>("SUBJECT") { Description = "Handle of the person" };
        return Act("redact", "Destroy the key of a person's sealed data", subject, [], (p, _) =>
            Draft(p, LedgerEventKind.Redaction, new RedactionBody(p.GetValue(subject)!)) with { Models = null });
    }

    private Command Retain()
    {
        var model = ModelArgument();
        var until = Needed("--until", "Day until which everything is to be kept");
        return Act("retain", "Set how long a model's records are kept", model, [until], (p, _) =>
            Draft(p, LedgerEventKind.RetentionSet, new RetentionSetBody(Day(p.GetValue(until), "--until")!.Value), p.GetValue(model)!));
    }

    private Command Dispose()
    {
        var model = ModelArgument();
        var what = Needed("--what", "What was destroyed, such as prints and files");
        return Act("dispose", "What was kept is destroyed; takes --reason", model, [what], (p, _) =>
            Draft(p, LedgerEventKind.Disposal, new DisposalBody(p.GetValue(what)!), p.GetValue(model)!));
    }

    internal static DateOnly? Day(string? text, string option) => text is null
        ? null
        : DateOnly.TryParseExact(text, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var day)
            ? day
            : throw new PlanException("command", null, option, text, "a day as 2026-05-31");
}
