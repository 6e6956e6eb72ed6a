using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Acquire.Fitness;
using AnatomyPrep.Imaging.Acquire.Grids;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.App.Cli;

/// <summary>inspect SOURCE: which series are in a folder and what is wrong with them; or the facts of a mesh file.</summary>
internal static class InspectCommand
{
    public static Command Create(CommandContext context)
    {
        var source = new Argument<string>("SOURCE") { Description = "Folder or file" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var identify = new Option<bool>("--identify") { Description = "Also show who the patients are; that it was shown is logged" };
        var anatomy = new Option<string?>("--anatomy") { Description = "What it shows, such as head: the size of a scan, or the fitness of images, is then judged by it" };
        var unit = RequestOptions.CreateUnit();
        var command = new Command("inspect", "What is in a file or folder: series, geometry, findings; or mesh facts") { source, anatomy, unit, identify, json };
        command.SetAction((parsed, cancellation) =>
        {
            var path = parsed.GetValue(source)!;
            var options = new MeshReadOptions(RequestOptions.Unit(parsed.GetValue(unit)), parsed.GetValue(anatomy));
            if (parsed.GetValue(identify) && (SourceLoader.IsGrid(path) || SourceLoader.IsScan(path)))
                context.Output.Say("This kind of file does not say whose it is.");
            return Task.FromResult(SourceLoader.IsGrid(path)
                ? InspectGrid(context, path, options.Anatomy, parsed.GetValue(json), cancellation)
                : !SourceLoader.IsScan(path)
                ? InspectSeries(context, path, options.Anatomy, parsed.GetValue(identify), parsed.GetValue(json), cancellation)
                : SourceLoader.IsCloud(path)
                    ? InspectCloud(context, path, options, parsed.GetValue(json), cancellation)
                    : InspectMesh(context, path, options, parsed.GetValue(json), cancellation));
        });
        return command;
    }

    private static int InspectSeries(CommandContext context, string path, string? anatomy, bool identify, bool json, CancellationToken cancellation)
    {
        var listing = context.Run(run => new DicomSource(SourceLoader.Reader).Inspect(path, run, identify, anatomy), cancellation);
        if (identify)
            context.Log.LogWarning("Identifiers of {Count} series were shown by inspect --identify", listing.Series.Count);
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
                ("kernel", s.Kernel ?? "not stated"),
                .. s.ToldApartBy is null ? [] : new[] { ("told apart by", s.ToldApartBy) },
            ]);
            if (listing.Identities?.FirstOrDefault(i => i.Selector == s.Selector) is { } who)
                context.Output.Facts("who", who.Identifiers.Select(i => (i.Key, i.Value)));
            context.Output.Facts("fitness", Fitness(s.Fitness));
            context.Output.Findings(s.Findings);
        }

        if (listing.Suggested is { } suggested)
            Output.WriteResult($"suggested {suggested.Selector}: {suggested.Reason}");

        foreach (var other in listing.Others.GroupBy(o => (o.Code, o.Reason)))
            context.Output.Say($"not part of a volume: {other.Count()} files, {other.Key.Reason} ({other.Key.Code}), such as {other.First().Name}");
        context.Output.Findings(listing.Findings);
        return ExitOf(listing);
    }

    private static int InspectGrid(CommandContext context, string path, string? anatomy, bool json, CancellationToken cancellation)
    {
        using var grid = context.Run(run => GridFile.Read(path, run, anatomy), cancellation);
        var f = grid.Facts;
        if (json)
        {
            Output.WriteJson(new { series = new[] { f } });
            return ExitOf(f.Findings);
        }

        context.Output.Facts(f.TransferSyntax,
        [
            ("size", $"{f.Columns} x {f.Rows} x {f.Slices}"),
            ("spacing", FormattableString.Invariant($"{f.SpacingMm[0]:0.####} x {f.SpacingMm[1]:0.####} x {f.SpacingMm[2]:0.####} mm")),
            ("tilt", FormattableString.Invariant($"{f.TiltDeg:F3} degrees")),
            ("axes", f.Orientation.Axes),
            ("HU", $"{f.MinHu} to {f.MaxHu}"),
        ]);
        context.Output.Facts("fitness", Fitness(f.Fitness));
        context.Output.Findings(f.Findings);
        return ExitOf(f.Findings);
    }

    private static IEnumerable<(string, string)> Fitness(IEnumerable<FitnessMeasure> measures) => measures.Select(m =>
        (m.Name, string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{m.Value:0.###} {m.Unit} (limit {m.Limit:0.###}){(m.Holds ? "" : " !")}")));

    // A listing is done even when a series in it is unusable; only a source without any usable series is bad input.
    private static int ExitOf(SeriesListing listing) =>
        listing.Series.Any(s => s.IsLoadable) ? ExitCodes.Done : listing.Series.Count > 0 ? ExitCodes.CheckFailed : ExitCodes.BadInput;

    private static int InspectMesh(CommandContext context, string path, MeshReadOptions options, bool json, CancellationToken cancellation)
    {
        var (read, facts, holes) = context.Run(run =>
        {
            var mesh = MeshFile.Read(path, options, run);
            return (mesh, MeshFacts.Measure(mesh.Mesh, run), HoleFacts.Of(mesh.Mesh, run));
        }, cancellation);
        if (json)
        {
            Output.WriteJson(new { read.Format, read.DeclaredUnit, read.WeldedVertices, mesh = facts, holes, read.Findings });
            return ExitOf(read.Findings);
        }

        context.Output.Facts(read.Format,
        [
            ("triangles", $"{facts.Triangles}"),
            ("vertices", $"{facts.Vertices}"),
            ("size", Size(read.Mesh.BoundsMm(), read.DeclaredUnit ?? options.Unit)),
            ("solid", facts.Solid ? "yes" : "no"),
            ("open rims", $"{holes.Count}"),
        ]);
        context.Output.Findings(read.Findings);
        return ExitOf(read.Findings);
    }

    private static int InspectCloud(CommandContext context, string path, MeshReadOptions options, bool json, CancellationToken cancellation)
    {
        var read = context.Run(run => PointCloudFile.Read(path, options, run), cancellation);
        var bounds = read.Cloud.BoundsMm();
        if (json)
        {
            Output.WriteJson(new { read.Format, points = read.Cloud.Count, hasNormals = read.Cloud.HasNormals, boundsMm = bounds, read.Findings });
            return ExitOf(read.Findings);
        }

        context.Output.Facts(read.Format,
        [
            ("points", $"{read.Cloud.Count}"),
            ("normals", read.Cloud.HasNormals ? "yes" : "no"),
            ("size", Size(bounds, options.Unit)),
        ]);
        context.Output.Findings(read.Findings);
        return ExitOf(read.Findings);
    }

    private static int ExitOf(IReadOnlyList<Finding> findings) =>
        findings.Any(f => f.Severity == Severity.Stop) ? ExitCodes.CheckFailed : ExitCodes.Done;

    private static string Size(Box3 boundsMm, LengthUnit? known)
    {
        var size = boundsMm.Size;
        return FormattableString.Invariant($"{size.X:0.###} x {size.Y:0.###} x {size.Z:0.###} {(known is null ? "(unit not stated)" : "mm")}");
    }
}
