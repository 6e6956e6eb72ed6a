using System.CommandLine;

namespace AnatomyPrep.App.Cli;

/// <summary>Arguments and options of a command, given as one list.</summary>
internal static class CommandSymbols
{
    public static void AddAll(this Command command, ReadOnlySpan<Symbol> symbols)
    {
        foreach (var symbol in symbols)
            if (symbol is Argument argument)
                command.Arguments.Add(argument);
            else
                command.Options.Add((Option)symbol);
    }
}
