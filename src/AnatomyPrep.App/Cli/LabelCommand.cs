using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Reports;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli;

/// <summary>label RESULT --out FILE.pdf: labels for the bag, from a record that holds.</summary>
internal static class LabelCommand
{
    public static Command Create(CommandContext context)
    {
        var result = new Argument<string>("RESULT") { Description = "Folder of a finished run" };
        var output = new Option<string>("--out") { Description = "New PDF file", Required = true };
        var command = new Command("label", "Labels for the bag: side, anatomy, scale, date, and the code of the report") { result, output };
        command.SetAction((parsed, cancellation) =>
        {
            // A label vouches for what is in the bag: never from a record that does not hold.
            var statement = context.Run(run => RecordVerifier.Verify(parsed.GetValue(result)!, null, null, run), cancellation).Require();
            var path = parsed.GetValue(output)!;
            using (var file = new FileStream(path, FileMode.CreateNew, FileAccess.Write))
                LabelSheet.Write(file, statement.Run, RunCode.Of(statement));
            context.Output.Say(SafetyNotice.Text);
            Output.WriteResult(path);
            return Task.FromResult(ExitCodes.Done);
        });
        return command;
    }
}
