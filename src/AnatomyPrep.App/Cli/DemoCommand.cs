using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli;

/// <summary>demo [--out DIR]: make a phantom CT, run the whole job on it, verify the record, and show where everything is.</summary>
/// <remarks>
/// The story: the teaching department of an invented school, code TEACH-07, asks for a life-size skull for its anatomy course. The
/// head is made of analytic shapes and belongs to nobody.
/// </remarks>
internal static class DemoCommand
{
    private const string Requester = "TEACH-07 (invented)";

    public static Command Create(CommandContext context)
    {
        var output = new Option<string>("--out") { Description = "New or empty folder", DefaultValueFactory = _ => "demo" };
        var command = new Command("demo", "Make a phantom CT, run the whole job on it, and show the results") { output };
        command.SetAction((parsed, cancellation) => Task.FromResult(Run(context, parsed.GetValue(output)!, cancellation)));
        return command;
    }

    private static int Run(CommandContext context, string output, CancellationToken cancellation)
    {
        var target = Path.GetFullPath(output);
        using (var images = OutputFolder.Create(target))
        {
            context.Output.Say("1. An invented CT of a head that belongs to nobody");
            context.Run(run => DemoSeries.Write(images["images"], run), cancellation);
            images.Publish();
        }

        context.Output.Say("2. The bone as a solid, with pictures and files (plan: bone)");
        var plan = context.Bench.Plans.Load("bone");
        var request = new RunRequest(Purpose.Education, "skull", 1, Side.Both, Requester);
        var series = Path.Combine(target, "images");
        RecordedRun made;
        using (var model = OutputFolder.Create(Path.Combine(target, "model")))
        {
            made = context.Run(run =>
            {
                using var source = new SourceLoader(context.Bench.Folders).Load(new SourceRequest(series), run);
                return new RunRecorder(context.Bench, context.Log).Run(source, plan, request, model, run);
            }, cancellation);
        }

        var shown = PrepareCommand.Show(context, made, json: false);
        context.Output.Say("3. The signed record, checked as anyone could check it");
        var report = context.Run(run => RecordVerifier.Verify(made.Folder, null, null, run), cancellation);
        VerifyCommand.Show(context, report);
        context.Output.Say($"Look at {Path.Combine(made.Folder, ModelPictures.Preview)} and {Path.Combine(made.Folder, ModelPictures.Sections)}, then read {Path.Combine(made.Folder, RecordFiles.Report)}.");
        return report.Holds ? shown : ExitCodes.CheckFailed;
    }
}
