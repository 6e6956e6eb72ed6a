using System.CommandLine;
using AnatomyPrep.App.Cli.Remote;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli;

/// <summary>demo [--out DIR]: make a phantom CT, run the whole job on it, here or on a service, verify the record, and show where everything is.</summary>
/// <remarks>
/// The story: the teaching department of an invented school, code TEACH-07, asks for a life-size skull for its anatomy course. The
/// head is made of analytic shapes and belongs to nobody.
/// </remarks>
internal static class DemoCommand
{
    private const string Plan = "bone";
    private const string Anatomy = "skull";
    private const string Code = "TEACH-07";
    private const string Requester = $"{Code} (invented)";

    public static Command Create(CommandContext context)
    {
        var output = new Option<string>("--out") { Description = "New or empty folder", DefaultValueFactory = _ => "demo" };
        var command = new Command("demo", "Make a phantom CT, run the whole job on it, and show the results") { output };
        command.SetAction((parsed, cancellation) => Task.FromResult(Run(context, parsed.GetValue(output)!, cancellation)));
        return command;
    }

    private static int Run(CommandContext context, string output, CancellationToken cancellation)
    {
        var (series, _, result) = WriteSeries(context, output, cancellation);
        context.Output.Say("2. The bone as a solid, with pictures and files (plan: bone)");
        var plan = context.Bench.Plans.Load(Plan);
        var request = new RunRequest(Purpose.Education, Anatomy, 1, Side.Both, Requester);
        RecordedRun made;
        using (var model = OutputFolder.Create(result))
        {
            made = context.Run(run =>
            {
                using var source = new SourceLoader(context.Bench.Folders).Load(new SourceRequest(series), run);
                return new RunRecorder(context.Bench, context.Log).Run(source, plan, request, model, run);
            }, cancellation);
        }

        var shown = PrepareCommand.Show(context, made, json: false);
        return Check(context, made.Folder, cancellation) ? shown : ExitCodes.CheckFailed;
    }

    /// <summary>The same on a service: the series is made here and sent, the model is made there and fetched.</summary>
    public static async Task<int> RunAsync(CommandContext context, ServiceLink link, string output, CancellationToken cancellation)
    {
        var (_, files, result) = WriteSeries(context, output, cancellation);
        context.Output.Say("2. The bone as a solid, made by the service (plan: bone)");
        var made = await new RemotePrepare(context, link).MakeAsync(new(files, Plan, result, Anatomy: Anatomy, Side: "both", Requester: Code), cancellation).ConfigureAwait(false);
        if (made is not { Folder: { } folder, Files: { } fetched })
            return made.ExitCode;
        foreach (var file in fetched)
            Output.WriteResult(Path.Combine(folder, file));
        return Check(context, folder, cancellation) ? made.ExitCode : ExitCodes.CheckFailed;
    }

    /// <returns>The folder of the images and their truth, the one of the DICOM files in it, and where the model belongs.</returns>
    private static (string Images, string Files, string Model) WriteSeries(CommandContext context, string output, CancellationToken cancellation)
    {
        const string folder = "images";
        var target = Path.GetFullPath(output);
        using var images = OutputFolder.Create(target);
        context.Output.Say("1. An invented CT of a head that belongs to nobody");
        var written = context.Run(run => DemoSeries.Write(images[folder], run), cancellation);
        images.Publish();
        var place = Path.Combine(target, folder);
        return (place, Path.Combine(place, Path.GetFileName(written.SeriesFolder)), Path.Combine(target, "model"));
    }

    private static bool Check(CommandContext context, string folder, CancellationToken cancellation)
    {
        context.Output.Say("3. The signed record, checked as anyone could check it");
        var report = context.Run(run => RecordVerifier.Verify(folder, null, null, run), cancellation);
        VerifyCommand.Show(context, report);
        context.Output.Say($"Look at {Path.Combine(folder, ModelPictures.Preview)} and {Path.Combine(folder, ModelPictures.Sections)}, then read {Path.Combine(folder, RecordFiles.Report)}.");
        return report.Holds;
    }
}
