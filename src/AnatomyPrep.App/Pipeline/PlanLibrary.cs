using System.Globalization;
using System.Reflection;
using System.Text;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A plan and the text it was read from; the text is what is hashed and recorded.</summary>
internal sealed record PlanText(Plan Plan, string Yaml, PrintProfile? Profile = null, LandmarkList? Landmarks = null)
{
    /// <summary>Structures keep their places to each other, so a plan with structures stays life size.</summary>
    public bool CanScale => Plan.Structures.Count == 0;

    /// <summary>The same plan with a last step that scales the model: what was asked for is then part of the recorded plan.</summary>
    /// <exception cref="PlanException">The plan has structures, or its steps are not its last key.</exception>
    public static string WithScale(PlanText plan, double scale)
    {
        if (plan.CanScale && AsJson(plan.Yaml) is { } json)
        {
            json["steps"]!.AsArray().Add(new JsonObject { ["scale"] = new JsonObject { ["factor"] = scale } });
            return json.ToJsonString();
        }

        var last = plan.Yaml.Split('\n').LastOrDefault(line => line.Length > 0 && char.IsAsciiLetter(line[0]));
        return plan.CanScale && last?.TrimEnd() == "steps:"
            ? string.Create(CultureInfo.InvariantCulture, $"{plan.Yaml.TrimEnd()}\n  - scale: {{ factor: {scale} }}\n")
            : throw new PlanException("command", null, "--scale", string.Create(CultureInfo.InvariantCulture, $"{scale}"), "1 with a plan of structures, or a plan whose last key is steps");
    }

    /// <summary>The same plan with a process profile written into it, so that the plan stays all that is needed to make the model again.</summary>
    public static string WithProfile(string planYaml, string profileYaml)
    {
        if (AsJson(planYaml) is not { } json)
            return $"{planYaml.TrimEnd()}\nprintProfile:\n{string.Join('\n', profileYaml.TrimEnd().Split('\n').Select(line => $"  {line}"))}\n";
        json["printProfile"] = PlanJson.Of(PlanReader.Parse(profileYaml, "profile"));
        return json.ToJsonString();
    }

    // A plan that a program edited is written as JSON, to which no line of YAML can be added.
    private static JsonObject? AsJson(string text) => text.TrimStart().StartsWith('{') ? JsonNode.Parse(text) as JsonObject : null;
}

/// <summary>Plans by preset name or by file.</summary>
internal sealed class PlanLibrary(StepCatalog catalog)
{
    private const string Folder = ".Pipeline.Presets.";

    /// <summary>Names of the presets, sorted.</summary>
    public static IReadOnlyList<string> Presets { get; } =
        [.. Assembly.GetExecutingAssembly().GetManifestResourceNames()
            .Where(n => n.Contains(Folder, StringComparison.Ordinal))
            .Select(n => Path.GetFileNameWithoutExtension(n[(n.IndexOf(Folder, StringComparison.Ordinal) + Folder.Length)..]))
            .Order(StringComparer.Ordinal)];

    /// <summary>A preset by name, else a file.</summary>
    /// <exception cref="PlanException">Neither exists, or the plan is wrong.</exception>
    public PlanText Load(string nameOrFile)
    {
        if (Presets.Contains(nameOrFile))
            return Parse(PresetText(nameOrFile), nameOrFile);
        if (!File.Exists(nameOrFile))
            throw new PlanException("command", null, "--plan", nameOrFile, $"a plan file, or one of {string.Join(", ", Presets)}");
        return Parse(File.ReadAllText(nameOrFile, Encoding.UTF8), Path.GetFileName(nameOrFile));
    }

    /// <summary>As the other, with a process profile put into the plan.</summary>
    /// <exception cref="PlanException">Either is wrong, or the plan holds a profile of its own.</exception>
    public PlanText Load(string nameOrFile, string? profile, double scale = 1)
    {
        var plan = Load(nameOrFile);
        if (scale != 1)
            plan = Parse(PlanText.WithScale(plan, scale), Path.GetFileName(nameOrFile));
        if (profile is null)
            return plan;
        if (plan.Profile is not null)
            throw new PlanException("command", null, "--profile", profile, "no --profile with a plan that has a printProfile");
        return Parse(PlanText.WithProfile(plan.Yaml, ProfileLibrary.Load(profile).Yaml), Path.GetFileName(nameOrFile));
    }

    public PlanText Parse(string yaml, string where) => new PlanReader(catalog).Read(yaml, where);

    public static string PresetText(string name)
    {
        var assembly = Assembly.GetExecutingAssembly();
        var resource = assembly.GetManifestResourceNames().Single(n => n.EndsWith($"{Folder}{name}.yaml", StringComparison.Ordinal));
        using var reader = new StreamReader(assembly.GetManifestResourceStream(resource)!, Encoding.UTF8);
        return reader.ReadToEnd();
    }
}
