using System.CommandLine;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Cli;

/// <summary>check MESH: is it one printable solid, and if not, what and where is wrong.</summary>
internal static class CheckCommand
{
    // A check is about shape, not size, so a missing unit does not matter here.
    public static readonly MeshReadOptions ReadOptions = new(LengthUnit.Millimetre);

    public static Command Create(CommandContext context)
    {
        var mesh = new Argument<string>("MESH") { Description = "STL, PLY, OBJ, OFF or 3MF file" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("check", "Solidity facts of a mesh") { mesh, json };
        command.SetAction((parsed, cancellation) =>
        {
            var facts = context.Run(run =>
                MeshFacts.Measure(MeshFile.Read(parsed.GetValue(mesh)!, ReadOptions, run).Mesh, run), cancellation);
            if (parsed.GetValue(json))
                Output.WriteJson(facts);
            else
                Show(context, facts);
            return Task.FromResult(facts.Solid ? ExitCodes.Done : ExitCodes.CheckFailed);
        });
        return command;
    }

    private static void Show(CommandContext context, MeshFacts facts)
    {
        foreach (var property in System.Text.Json.JsonSerializer.SerializeToElement(facts, Output.Json).EnumerateObject())
            if (property.Value.ValueKind is not (System.Text.Json.JsonValueKind.Array or System.Text.Json.JsonValueKind.Object) || property.Name == "boundsMm")
                Output.WriteResult($"{property.Name,-22} {property.Value.GetRawText()}");
        foreach (var place in facts.Places)
            context.Output.Say(place.ToString());
    }
}
