using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.App.Cli;

/// <summary>prepare SOURCE --plan FILE|NAME --out DIR: run a plan on a source and write model, pictures and record.</summary>
internal static class PrepareCommand
{
    public static Command Create(CommandContext context)
    {
        var source = new Argument<string>("SOURCE") { Description = "Folder, zip or DICOMDIR with a CT series, a volume file, or a file of a mesh or of points" };
        var plan = new Option<string>("--plan") { Description = "Preset name or plan file", Required = true };
        var output = new Option<string>("--out") { Description = "New or empty folder for the result", Required = true };
        var series = new Option<string?>("--series") { Description = "Series UID, where the folder holds several" };
        var part = new Option<string[]>("--part") { Description = "NAME=FILE: a further mesh for steps of the plan that name it; may be repeated" };
        var patient = new Option<string?>("--patient-id") { Description = "Whose images they must be: stops when the source is another patient's; kept only as a keyed pseudonym" };
        var profile = new Option<string?>("--profile") { Description = "Process profile by name or file, for the steps that make ready for the machine; becomes part of the recorded plan" };
        var scale = new Option<double>("--scale") { Description = "Model size over true size, 0.05 to 20: adds a last step to the plan", DefaultValueFactory = _ => 1 };
        var progress = new Option<string?>("--progress") { Description = "File to which each stage is appended as it begins", Hidden = true };
        var identify = new Option<bool>("--identify") { Description = "Put the patient's true identifiers into model.dcm, for the archive; that it was done stands in the record" };
        var request = new RequestOptions();
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("prepare", "Make a model from a source by a plan") { source, plan, output, series, part, patient, profile, scale, identify, progress, json };
        request.AddTo(command);
        command.SetAction((parsed, cancellation) =>
        {
            var text = context.Bench.Plans.Load(parsed.GetValue(plan)!, parsed.GetValue(profile), RequestOptions.Scale(parsed.GetValue(scale)));
            var wanted = new SourceRequest(parsed.GetValue(source)!, parsed.GetValue(series), request.Unit(parsed), request.Anatomy(parsed), SourceRequest.ReadParts(parsed.GetValue(part) ?? []), parsed.GetValue(patient), parsed.GetValue(identify));
            using var folder = OutputFolder.Create(parsed.GetValue(output)!);
            using var told = parsed.GetValue(progress) is { } file ? new ProgressFile(file, text.Plan, context.Bench.Clock) : null;
            var made = context.Run(run =>
            {
                using var loaded = new SourceLoader(context.Bench.Folders).Load(wanted, run);
                var asked = request.Read(parsed, text) with { Scale = parsed.GetValue(scale), PatientPseudonym = wanted.PatientId is null ? null : loaded.Facts.Pseudonyms!.Patient, IdentifiersExported = wanted.Identify ? true : null };
                if (wanted.Identify)
                    context.Log.LogWarning("Identifiers are exported into a model's DICOM file by prepare --identify");
                return new RunRecorder(context.Bench, context.Log).Run(loaded, text, asked, folder, run);
            }, cancellation, told);
            return Task.FromResult(Show(context, made, parsed.GetValue(json)));
        });
        return command;
    }

    /// <summary>Prints what came out; 0, or 1 when the model is not what was promised.</summary>
    public static int Show(CommandContext context, RecordedRun made, bool json)
    {
        var facts = made.Facts;
        if (json)
        {
            Output.WriteJson(new { folder = made.Folder, runId = facts.RunId, files = made.Files, facts.Measurements, facts.Structures, facts.SharedMm3, facts.Findings, facts.Steps });
        }
        else
        {
            context.Output.Findings(facts.Findings);
            var mesh = facts.Measurements.Mesh;
            context.Output.Facts("Model",
            [
                ("solid", mesh.Solid ? "yes" : "NO"),
                ("pieces", $"{mesh.Components}"),
                ("triangles", $"{mesh.Triangles}"),
                ("volume", FormattableString.Invariant($"{mesh.VolumeMm3 / 1000:F2} cm³")),
                ("size", mesh.BoundsMm is { } b ? FormattableString.Invariant($"{b.Size.X:F1} x {b.Size.Y:F1} x {b.Size.Z:F1} mm") : "-"),
                .. facts.Measurements.Origins.Select(o => ($"surface {o.Origin.ToString().ToLowerInvariant()}", FormattableString.Invariant($"{o.Share:P1}"))),
            ]);
            if (facts.Measurements.Landmarks is { } landmarks)
                context.Output.Facts("Landmarks, true size",
                [
                    .. landmarks.Distances.Select(d => ($"{d.From} to {d.To}", FormattableString.Invariant($"images {d.SourceMm:F2} mm, model {d.ModelMm:F2} mm, U {d.ExpandedMm:F2} mm"))),
                    .. landmarks.Angles.Select(a => ($"{a.From}, {a.At}, {a.To}", FormattableString.Invariant($"images {a.SourceDeg:F2}°, model {a.ModelDeg:F2}°, U {a.ExpandedDeg:F2}°"))),
                ]);
            foreach (var s in facts.Structures ?? [])
                context.Output.Facts($"{s.Name} {s.Colour}",
                [
                    ("solid", s.Measurements.Mesh.Solid ? "yes" : "NO"),
                    ("pieces", $"{s.Measurements.Mesh.Components}"),
                    ("volume", FormattableString.Invariant($"{s.Measurements.Mesh.VolumeMm3 / 1000:F2} cm³")),
                    ("surface", FormattableString.Invariant($"{s.Measurements.Mesh.AreaMm2 / 100:F1} cm²")),
                    ("given to those above", FormattableString.Invariant($"{s.RemovedMm3 / 1000:F2} cm³")),
                ]);
            if (facts.SharedMm3 is { } shared)
                context.Output.Say(FormattableString.Invariant($"Volume that two structures share: {shared:F3} mm³."));
            context.Output.Say(SafetyNotice.Text);
            foreach (var file in made.Files)
                Output.WriteResult(Path.Combine(made.Folder, file));
        }

        return facts.Findings.Any(f => f.Severity == Severity.Stop) ? ExitCodes.CheckFailed : ExitCodes.Done;
    }
}
