using System.CommandLine;
using AnatomyPrep.App.Cli.Ledgers;
using AnatomyPrep.App.Cli.Remote;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Records.Ledgers;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.App.Cli;

/// <summary>The commands, and the one place where an exception becomes an exit code.</summary>
internal static class CommandLine
{
    public static async Task<int> InvokeAsync(CommandContext context, string[] args)
    {
        var root = new RootCommand($"AnatomyPrep turns a CT series or a surface scan of a person into a physical model. {SafetyNotice.Text}")
        {
            DemoCommand.Create(context),
            InspectCommand.Create(context),
            PrepareCommand.Create(context),
            CheckCommand.Create(context),
            CompareCommand.Create(context),
            VerifyCommand.Create(context),
            InspectPrintCommand.Create(context),
            ReplayCommand.Create(context),
            LabelCommand.Create(context),
            LedgerCommand.Create(context),
            PlansCommand.Create(context),
            ServeCommand.Create(context),
            UnpackCommand.Create(context),
            ProbeCommand.Create(context),
            ProfilesCommand.Create(),
            PrintableCommand.Create(context),
            PhantomCommand.Create(context),
            RequestsCommand.Create(),
        };
        foreach (var command in AccountCommands.All())
            root.Subcommands.Add(command);
        var remote = new RemoteCommands(context);
        remote.AddTo(root);
        var parsed = root.Parse(args);
        if (parsed.Errors.Count > 0)
        {
            foreach (var error in parsed.Errors)
                context.Output.Say(error.Message);
            context.Output.Say("Run with --help to see commands and options.");
            return ExitCodes.WrongUsage;
        }

        try
        {
            var configuration = new InvocationConfiguration { EnableDefaultExceptionHandler = false };
            if (remote.Wants(parsed))
                return await remote.RunAsync(parsed).ConfigureAwait(false);
            return await parsed.InvokeAsync(configuration).ConfigureAwait(false);
        }
        catch (Exception e)
        {
            return Explain(context, e is AggregateException { InnerException: { } inner } ? inner : e);
        }
    }

    private static int Explain(CommandContext context, Exception e)
    {
        var output = context.Output;
        switch (e)
        {
            case OperationCanceledException:
                output.Say("Cancelled; nothing was left behind.");
                return ExitCodes.Cancelled;
            case PlanException:
                output.Say(e.Message);
                return ExitCodes.WrongUsage;
            case BadInputException bad:
                output.Findings(bad.Findings);
                output.Say(bad.Message);
                context.Log.LogInformation("Bad input: {Field}", bad.Field);
                return ExitCodes.BadInput;
            case SeveralSeriesException several:
                output.Say(several.Message);
                foreach (var s in several.Series)
                    output.Say(string.Create(System.Globalization.CultureInfo.InvariantCulture, $"  --series {s.Selector}: {s.Slices} slices every {s.SliceSpacingMm:0.###} mm, kernel {s.Kernel ?? "not stated"}{(s.ToldApartBy is null ? "" : $", {s.ToldApartBy}")}"));
                output.Say("inspect shows them with their findings and suggests one.");
                return ExitCodes.BadInput;
            case CheckFailedException or LedgerRefusedException:
                output.Say(e.Message);
                return ExitCodes.CheckFailed;
            case IOException or UnauthorizedAccessException:
                output.Say(e.Message);
                context.Log.LogError("File access failed: {Kind}", e.GetType().Name);
                return ExitCodes.BadInput;
            default:
                output.Say($"Internal error: {e.Message}. The log in {context.Bench.Folders.Logs} has the details; please report it.");
                context.Log.LogError(e, "Internal error");
                return ExitCodes.InternalError;
        }
    }
}
