using System.Text.Json.Nodes;
using AnatomyPrep.Core.Plans;

namespace AnatomyPrep.App.Pipeline;

/// <summary>The JSON Schema (2020-12) of plans, made from the step catalogue so that the two cannot disagree.</summary>
internal static class PlanSchema
{
    public static JsonObject Create(StepCatalog catalog) => new()
    {
        ["$schema"] = "https://json-schema.org/draft/2020-12/schema",
        ["title"] = "AnatomyPrep plan",
        ["description"] = "An ordered list of steps. Models are for education and planning only.",
        ["type"] = "object",
        ["additionalProperties"] = false,
        ["required"] = new JsonArray("plan", "version"),
        ["anyOf"] = new JsonArray(new JsonObject { ["required"] = new JsonArray("steps") }, new JsonObject { ["required"] = new JsonArray("structures") }),
        ["properties"] = new JsonObject
        {
            ["plan"] = new JsonObject { ["type"] = "string", ["minLength"] = 1 },
            ["version"] = new JsonObject { ["type"] = new JsonArray("string", "number"), ["minLength"] = 1 },
            ["description"] = new JsonObject { ["type"] = "string" },
            [LandmarkReader.Key] = Landmarks(),
            ["printProfile"] = new JsonObject { ["type"] = "object" },
            ["steps"] = Steps(catalog.Specs),
            ["structures"] = new JsonObject
            {
                ["type"] = "array",
                ["minItems"] = 1,
                ["description"] = "Solids that each go on from the steps above. What two hold goes to the first.",
                ["items"] = new JsonObject
                {
                    ["type"] = "object",
                    ["additionalProperties"] = false,
                    ["required"] = new JsonArray("name", "steps"),
                    ["properties"] = new JsonObject
                    {
                        ["name"] = new JsonObject { ["type"] = new JsonArray("string", "number"), ["minLength"] = 1, ["pattern"] = "[A-Za-z0-9]" },
                        ["colour"] = new JsonObject { ["type"] = "string", ["pattern"] = "^#[0-9A-Fa-f]{6}$" },
                        ["side"] = new JsonObject { ["enum"] = new JsonArray([.. PlanReader.Sides.Select(s => (JsonNode)s)]) },
                        ["steps"] = Steps(catalog.Specs.Where(PlanReader.IsForStructures)),
                    },
                },
            },
        },
    };

    private static JsonObject Landmarks() => new()
    {
        ["type"] = "object",
        ["description"] = "Named points on the images (LPS, mm), and the distances and angles measured between them on images and model; an angle's vertex stands in the middle.",
        ["additionalProperties"] = false,
        ["required"] = new JsonArray("points"),
        ["properties"] = new JsonObject
        {
            ["points"] = new JsonObject
            {
                ["type"] = "object",
                ["minProperties"] = 1,
                ["propertyNames"] = new JsonObject { ["minLength"] = 1, ["maxLength"] = LandmarkReader.LongestName },
                ["additionalProperties"] = ListOf(3, new JsonObject { ["type"] = "number", ["minimum"] = -LandmarkReader.FarMm, ["maximum"] = LandmarkReader.FarMm }, different: false),
            },
            ["distances"] = new JsonObject { ["type"] = "array", ["items"] = ListOf(2, PointName(), different: true) },
            ["angles"] = new JsonObject { ["type"] = "array", ["items"] = ListOf(3, PointName(), different: true) },
        },
    };

    private static JsonObject ListOf(int count, JsonObject items, bool different) => new()
    {
        ["type"] = "array",
        ["items"] = items,
        ["minItems"] = count,
        ["maxItems"] = count,
        ["uniqueItems"] = different,
    };

    // Plain 1 is a number to whoever reads YAML by its types.
    private static JsonObject PointName() => new() { ["type"] = new JsonArray("string", "number") };

    private static JsonObject Steps(IEnumerable<StepSpec> specs) => new()
    {
        ["type"] = "array",
        ["minItems"] = 1,
        ["items"] = new JsonObject { ["oneOf"] = new JsonArray([.. specs.SelectMany(Forms)]) },
    };

    // A step is a mapping from its name to its parameters; a step that needs none may stand as a bare name.
    private static IEnumerable<JsonNode> Forms(StepSpec spec)
    {
        var required = spec.Parameters.Where(p => p.Default is null && !p.Optional).Select(p => (JsonNode)p.Name).ToArray();
        var body = new JsonObject
        {
            ["type"] = "object",
            ["additionalProperties"] = false,
            ["properties"] = new JsonObject(spec.Parameters.Select(p => KeyValuePair.Create(p.Name, (JsonNode?)Parameter(p)))),
        };
        if (required.Length > 0)
            body["required"] = new JsonArray(required);
        var form = new JsonObject
        {
            ["type"] = "object",
            ["description"] = spec.Description,
            ["additionalProperties"] = false,
            ["required"] = new JsonArray(spec.Name),
            ["properties"] = new JsonObject { [spec.Name] = body },
        };
        // Notes to who edits plans: where a new step belongs, and after which the model is not where the images are.
        form["x-stage"] = spec.Stage.ToString().ToLowerInvariant();
        if (spec.MovesModel)
            form["x-movesModel"] = true;
        yield return form;
        if (required.Length == 0)
            yield return new JsonObject { ["const"] = spec.Name };
    }

    private static JsonObject Parameter(ParameterSpec p)
    {
        var schema = Kind(p.Kind, p);
        schema["description"] = p.Description;
        if (p.Default is double or int or string or bool)
            schema["default"] = JsonValue.Create(p.Default);
        return schema;
    }

    private static JsonObject Kind(ParameterKind kind, ParameterSpec p)
    {
        var schema = new JsonObject();
        switch (kind)
        {
            case ParameterKind.Vector:
                schema["type"] = "array";
                schema["items"] = new JsonObject { ["type"] = "number" };
                schema["minItems"] = 3;
                schema["maxItems"] = 3;
                return schema;
            case ParameterKind.List:
                schema["type"] = "array";
                schema["items"] = Kind(p.Item!.Value, p);
                return schema;
            case ParameterKind.Text:
                schema["type"] = "string";
                if (p.Choices is not null)
                    schema["enum"] = new JsonArray([.. p.Choices.Select(c => (JsonNode)c)]);
                return schema;
            case ParameterKind.Flag:
                schema["type"] = "boolean";
                return schema;
            default:
                schema["type"] = kind == ParameterKind.Integer ? "integer" : "number";
                if (p.Minimum is double low)
                    schema["minimum"] = low;
                if (p.Maximum is double high)
                    schema["maximum"] = high;
                return schema;
        }
    }
}
