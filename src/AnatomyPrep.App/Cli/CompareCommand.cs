using System.CommandLine;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Cli;

/// <summary>compare MESH MESH: how far two surfaces are apart, both ways.</summary>
internal static class CompareCommand
{
    public static Command Create(CommandContext context)
    {
        var first = new Argument<string>("MESH") { Description = "First mesh" };
        var second = new Argument<string>("OTHER") { Description = "Second mesh" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("compare", "Symmetric distance of two surfaces in mm") { first, second, json };
        command.SetAction((parsed, cancellation) =>
        {
            var distance = context.Run(run => SurfaceDistance.Compare(
                MeshFile.Read(parsed.GetValue(first)!, CheckCommand.ReadOptions, run).Mesh,
                MeshFile.Read(parsed.GetValue(second)!, CheckCommand.ReadOptions, run).Mesh,
                new SurfaceDistanceOptions(), run), cancellation);
            if (parsed.GetValue(json))
                Output.WriteJson(distance);
            else
                foreach (var property in System.Text.Json.JsonSerializer.SerializeToElement(distance, Output.Json).EnumerateObject())
                    Output.WriteResult($"{property.Name,-22} {property.Value.GetRawText()}");
            return Task.FromResult(ExitCodes.Done);
        });
        return command;
    }
}
