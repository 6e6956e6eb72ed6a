using System.CommandLine;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>ledger …: the history of all models, signed and append-only.</summary>
internal static class LedgerCommand
{
    public static Command Create(CommandContext context)
    {
        var session = new LedgerSession(context);
        var command = new Command("ledger", "The signed, append-only history of all models: who asked, did, checked, released, printed");
        command.Options.Add(session.Folder);
        foreach (var part in new LedgerKeeping(session).All().Concat(new LedgerActs(session).All()).Append(new LedgerAsk(session).Create()).Append(new LedgerMeasure(session).Create()))
            command.Subcommands.Add(part);
        return command;
    }
}
