using System.Globalization;
using System.Text.Json.Nodes;
using YamlDotNet.Core;
using YamlDotNet.RepresentationModel;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A plan as JSON, for programs that edit plans. JSON is YAML as well, so what they send back is read as any plan is.</summary>
internal static class PlanJson
{
    /// <param name="plan">A plan that was read and found right.</param>
    public static JsonNode Of(PlanText plan) => Of(PlanReader.Parse(plan.Yaml, plan.Plan.Name));

    public static JsonNode Of(YamlMappingNode map) => Node(map)!;

    private static JsonNode? Node(YamlNode node) => node switch
    {
        YamlMappingNode map => new JsonObject(map.Children.Select(c => KeyValuePair.Create(((YamlScalarNode)c.Key).Value!, Node(c.Value)))),
        YamlSequenceNode list => new JsonArray([.. list.Children.Select(Node)]),
        YamlScalarNode scalar => Scalar(scalar),
        _ => null,
    };

    // Quoted scalars are text, whatever they look like: version "2" stays so.
    private static JsonValue Scalar(YamlScalarNode scalar)
    {
        var text = scalar.Value ?? "";
        if (scalar.Style is not ScalarStyle.Plain)
            return JsonValue.Create(text);
        if (text is "true" or "false")
            return JsonValue.Create(text == "true");
        return double.TryParse(text, NumberStyles.Float, CultureInfo.InvariantCulture, out var number) && double.IsFinite(number) ? JsonValue.Create(number) : JsonValue.Create(text);
    }
}
