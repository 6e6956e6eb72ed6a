using System.CommandLine;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.People;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>The options that every ledger command shares, and what they lead to.</summary>
internal sealed class LedgerSession(CommandContext context)
{
    private const string PassphraseVariable = "ANATOMYPREP_PASSPHRASE";

    public CommandContext Context { get; } = context;

    public Option<string?> Folder { get; } = new("--ledger") { Description = "Folder of the ledger (default: ledger below the user's data)", Recursive = true };

    public Option<string?> As { get; } = new("--as") { Description = "Who acts and signs" };

    public Option<string?> PassphraseFile { get; } = new("--passphrase-file") { Description = $"File with the passphrase (else {PassphraseVariable}, else it is asked for)" };

    public Option<bool> Json { get; } = new("--json") { Description = "One JSON document on stdout" };

    public string FolderOf(ParseResult parsed) => parsed.GetValue(Folder) ?? Path.Combine(Context.Bench.Folders.Home, "ledger");

    public LedgerPlace Place(ParseResult parsed) => LedgerPlace.Of(FolderOf(parsed));

    public Ledger Open(ParseResult parsed, bool readOnly = false) => Ledger.Open(Place(parsed), Context.Bench.Clock, readOnly);

    /// <summary>Who acts. Asked for by name, so that nobody signs as another by habit.</summary>
    public string Person(ParseResult parsed) =>
        parsed.GetValue(As) ?? throw new PlanException("command", null, "--as", "missing", "the id of a person of this ledger");

    /// <exception cref="PlanException">None given, and no terminal to ask on.</exception>
    public string Passphrase(ParseResult parsed, string person)
    {
        if (parsed.GetValue(PassphraseFile) is { } path)
            return File.ReadAllText(path).TrimEnd('\n', '\r');
        if (Environment.GetEnvironmentVariable(PassphraseVariable) is { Length: > 0 } given)
            return given;
        if (Console.IsInputRedirected)
            throw new PlanException("command", null, "--passphrase-file", "missing", $"a file, or {PassphraseVariable} in the environment");
        return Ask($"Passphrase of {person}: ");
    }

    /// <summary>Says what is about to be signed, asks for the passphrase, signs, appends.</summary>
    public int Record(ParseResult parsed, EventDraft draft)
    {
        using var ledger = Open(parsed);
        LedgerChecks.OnStart(ledger);
        return Record(parsed, ledger, draft);
    }

    public int Record(ParseResult parsed, Ledger ledger, EventDraft draft)
    {
        var person = Person(parsed);
        var known = ledger.People.Find(person);
        var meaning = Privileges.MeaningOf(draft.Kind);
        Context.Output.Say($"{known?.Name ?? person} signs: {Word(meaning.ToString())}, {Word(draft.Kind.ToString())}{(draft.Models is null ? "" : " of " + string.Join(", ", draft.Models))}");
        var receipt = ledger.Record(draft, person, Passphrase(parsed, person));
        return Show(parsed, ledger, receipt);
    }

    public int Show(ParseResult parsed, Ledger ledger, LedgerReceipt receipt)
    {
        var e = ledger.Event(receipt.Position)!.Content;
        var head = ledger.Head();
        if (parsed.GetValue(Json))
            Output.WriteJson(new { receipt.Position, receipt.EventId, Kind = e.Kind, At = RecordTime.Text(e.At), e.By, e.Meaning, e.Models, head.Size, head.Root });
        else
            Output.WriteResult($"event {receipt.Position}: {Word(e.Kind.ToString())}{(e.Models is null ? "" : " of " + string.Join(", ", e.Models))}, "
                + $"{Word(e.Meaning.ToString())} by {e.By.Name} ({Word(e.By.Role.ToString())}) at {RecordTime.Text(e.At)}");
        return ExitCodes.Done;
    }

    public void AddTo(Command command, bool signs)
    {
        command.Options.Add(Json);
        if (!signs)
            return;
        command.Options.Add(As);
        command.Options.Add(PassphraseFile);
    }

    internal static string Word(string name) => System.Text.Json.JsonNamingPolicy.CamelCase.ConvertName(name);

    private static string Ask(string question)
    {
        Console.Error.Write(question);
        var text = new System.Text.StringBuilder();
        while (Console.ReadKey(intercept: true) is { Key: not ConsoleKey.Enter } key)
        {
            if (key.Key == ConsoleKey.Backspace && text.Length > 0)
                text.Length--;
            else if (!char.IsControl(key.KeyChar))
                text.Append(key.KeyChar);
        }

        Console.Error.WriteLine();
        return text.ToString();
    }
}
