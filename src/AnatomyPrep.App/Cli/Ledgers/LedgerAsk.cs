using System.CommandLine;
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
        Plain("alone", "Models that one person both prepared and released (there must be none)", (q, _) => q.ReleasedAlone(), LedgerLines.Of),
        Plain("drift", "Runs whose latest replay gave other bytes", (q, _) => q.Drifted(), LedgerLines.Of),
        Plain("drift-by-software", "Replays, counted by software version", (q, _) => q.DriftBySoftware(), LedgerLines.Of),
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
        answer => LedgerLines.All((IReadOnlyList<T>)answer, line));

    private Command About()
    {
        var model = new Argument<string>("MODEL") { Description = "Model and revision, such as M-1/1" };
        return Question(
            "model", "Everything about a model", c => c.Arguments.Add(model),
            (q, p) => q.AboutModel(p.GetValue(model)!) ?? throw new BadInputException("ledger", "model", p.GetValue(model)!, "Name a model of this ledger."),
            answer => LedgerLines.Of((ModelAnswer)answer));
    }

    private Command Models()
    {
        var what = new Argument<string>("BY") { Description = string.Join(", ", LedgerQuestions.Finders) };
        what.AcceptOnlyFromAmong([.. LedgerQuestions.Finders]);
        var value = new Argument<string>("VALUE") { Description = "Its value" };
        return Plain("models", "All models from a source, plan, software, operator, printer, lot, person or key", (q, p) => q.ModelsBy(p.GetValue(what)!, p.GetValue(value)!), LedgerLines.Of, what, value);
    }

    private Command Recall()
    {
        var lot = new Argument<string>("LOT") { Description = "Lot of material" };
        return Plain(
            "recall", "What a recall of a lot would touch, and who has it", (q, p) => q.RecallOf(p.GetValue(lot)!),
            LedgerLines.Of, lot);
    }

    private Command Acknowledged()
    {
        var finding = new Argument<string>("FINDING") { Description = "Code of the finding" };
        var model = new Option<string?>("--model") { Description = "Of one model" };
        return Plain(
            "acknowledged", "Who acknowledged a finding, and why", (q, p) => q.AcknowledgedBy(p.GetValue(finding)!, p.GetValue(model)),
            LedgerLines.Of, finding, model);
    }

    private Command Retention()
    {
        var before = new Option<string>("--before") { Description = "Day", Required = true };
        return Plain(
            "retention", "Models whose retention ends before a day", (q, p) => q.RetentionEnding(LedgerActs.Day(p.GetValue(before), "--before")!.Value),
            LedgerLines.Of, before);
    }

    private Command Difference()
    {
        var first = new Argument<string>("FIRST") { Description = "A revision" };
        var second = new Argument<string>("SECOND") { Description = "Another" };
        return Plain("differences", "What two revisions' runs say differently", (q, p) => q.Between(p.GetValue(first)!, p.GetValue(second)!), LedgerLines.Of, first, second);
    }

    private Command Key()
    {
        var key = new Argument<string>("FINGERPRINT") { Description = "Of the key" };
        return Plain("key", "What a key signed", (q, p) => q.SignedWith(p.GetValue(key)!), LedgerLines.Of, key);
    }

    private Command Kind()
    {
        var kind = new Argument<LedgerEventKind>("KIND") { Description = "Such as release or passphraseFailed" };
        return Plain("events", "All events of a kind", (q, p) => q.OfKind(p.GetValue(kind)), LedgerLines.Of, kind);
    }
}
