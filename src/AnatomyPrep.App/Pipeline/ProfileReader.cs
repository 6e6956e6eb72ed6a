using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Prepare;
using YamlDotNet.RepresentationModel;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Reads a process profile from YAML: every value with its unit in its name, its range and the source it is taken from.</summary>
/// <remarks>Format: docs/methods/prepare.md. Errors name the line, the value and what is allowed.</remarks>
internal static class ProfileReader
{
    private const int MostCharacters = 1 << 16;

    private static readonly string[] s_head = ["profile", "version", "description", "process", "material", "support", "removal", "hangsFromPlate", "values"];

    private static readonly Dictionary<string, PrintProcess> s_processes = new(StringComparer.Ordinal)
    {
        ["MEX"] = PrintProcess.MaterialExtrusion,
        ["VPP"] = PrintProcess.VatPhotopolymerization,
        ["PBF"] = PrintProcess.PowderBedFusion,
        ["MJT"] = PrintProcess.MaterialJetting,
    };

    private static readonly Dictionary<string, SupportKind> s_supports = new(StringComparer.Ordinal)
    {
        ["powder"] = SupportKind.Powder,
        ["same material"] = SupportKind.SameMaterial,
        ["soluble"] = SupportKind.Soluble,
        ["gel"] = SupportKind.Gel,
    };

    // Name, least, most, how many numbers. Outside these a value is a slip of the pen, not a machine.
    private static readonly (string Name, double Least, double Most, int Count)[] s_values =
    [
        ("buildVolumeMm", 10, 5000, 3),
        ("layerHeightMm", 0.005, 2, 1),
        ("leastWallMm", 0.05, 20, 1),
        ("leastGapMm", 0.02, 20, 1),
        ("leastNeckMm", 0.05, 50, 1),
        ("overhangLimitDeg", 0, 89, 1),
        ("shrinkPercent", -5, 20, 3),
        ("supportFill", 0, 1, 1),
        ("modelFill", 0.01, 1, 1),
        ("skinMm", 0.05, 50, 1),
        ("drainMm", 0.2, 50, 1),
        ("drainsEach", 1, 4, 1),
        ("densityGPerCm3", 0.1, 25, 1),
        ("supportDensityGPerCm3", 0.1, 25, 1),
        ("priceEurPerKg", 0, 100_000, 1),
        ("supportPriceEurPerKg", 0, 100_000, 1),
        ("priceEurPerHour", 0, 10_000, 1),
        ("setupMin", 0, 100_000, 1),
        ("perLayerS", 0, 100_000, 1),
        ("perModelCm3Min", 0, 10_000, 1),
        ("perSupportCm3Min", 0, 10_000, 1),
        ("timeUncertaintyPercent", 1, 300, 1),
        ("weightContact", 0, 1000, 1),
        ("weightSupport", 0, 1000, 1),
        ("weightHeight", 0, 1000, 1),
        ("weightStability", 0, 1000, 1),
        ("weightShadowed", 0, 1000, 1),
        ("weightKept", 0, 1000, 1),
    ];

    // Plans recorded before a value was known hold profiles without it.
    private static readonly (string Name, double Least, double Most, int Count)[] s_optional = [("bridgeMm", 0.5, 500, 1)];
    private static readonly (string Name, double Least, double Most, int Count)[] s_known = [.. s_values, .. s_optional];

    /// <param name="where">Name for messages, without folder.</param>
    /// <exception cref="PlanException">Not a profile, an unknown, missing or impossible value, or values that contradict each other.</exception>
    public static PrintProfile Read(string yaml, string where)
    {
        if (yaml.Length > MostCharacters)
            throw new PlanException(where, null, "profile", $"{yaml.Length} characters", $"at most {MostCharacters}");
        return Read(PlanReader.Parse(yaml, where), where);
    }

    /// <summary>The same of a profile that is part of a plan.</summary>
    internal static PrintProfile Read(YamlMappingNode root, string where)
    {
        foreach (var (key, _) in root.Children)
            if (!s_head.Contains((key as YamlScalarNode)?.Value))
                throw new PlanException(where, Line(key), "key", Show(key), string.Join(", ", s_head));
        _ = Text(root, "version", where);
        _ = Text(root, "description", where);
        if (!root.Children.TryGetValue("values", out var node) || node is not YamlMappingNode map)
            throw new PlanException(where, Line(root), "values", "missing", "a mapping of values");
        var values = ReadValues(map, where);
        double One(string name) => values[name].Numbers[0];
        Vec3 Three(string name) => new(values[name].Numbers[0], values[name].Numbers[1], values[name].Numbers[2]);
        var profile = new PrintProfile(
            Text(root, "profile", where),
            Choice(root, "process", s_processes, where),
            Text(root, "material", where),
            Three("buildVolumeMm"),
            One("layerHeightMm"),
            One("leastWallMm"),
            One("leastGapMm"),
            One("leastNeckMm"),
            One("overhangLimitDeg"),
            Three("shrinkPercent"),
            Choice(root, "support", s_supports, where),
            Text(root, "removal", where),
            One("supportFill"),
            One("modelFill"),
            One("skinMm"),
            One("drainMm"),
            (int)One("drainsEach"),
            Choice(root, "hangsFromPlate", new Dictionary<string, bool>(StringComparer.Ordinal) { ["true"] = true, ["false"] = false }, where),
            One("densityGPerCm3"),
            One("supportDensityGPerCm3"),
            One("priceEurPerKg"),
            One("supportPriceEurPerKg"),
            One("priceEurPerHour"),
            new(One("setupMin"), One("perLayerS"), One("perModelCm3Min"), One("perSupportCm3Min"), One("timeUncertaintyPercent")),
            new(One("weightContact"), One("weightSupport"), One("weightHeight"), One("weightStability"), One("weightShadowed"), One("weightKept")))
        {
            BridgeMm = values.TryGetValue("bridgeMm", out var bridge) ? bridge.Numbers[0] : null,
        };
        RequireSense(profile, name => values[name].Line, where);
        return profile;
    }

    /// <summary>Values that are each possible but not together.</summary>
    private static void RequireSense(PrintProfile p, Func<string, int> line, string where)
    {
        void Require(bool holds, string name, double value, string allowed)
        {
            if (!holds)
                throw new PlanException(where, line(name), name, value.ToString(CultureInfo.InvariantCulture), allowed);
        }

        Require(p.LayerHeightMm <= p.LeastWallMm, "layerHeightMm", p.LayerHeightMm, FormattableString.Invariant($"at most leastWallMm, {p.LeastWallMm}"));
        Require(p.LeastNeckMm >= p.LeastWallMm, "leastNeckMm", p.LeastNeckMm, FormattableString.Invariant($"at least leastWallMm, {p.LeastWallMm}"));
        var smallest = Math.Min(p.BuildVolumeMm.X, Math.Min(p.BuildVolumeMm.Y, p.BuildVolumeMm.Z));
        Require(p.DrainMm < smallest, "drainMm", p.DrainMm, "less than the build volume");
        Require(p.NeedsSupport == p.OverhangLimitDeg > 0, "overhangLimitDeg", p.OverhangLimitDeg, p.NeedsSupport ? "above 0 where there is support to build" : "0 in powder, which holds every surface");
        Require(p.NeedsSupport || p.BridgeMm is null, "bridgeMm", p.BridgeMm ?? 0, "none in powder, which holds every surface");
        Require(!p.NeedsSupport || p.SupportFill > 0, "supportFill", p.SupportFill, "above 0 where there is support to build");
        Require((p.Process == PrintProcess.PowderBedFusion) == (p.Support == SupportKind.Powder), "overhangLimitDeg", p.OverhangLimitDeg, "process PBF with support powder, or neither");
        var w = p.Weights;
        Require(w.Contact + w.Support + w.Height + w.Stability + w.Shadowed + w.Kept > 0, "weightContact", w.Contact, "at least one weight above 0");
    }

    private static Dictionary<string, (double[] Numbers, int Line)> ReadValues(YamlMappingNode map, string where)
    {
        var found = new Dictionary<string, (double[], int)>(StringComparer.Ordinal);
        foreach (var (key, node) in map.Children)
        {
            var name = (key as YamlScalarNode)?.Value ?? "";
            var spec = Array.Find(s_known, v => v.Name == name);
            if (spec.Name is null)
                throw new PlanException(where, Line(key), $"values.{Show(key)}", "unknown", string.Join(", ", s_known.Select(v => v.Name)));
            if (node is not YamlMappingNode pair || pair.Children.Count != 2 || !pair.Children.ContainsKey("value") || Text(pair, "source", where).Length == 0)
                throw new PlanException(where, Line(node), name, Show(node), "{ value: …, source: \"where it is from, or common practice\" }");
            found.Add(name, (Numbers(pair.Children["value"], spec, where), Line(node)));
        }

        foreach (var (name, least, most, count) in s_values)
            if (!found.ContainsKey(name))
                throw new PlanException(where, Line(map), name, "missing", Allowed(least, most, count));
        return found;
    }

    private static double[] Numbers(YamlNode node, (string Name, double Least, double Most, int Count) spec, string where)
    {
        IEnumerable<YamlNode> nodes = spec.Count == 1 ? [node] : node is YamlSequenceNode list ? list.Children : [];
        var numbers = nodes.Select(n => double.TryParse((n as YamlScalarNode)?.Value, NumberStyles.Float, CultureInfo.InvariantCulture, out var x) ? x : double.NaN).ToArray();
        if (numbers.Length != spec.Count || numbers.Any(x => !(x >= spec.Least && x <= spec.Most)) || (spec.Name == "drainsEach" && numbers[0] != Math.Floor(numbers[0])))
            throw new PlanException(where, Line(node), spec.Name, Show(node), Allowed(spec.Least, spec.Most, spec.Count));
        return numbers;
    }

    private static string Allowed(double least, double most, int count) =>
        FormattableString.Invariant($"{(count == 1 ? "a number" : "three numbers")} from {least} to {most}");

    private static T Choice<T>(YamlMappingNode map, string key, Dictionary<string, T> choices, string where)
    {
        var text = Text(map, key, where);
        return choices.TryGetValue(text, out var value) ? value : throw new PlanException(where, Line(map.Children[key]), key, text, string.Join(", ", choices.Keys));
    }

    private static string Text(YamlMappingNode map, string key, string where) =>
        map.Children.TryGetValue(key, out var node) && node is YamlScalarNode { Value: { Length: > 0 } value }
            ? value
            : throw new PlanException(where, Line(map), key, "missing", "text");

    private static int Line(YamlNode node) => PlanReader.Line(node);

    private static string Show(YamlNode node) =>
        node is YamlSequenceNode list ? $"[{string.Join(", ", list.Children.Select(PlanReader.Show))}]" : PlanReader.Show(node);
}
