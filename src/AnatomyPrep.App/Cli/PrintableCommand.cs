using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Cli;

/// <summary>printable MESH --profile NAME|FILE: can it be printed, how should it lie, what does it take.</summary>
internal static class PrintableCommand
{
    public static Command Create(CommandContext context)
    {
        var mesh = new Argument<string>("MESH") { Description = "STL, PLY, OBJ, OFF or 3MF file" };
        var profile = new Option<string>("--profile") { Description = "Process profile by name or file; profiles lists them", DefaultValueFactory = _ => ProfileLibrary.Usual };
        var asIs = new Option<bool>("--as-is") { Description = "Judge it as it lies, z up; without it the best orientation is searched for first" };
        var drains = new Option<bool>("--no-drains") { Description = "Propose drain holes without trying them" };
        var pictures = new Option<string?>("--out") { Description = "New or empty folder for wall.png, gap.png, overhang.png, layers.png, layer-preview.png, orientation.png and the model as laid" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("printable", "Walls, gaps, overhangs, voids, orientation, time and cost of a mesh in a process") { mesh, profile, asIs, drains, pictures, json };
        command.SetAction((parsed, cancellation) =>
        {
            var process = ProfileLibrary.Load(parsed.GetValue(profile)!).Profile;
            using var folder = parsed.GetValue(pictures) is { } path ? OutputFolder.Create(path) : null;
            var (read, facts, search, print) = context.Run(run =>
            {
                var file = MeshFile.Read(parsed.GetValue(mesh)!, CheckCommand.ReadOptions, run);
                var solid = MeshFacts.Measure(file.Mesh, run);
                var (laid, found) = parsed.GetValue(asIs) ? (null, null) : Lay.Apply(file.Mesh, new(process), run);
                var lying = laid?.Mesh ?? file.Mesh;
                var (report, maps) = PrintCheck.Run(lying, new(process, new(0, 0, 1), !parsed.GetValue(drains)), run);
                var whole = new CheckedPrint(lying, report, maps, process, PictureAxes.Machine);
                if (folder is not null)
                {
                    PrintPictures.Write(whole, folder.Path, run);
                    if (found is not null)
                        OrientationPicture.Write(new(file.Mesh, found, process), folder.Path, run);
                    StlFormat.Write(lying.Rebased(Vec3.Zero), Path.Combine(folder.Path, "laid.stl"), "AnatomyPrep mm, education/planning", run);
                }

                return (file, solid, found, whole);
            }, cancellation);
            folder?.Publish();
            Finding[] findings = [.. read.Findings, .. ModelFindings.Of(facts), .. print.Report.Findings];
            if (parsed.GetValue(json))
                Output.WriteJson(new { profile = process, facts, search = search is null ? null : Shown(search), report = print.Report, findings });
            else
                Show(context, process, facts, search, print.Report, findings);
            return Task.FromResult(findings.Any(f => f.Severity == Severity.Stop) || !print.Report.Fit.Fits ? ExitCodes.CheckFailed : ExitCodes.Done);
        });
        return command;
    }

    private static object Shown(OrientModelResult search) => new { search.Chosen, search.AsGiven, tried = search.Tried.Count, search.Why, pareto = search.Pareto };

    private static void Show(CommandContext context, PrintProfile process, MeshFacts facts, OrientModelResult? search, PrintReport r, Finding[] findings)
    {
        context.Output.Findings(findings);
        if (search is not null)
        {
            Output.WriteResult(FormattableString.Invariant($"orientation            up ({search.Chosen.Up.X:F4}, {search.Chosen.Up.Y:F4}, {search.Chosen.Up.Z:F4}); {search.Why}"));
            Output.WriteResult(FormattableString.Invariant($"orientations           {search.Tried.Count} tried, {search.Pareto.Count} beaten by none; the first of them:"));
            foreach (var o in search.Pareto.Take(8))
                Output.WriteResult(FormattableString.Invariant($"    up ({o.Up.X,6:F3}, {o.Up.Y,6:F3}, {o.Up.Z,6:F3})  contact {o.ContactMm2,7:F0} mm²  support {o.SupportMm3 / 1000,7:F1} cm³  height {o.HeightMm,5:F0} mm  stands to {o.ToppleDeg,4:F0}°  out of reach {o.ShadowedMm2,6:F0} mm²  score {o.Score:F4}"));
        }

        (string Name, string Value)[] lines =
        [
            ("profile", $"{process.Name}: {process.Material}, support {process.SupportRemoval}"),
            ("closed solid", facts.Solid ? "yes" : "NO"),
            ("size", FormattableString.Invariant($"{r.Fit.SizeMm.X:F1} x {r.Fit.SizeMm.Y:F1} x {r.Fit.SizeMm.Z:F1} mm, {(r.Fit.Fits ? "fits" : "TOO LARGE")}, turned by {r.Fit.TurnDeg:F0}°")),
            ("walls", FormattableString.Invariant($"least {r.Walls.LeastMm:F2}, median {r.Walls.MedianMm:F2} mm; {r.Walls.BelowMm2:F0} mm² in {r.Walls.Places.Count} places below {r.Walls.LimitMm} mm")),
            ("gaps", FormattableString.Invariant($"least {r.Gaps.LeastMm:F2} mm; {r.Gaps.BelowMm2:F0} mm² in {r.Gaps.Places.Count} places below {r.Gaps.LimitMm} mm")),
            ("support", FormattableString.Invariant($"{r.Lies.ContactMm2:F0} mm² of contact, {r.OutOfReach:P0} of it out of reach; {r.Lies.SupportMm3 / 1000:F1} ± {r.SupportErrorMm3 / 1000:F1} cm³ below it")),
            ("islands", FormattableString.Invariant($"{r.Islands.Count}")),
            ("bridges", r.Bridges is { } b ? FormattableString.Invariant($"{b.Found.Count} over {b.LimitMm} mm{(b.Found.Count == 0 ? "" : FormattableString.Invariant($", longest {b.Found[0].SpanMm:F1} ± {b.PixelMm:F1} mm"))}") : "not judged: the profile states no limit"),
            ("caught", FormattableString.Invariant($"{r.Trapped.Traps.Count} places, {r.Trapped.Traps.Sum(t => t.VolumeMm3) / 1000:F2} cm³")),
            ("necks", FormattableString.Invariant($"{r.Trapped.Necks.Count}")),
            ("material", FormattableString.Invariant($"model {r.Estimate.MassG:F0} g, support {r.Estimate.SupportMassG:F0} g; {r.Estimate.ModelMm3 / 1000:F1} cm³ enclosed")),
            ("time", FormattableString.Invariant($"{r.Estimate.TimeMin / 60:F1} h ({r.Estimate.TimeLowMin / 60:F1} to {r.Estimate.TimeHighMin / 60:F1}), {r.Estimate.Layers} layers over {r.Estimate.HeightMm:F1} mm")),
            ("cost", FormattableString.Invariant($"{r.Estimate.CostEur:F2} EUR ({r.Estimate.CostLowEur:F2} to {r.Estimate.CostHighEur:F2})")),
        ];
        foreach (var (name, value) in lines)
            Output.WriteResult($"{name,-22} {value}");
        context.Output.Say(SafetyNotice.Text);
    }
}
