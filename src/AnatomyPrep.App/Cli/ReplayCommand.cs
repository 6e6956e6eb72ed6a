using System.CommandLine;
using AnatomyPrep.App.Pipeline;

namespace AnatomyPrep.App.Cli;

/// <summary>replay DIR: make the model again from source and plan, and compare every byte.</summary>
internal static class ReplayCommand
{
    public static Command Create(CommandContext context)
    {
        var folder = new Argument<string>("DIR") { Description = "Folder of a finished run" };
        var source = new Option<string?>("--source") { Description = "Where the source lies now, if it was moved" };
        var part = new Option<string[]>("--part") { Description = "NAME=FILE: where a further mesh lies now" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("replay", "Make a model again from its source and plan and compare bytes") { folder, source, part, json };
        command.SetAction((parsed, cancellation) =>
        {
            var parts = SourceRequest.ReadParts(parsed.GetValue(part) ?? []);
            var result = context.Run(run => new Replay(context.Bench).Run(parsed.GetValue(folder)!, parsed.GetValue(source), parts, run), cancellation);
            if (parsed.GetValue(json))
                Output.WriteJson(result);
            else
                Show(context, result);
            return Task.FromResult(result.Identical ? ExitCodes.Done : ExitCodes.CheckFailed);
        });
        return command;
    }

    private static void Show(CommandContext context, ReplayResult result)
    {
        foreach (var file in result.Files)
            Output.WriteResult($"{(file.Identical ? "identical" : file.ExpectedToDiffer ? "other software" : "DIFFERS")}  {file.Name}");
        if (!result.SameSoftware)
            context.Output.Say($"The record was made by {result.RecordedSoftware}, this is {result.ThisSoftware}: run.json, report and label name the software and are not compared.");
        Output.WriteResult(result.Identical ? "identical bytes" : "the replay does NOT give the same bytes");
    }
}
