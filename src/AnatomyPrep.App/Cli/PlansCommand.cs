using System.CommandLine;
using AnatomyPrep.App.Pipeline;

namespace AnatomyPrep.App.Cli;

/// <summary>plans [NAME]: list the presets, print one, with --json as JSON; --schema prints the JSON Schema, --steps every step.</summary>
internal static class PlansCommand
{
    public static Command Create(CommandContext context)
    {
        var name = new Argument<string?>("NAME") { Description = "Preset to print", Arity = ArgumentArity.ZeroOrOne };
        var schema = new Option<bool>("--schema") { Description = "Print the JSON Schema of plans" };
        var steps = new Option<bool>("--steps") { Description = "List every step a plan may hold" };
        var json = new Option<bool>("--json") { Description = "With NAME: the plan as JSON, which is read like any plan" };
        var command = new Command("plans", "List preset plans, or print one") { name, schema, steps, json };
        command.SetAction(parsed =>
        {
            if (parsed.GetValue(json) && parsed.GetValue(name) is { } preset)
                Output.WriteJson(PlanJson.Of(context.Bench.Plans.Load(preset)));
            else if (parsed.GetValue(schema))
                Output.WriteJson(PlanSchema.Create(context.Bench.Catalog));
            else if (parsed.GetValue(steps))
                ListSteps(context);
            else if (parsed.GetValue(name) is { } wanted)
                Output.WriteResult(context.Bench.Plans.Load(wanted).Yaml.TrimEnd());
            else
                ListPresets(context);
            return ExitCodes.Done;
        });
        return command;
    }

    private static void ListPresets(CommandContext context)
    {
        foreach (var preset in PlanLibrary.Presets)
            Output.WriteResult(Line(preset, context.Bench.Plans.Load(preset).Plan.Description));
    }

    internal static string Line(string name, string description) => $"{name,-14} {description}";

    private static void ListSteps(CommandContext context)
    {
        foreach (var step in context.Bench.Catalog.Specs)
        {
            Output.WriteResult($"{step.Name} ({step.Stage.ToString().ToLowerInvariant()}): {step.Description}");
            foreach (var p in step.Parameters)
            {
                var fallback = p.Default is null ? (p.Optional ? "optional" : "required") : FormattableString.Invariant($"default {p.Default}");
                Output.WriteResult($"    {p.Name}: {p.Description} ({PlanReader.Allowed(p)}; {fallback})");
            }
        }
    }
}
