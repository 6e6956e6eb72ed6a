using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Cli;

/// <summary>inspect SOURCE: which series are in a folder and what is wrong with them; or the facts of a mesh file.</summary>
internal static class InspectCommand
{
    public static Command Create(CommandContext context)
    {
        var source = new Argument<string>("SOURCE") { Description = "Folder or file" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("inspect", "What is in a file or folder: series, geometry, findings; or mesh facts") { source, json };
        command.SetAction((parsed, cancellation) =>
        {
            var path = parsed.GetValue(source)!;
            return Task.FromResult(SourceLoader.IsMesh(path)
                ? InspectMesh(context, path, parsed.GetValue(json), cancellation)
                : InspectSeries(context, path, parsed.GetValue(json), cancellation));
        });
        return command;
    }

    private static int InspectSeries(CommandContext context, string path, bool json, CancellationToken cancellation)
    {
        var listing = context.Run(run => new DicomSource(SourceLoader.Reader).Inspect(path, run), cancellation);
        if (json)
        {
            Output.WriteJson(listing);
            return ExitOf(listing);
        }

        foreach (var s in listing.Series)
        {
            Output.WriteResult(FormattableString.Invariant($"series {s.Selector}"));
            context.Output.Facts(s.SopClassName,
            [
                ("size", $"{s.Columns} x {s.Rows} x {s.Slices}"),
                ("spacing", s.SpacingMm is { } d ? FormattableString.Invariant($"{d[0]:0.####} x {d[1]:0.####} x {d[2]:0.####} mm") : "unknown"),
                ("tilt", s.TiltDeg is { } tilt ? FormattableString.Invariant($"{tilt:F3} degrees") : "unknown"),
                ("axes", s.Orientation?.Axes ?? "unknown"),
                ("HU", s.MinHu is null ? "not decoded" : $"{s.MinHu} to {s.MaxHu}"),
                ("transfer syntax", s.TransferSyntax),
            ]);
            context.Output.Findings(s.Findings);
        }

        foreach (var other in listing.Others.GroupBy(o => (o.Code, o.Reason)))
            context.Output.Say($"not part of a volume: {other.Count()} files, {other.Key.Reason} ({other.Key.Code}), such as {other.First().Name}");
        context.Output.Findings(listing.Findings);
        return ExitOf(listing);
    }

    // A listing is done even when a series in it is unusable; only a source without any usable series is bad input.
    private static int ExitOf(SeriesListing listing) =>
        listing.Series.Any(s => s.IsLoadable) ? ExitCodes.Done : listing.Series.Count > 0 ? ExitCodes.CheckFailed : ExitCodes.BadInput;

    private static int InspectMesh(CommandContext context, string path, bool json, CancellationToken cancellation)
    {
        var (read, facts) = context.Run(run =>
        {
            var mesh = MeshFile.Read(path, MeshReadOptions.Default, run);
            return (mesh, MeshFacts.Measure(mesh.Mesh, run));
        }, cancellation);
        if (json)
        {
            Output.WriteJson(new { read.Format, read.DeclaredUnit, read.WeldedVertices, mesh = facts, read.Findings });
            return ExitCodes.Done;
        }

        var size = read.Mesh.BoundsMm().Size;
        context.Output.Facts(read.Format,
        [
            ("triangles", $"{facts.Triangles}"),
            ("vertices", $"{facts.Vertices}"),
            ("size", FormattableString.Invariant($"{size.X:0.###} x {size.Y:0.###} x {size.Z:0.###} {(read.DeclaredUnit is null ? "(unit not stated)" : "mm")}")),
            ("solid", facts.Solid ? "yes" : "no"),
        ]);
        context.Output.Findings(read.Findings);
        return ExitCodes.Done;
    }
}
