using System.CommandLine;
using System.Text.Json;
using System.Text.Json.Nodes;
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
            var (facts, holes) = context.Run(run =>
            {
                var read = MeshFile.Read(parsed.GetValue(mesh)!, ReadOptions, run).Mesh;
                return (MeshFacts.Measure(read, run), HoleFacts.Of(read, run));
            }, cancellation);
            if (parsed.GetValue(json))
                Output.WriteJson(WithHoles(facts, holes));
            else
                Show(context, facts, holes);
            return Task.FromResult(facts.Solid ? ExitCodes.Done : ExitCodes.CheckFailed);
        });
        return command;
    }

    private static JsonObject WithHoles(MeshFacts facts, IReadOnlyList<HoleFacts> holes)
    {
        var document = JsonSerializer.SerializeToNode(facts, Output.Json)!.AsObject();
        document["holes"] = JsonSerializer.SerializeToNode(holes, Output.Json);
        return document;
    }

    private static void Show(CommandContext context, MeshFacts facts, IReadOnlyList<HoleFacts> holes)
    {
        foreach (var property in JsonSerializer.SerializeToElement(facts, Output.Json).EnumerateObject())
            if (property.Value.ValueKind is not (JsonValueKind.Array or JsonValueKind.Object) || property.Name == "boundsMm")
                Output.WriteResult($"{property.Name,-22} {property.Value.GetRawText()}");
        foreach (var place in facts.Places)
            context.Output.Say(FormattableString.Invariant($"{place.Kind} at {place.PositionMm[0]:F2} {place.PositionMm[1]:F2} {place.PositionMm[2]:F2}{(place.Triangle is { } t ? $", triangle {t}" : "")}"));
        foreach (var hole in holes)
            context.Output.Say(FormattableString.Invariant($"rim {hole.Number}: {hole.Edges} edges, {hole.LengthMm:F1} mm around, {hole.DiameterMm:F1} mm wide, at {hole.CenterMm.X:F1} {hole.CenterMm.Y:F1} {hole.CenterMm.Z:F1}{(hole.IsOuterBorder ? ", outer border" : "")}"));
    }
}
