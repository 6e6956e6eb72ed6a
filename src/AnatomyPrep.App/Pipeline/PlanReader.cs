using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Verify;
using YamlDotNet.Core;
using YamlDotNet.RepresentationModel;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Reads a plan from YAML and checks it against the step catalogue; every error names line and allowed range.</summary>
internal sealed class PlanReader(StepCatalog catalog)
{
    private const int LongestPlanBytes = 4 << 20;
    private const int LongestName = 60;
    private const string Keys = "plan, version, description, landmarks, printProfile, steps, structures";

    internal static readonly string[] Sides = ["left", "right", "both", "midline"];

    // They judge the whole of what is printed, or of what lies inside what.
    private static readonly string[] s_ofTheWhole = ["check-print", "orient"];

    // Okabe and Ito's palette (see OriginPalette) after the colour of bone: told apart by all common kinds of colour vision.
    private static readonly Rgb[] s_colours = [new(236, 224, 200), new(86, 180, 233), new(213, 94, 0), new(0, 158, 115), new(204, 121, 167), new(240, 228, 66), new(0, 114, 178), new(230, 159, 0)];

    /// <param name="where">Name for messages: a preset's or a file's, without folder.</param>
    /// <exception cref="PlanException">Not YAML, an unknown step or parameter, a missing one, or a value out of range; in steps, process profile or landmarks.</exception>
    public PlanText Read(string yaml, string where)
    {
        if (yaml.Length > LongestPlanBytes)
            throw new PlanException(where, null, "plan", $"{yaml.Length} characters", $"at most {LongestPlanBytes}");
        var root = Parse(yaml, where);
        return new(ReadPlan(root, where), yaml, ReadProfile(root, where), ReadLandmarks(root, where));
    }

    private Plan ReadPlan(YamlMappingNode root, string where)
    {
        var name = Scalar(root, "plan", where);
        var version = Scalar(root, "version", where);
        var description = root.Children.ContainsKey("description") ? Scalar(root, "description", where) : "";
        foreach (var (key, _) in root.Children)
            if (key is not YamlScalarNode { Value: "plan" or "version" or "description" or LandmarkReader.Key or "printProfile" or "steps" or "structures" })
                throw new PlanException(where, Line(key), "key", Show(key), Keys);
        var several = root.Children.ContainsKey("structures");
        return new(name, version, description, several && !root.Children.ContainsKey("steps") ? [] : ReadSteps(root, where))
        {
            Structures = several ? ReadStructures(root, where) : [],
        };
    }

    private PlanStep[] ReadSteps(YamlMappingNode map, string where) =>
        map.Children.TryGetValue("steps", out var list) && list is YamlSequenceNode { Children.Count: > 0 } steps
            ? [.. steps.Children.Select(s => ReadStep(s, where))]
            : throw new PlanException(where, Line(map), "steps", "missing or empty", "a list of steps");

    private List<PlanStructure> ReadStructures(YamlMappingNode root, string where)
    {
        if (root.Children["structures"] is not YamlSequenceNode { Children.Count: > 0 } list)
            throw new PlanException(where, Line(root), "structures", "empty", "a list of structures");
        var structures = new List<PlanStructure>();
        foreach (var node in list.Children)
        {
            var map = node as YamlMappingNode ?? throw new PlanException(where, Line(node), "structure", Show(node), "a mapping with name and steps");
            var structure = ReadStructure(map, structures.Count, where);
            if (structures.Any(s => s.FileName == structure.FileName))
                throw new PlanException(where, Line(map), "structure name", structure.Name, "a name that no other structure has, in letters and digits");
            structures.Add(structure);
        }

        return structures;
    }

    /// <summary>The structures of one run must stay where they are to each other.</summary>
    internal static bool IsForStructures(StepSpec spec) => !spec.MovesModel && !s_ofTheWhole.Contains(spec.Name);

    private PlanStructure ReadStructure(YamlMappingNode map, int number, string where)
    {
        foreach (var (key, _) in map.Children)
            if (key is not YamlScalarNode { Value: "name" or "colour" or "side" or "steps" })
                throw new PlanException(where, Line(key), "key", Show(key), "name, colour, side, steps");
        var colour = s_colours[number % s_colours.Length];
        if (map.Children.TryGetValue("colour", out var given) && !Rgb.TryParse((given as YamlScalarNode)?.Value ?? "", out colour))
            throw new PlanException(where, Line(given), "structure colour", Show(given), "\"#RRGGBB\", in quotes");
        var side = map.Children.TryGetValue("side", out var sideNode) ? (sideNode as YamlScalarNode)?.Value ?? "" : null;
        if (side is not null && !Sides.Contains(side))
            throw new PlanException(where, Line(sideNode!), "structure side", Show(sideNode!), string.Join(", ", Sides));
        var structure = new PlanStructure(Scalar(map, "name", where), colour, side, ReadSteps(map, where));
        if (structure.FileName.Length is 0 or > LongestName)
            throw new PlanException(where, Line(map), "structure name", Show(map.Children["name"]), $"1 to {LongestName} letters and digits, blanks and hyphens between them");
        if (structure.Steps.FirstOrDefault(s => catalog.TryFind(s.Name, out var spec) && !IsForStructures(spec)) is { } moving)
            throw new PlanException(where, moving.Line, "step", moving.Name, "steps that leave a structure where it is, so that structures fit each other");
        return structure;
    }

    private static PrintProfile? ReadProfile(YamlMappingNode root, string where) =>
        !root.Children.TryGetValue("printProfile", out var node) ? null
        : node is YamlMappingNode map ? ProfileReader.Read(map, where)
        : throw new PlanException(where, Line(node), "printProfile", Show(node), "a process profile");

    private static LandmarkList? ReadLandmarks(YamlMappingNode root, string where) =>
        !root.Children.TryGetValue(LandmarkReader.Key, out var node) ? null
        : node is YamlMappingNode map ? LandmarkReader.Read(map, where)
        : throw new PlanException(where, Line(node), LandmarkReader.Key, Show(node), "a mapping of points, distances and angles");

    internal static YamlMappingNode Parse(string yaml, string where)
    {
        try
        {
            var stream = new YamlStream();
            using var text = new StringReader(yaml);
            // Aliases could make a small file grow without bound, and a plan has no use for them.
            stream.Load(new Parser(new NoAliasScanner(new Scanner(text, skipComments: true))));
            if (stream.Documents.Count == 1 && stream.Documents[0].RootNode is YamlMappingNode map)
                return map;
        }
        catch (YamlException e)
        {
            throw new PlanException(where, (int)e.Start.Line, "YAML", e.InnerException?.Message ?? e.Message, "well-formed YAML without aliases");
        }

        catch (Exception e) when (e is InvalidOperationException or ArgumentException)
        {
            // The YAML library answers some broken texts this way instead of with its own exception.
            throw new PlanException(where, null, "YAML", "broken", "well-formed YAML without aliases");
        }

        throw new PlanException(where, 1, "plan", "not a mapping", "a mapping with plan, version and steps");
    }

    private PlanStep ReadStep(YamlNode node, string where)
    {
        var (nameNode, body) = node switch
        {
            YamlScalarNode scalar => (scalar, new YamlMappingNode()),
            YamlMappingNode { Children.Count: 1 } map when map.Children[0].Key is YamlScalarNode key => (key, Body(map.Children[0].Value, where)),
            _ => throw new PlanException(where, Line(node), "step", "not one step", "`- step: { parameter: value }`"),
        };
        var line = Line(nameNode);
        if (!catalog.TryFind(nameNode.Value ?? "", out var spec))
            throw new PlanException(where, line, "step", Show(nameNode), string.Join(", ", catalog.Specs.Select(s => s.Name)));
        return new(spec.Name, ReadParameters(spec, body, where, line), line);
    }

    private static YamlMappingNode Body(YamlNode node, string where) => node switch
    {
        YamlMappingNode map => map,
        YamlScalarNode { Value: "" or null } => new YamlMappingNode(),
        _ => throw new PlanException(where, Line(node), "parameters", Show(node), "a mapping of parameters"),
    };

    private static SortedDictionary<string, object?> ReadParameters(StepSpec spec, YamlMappingNode body, string where, int line)
    {
        var given = new Dictionary<string, YamlNode>(StringComparer.Ordinal);
        foreach (var (key, value) in body.Children)
        {
            var name = (key as YamlScalarNode)?.Value ?? "";
            if (spec.Parameters.All(p => p.Name != name))
                throw new PlanException(where, Line(key), $"{spec.Name}.{Show(key)}", "unknown", spec.Parameters.Count == 0 ? "no parameters" : string.Join(", ", spec.Parameters.Select(p => p.Name)));
            given.Add(name, value);
        }

        var values = new SortedDictionary<string, object?>(StringComparer.Ordinal);
        foreach (var parameter in spec.Parameters)
        {
            var full = $"{spec.Name}.{parameter.Name}";
            if (given.TryGetValue(parameter.Name, out var node))
                values[parameter.Name] = ReadValue(parameter, parameter.Kind, node, full, where);
            else if (parameter.Default is null && !parameter.Optional)
                throw new PlanException(where, line, full, "missing", Allowed(parameter));
            else
                values[parameter.Name] = parameter.Default;
        }

        return values;
    }

    private static object ReadValue(ParameterSpec parameter, ParameterKind kind, YamlNode node, string full, string where)
    {
        PlanException Wrong() => new(where, Line(node), full, Show(node), Allowed(parameter));
        if (kind is ParameterKind.Vector or ParameterKind.List)
        {
            if (node is not YamlSequenceNode list)
                throw Wrong();
            if (kind == ParameterKind.List)
                return list.Children.Select(c => ReadValue(parameter, parameter.Item!.Value, c, full, where)).ToArray();
            if (list.Children.Count != 3)
                throw Wrong();
            var axes = list.Children.Select(c => (double)ReadValue(parameter, ParameterKind.Number, c, full, where)).ToArray();
            return new Vec3(axes[0], axes[1], axes[2]);
        }

        var text = (node as YamlScalarNode)?.Value ?? throw Wrong();
        switch (kind)
        {
            case ParameterKind.Number when double.TryParse(text, NumberStyles.Float, CultureInfo.InvariantCulture, out var number) && double.IsFinite(number) && InRange(parameter, number):
                return number;
            case ParameterKind.Integer when int.TryParse(text, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out var integer) && InRange(parameter, integer):
                return integer;
            case ParameterKind.Flag when text is "true" or "false":
                return text == "true";
            case ParameterKind.Text when parameter.Choices is null || parameter.Choices.Contains(text):
                return text;
            default:
                throw Wrong();
        }
    }

    private static bool InRange(ParameterSpec parameter, double value) =>
        !(value < parameter.Minimum) && !(value > parameter.Maximum);

    /// <summary>The allowed values of a parameter in words.</summary>
    internal static string Allowed(ParameterSpec parameter)
    {
        if (parameter.Choices is not null)
            return string.Join(", ", parameter.Choices);
        var kind = (parameter.Item ?? parameter.Kind) switch
        {
            ParameterKind.Integer => "a whole number",
            ParameterKind.Number => "a number",
            ParameterKind.Vector => "three numbers",
            ParameterKind.Flag => "true or false",
            _ => "text",
        };
        if (parameter.Kind == ParameterKind.List)
            kind = $"a list, each {kind}";
        return (parameter.Minimum, parameter.Maximum) switch
        {
            (double low, double high) => FormattableString.Invariant($"{kind} from {low} to {high}"),
            (double low, null) => FormattableString.Invariant($"{kind}, at least {low}"),
            (null, double high) => FormattableString.Invariant($"{kind}, at most {high}"),
            _ => kind,
        };
    }

    private static string Scalar(YamlMappingNode map, string key, string where) =>
        map.Children.TryGetValue(key, out var node) && node is YamlScalarNode { Value: { Length: > 0 } value }
            ? value
            : throw new PlanException(where, Line(map), key, "missing", "text");

    internal static int Line(YamlNode node) => (int)Math.Max(1, node.Start.Line);

    internal static string Show(YamlNode node)
    {
        var text = node is YamlScalarNode scalar ? scalar.Value ?? "" : node.NodeType.ToString().ToLowerInvariant();
        return text.Length <= 60 ? text : string.Concat(text.AsSpan(0, 60), "…");
    }

    private sealed class NoAliasScanner(IScanner inner) : IScanner
    {
        public Mark CurrentPosition => inner.CurrentPosition;

        public YamlDotNet.Core.Tokens.Token? Current => inner.Current;

        public bool MoveNext() => Refuse(inner.MoveNext());

        public bool MoveNextWithoutConsuming() => Refuse(inner.MoveNextWithoutConsuming());

        public void ConsumeCurrent() => inner.ConsumeCurrent();

        private bool Refuse(bool moved) => inner.Current is YamlDotNet.Core.Tokens.AnchorAlias alias
            ? throw new YamlException(alias.Start, alias.End, "aliases are not allowed")
            : moved;
    }
}
