using System.CommandLine;
using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Questions;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>ledger ask QUESTION: what a quality officer wants to know.</summary>
internal sealed class LedgerAsk(LedgerSession session)
{
    public Command Create() => new("ask", "Questions to the ledger")
    {
        About(), Models(), Recall(), Acknowledged(),
        Plain("alone", "Models that one person both prepared and released (there must be none)", (q, _) => q.ReleasedAlone(), o => o),
        Plain("drift", "Runs whose latest replay gave other bytes", (q, _) => q.Drifted(), d => $"{d.Run[..12]} of {string.Join(", ", d.Models)}: {d.RecordedSoftware} -> {d.ReplayedSoftware}, {d.At}"),
        Plain("drift-by-software", "Replays, counted by software version", (q, _) => q.DriftBySoftware(), d => $"{d.RecordedSoftware} -> {d.ReplayedSoftware}: {d.Differing} of {d.Replayed} differ"),
        Retention(), Difference(), Key(), Kind(),
    };

    private Command Question(string name, string description, Action<Command> add, Func<LedgerQuestions, ParseResult, object> ask, Func<object, IEnumerable<string>> show)
    {
        var command = new Command(name, description);
        add(command);
        session.AddTo(command, signs: false);
        command.SetAction((parsed, _) =>
        {
            using var ledger = session.Open(parsed);
            var answer = ask(new LedgerQuestions(ledger), parsed);
            if (parsed.GetValue(session.Json))
                Output.WriteJson(answer);
            else
                foreach (var line in show(answer))
                    Output.WriteResult(line);
            return Task.FromResult(ExitCodes.Done);
        });
        return command;
    }

    private Command Plain<T>(string name, string description, Func<LedgerQuestions, ParseResult, IReadOnlyList<T>> ask, Func<T, string> line, params Symbol[] symbols) => Question(
        name, description,
        command => command.AddAll(symbols),
        (q, p) => ask(q, p),
        answer => (IReadOnlyList<T>)answer is { Count: > 0 } some ? some.Select(line) : ["none"]);

    private Command About()
    {
        var model = new Argument<string>("MODEL") { Description = "Model and revision, such as M-1/1" };
        return Question(
            "model", "Everything about a model", c => c.Arguments.Add(model),
            (q, p) => q.AboutModel(p.GetValue(model)!) ?? throw new BadInputException("ledger", "model", p.GetValue(model)!, "Name a model of this ledger."),
            answer =>
            {
                var (facts, events) = (ModelAnswer)answer;
                return
                [
                    $"{facts.Model} is {LedgerSession.Word(facts.Stage.ToString())}{(facts.Parent is null ? "" : $", a revision of {facts.Parent}")}",
                    .. facts.OpenCautions.Select(c => $"open caution: {c}"),
                    .. events.Select(Line),
                ];
            });
    }

    private Command Models()
    {
        var what = new Argument<string>("BY") { Description = string.Join(", ", LedgerQuestions.Finders) };
        what.AcceptOnlyFromAmong([.. LedgerQuestions.Finders]);
        var value = new Argument<string>("VALUE") { Description = "Its value" };
        return Plain("models", "All models from a source, plan, software, operator, printer, lot, person or key", (q, p) => q.ModelsBy(p.GetValue(what)!, p.GetValue(value)!), m => m, what, value);
    }

    private Command Recall()
    {
        var lot = new Argument<string>("LOT") { Description = "Lot of material" };
        return Plain(
            "recall", "What a recall of a lot would touch, and who has it", (q, p) => q.RecallOf(p.GetValue(lot)!),
            r => $"{r.Model} ({r.Stage}): {(r.Holders.Count == 0 ? "not handed out" : "with " + string.Join(", ", r.Holders))}", lot);
    }

    private Command Acknowledged()
    {
        var finding = new Argument<string>("FINDING") { Description = "Code of the finding" };
        var model = new Option<string?>("--model") { Description = "Of one model" };
        return Plain(
            "acknowledged", "Who acknowledged a finding, and why", (q, p) => q.AcknowledgedBy(p.GetValue(finding)!, p.GetValue(model)),
            a => $"{a.Model}: {a.Name} at {a.At}: {a.Reason}", finding, model);
    }

    private Command Retention()
    {
        var before = new Option<string>("--before") { Description = "Day", Required = true };
        return Plain(
            "retention", "Models whose retention ends before a day", (q, p) => q.RetentionEnding(LedgerActs.Day(p.GetValue(before), "--before")!.Value),
            r => $"{r.Model} ({r.Stage}): kept until {r.RetainUntil}", before);
    }

    private Command Difference()
    {
        var first = new Argument<string>("FIRST") { Description = "A revision" };
        var second = new Argument<string>("SECOND") { Description = "Another" };
        return Plain("differences", "What two revisions' runs say differently", (q, p) => q.Between(p.GetValue(first)!, p.GetValue(second)!), d => $"{d.Where}: {d.Before} -> {d.After}", first, second);
    }

    private Command Key()
    {
        var key = new Argument<string>("FINGERPRINT") { Description = "Of the key" };
        return Plain("key", "What a key signed", (q, p) => q.SignedWith(p.GetValue(key)!), Line, key);
    }

    private Command Kind()
    {
        var kind = new Argument<LedgerEventKind>("KIND") { Description = "Such as release or passphraseFailed" };
        return Plain("events", "All events of a kind", (q, p) => q.OfKind(p.GetValue(kind)), Line, kind);
    }

    private static string Line(EventLine e) => string.Create(
        CultureInfo.InvariantCulture,
        $"{e.Position,6}  {e.At}  {e.Kind,-20} {e.Meaning} by {e.Name} ({e.Role}){(e.Models.Count == 0 ? "" : " " + string.Join(", ", e.Models))}{(e.Body["what"] is { } what ? $" {what}" : "")}{(e.Reason is null ? "" : $": {e.Reason}")}");
}
