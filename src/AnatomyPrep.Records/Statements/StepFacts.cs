using System.Text.Json.Nodes;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Records.Statements;

/// <summary>One step as it was run: its parameters with defaults filled in, and what it did.</summary>
public sealed record StepFacts(string Name, Stage Stage, JsonObject Parameters, StepEffect Effect)
{
    /// <summary>Name of the structure the step worked on; null where it worked on all, or where there is one model.</summary>
    public string? Structure { get; init; }

    /// <summary>Takes the parameters over from a plan step; those without a value are left out.</summary>
    /// <exception cref="ArgumentException">A parameter of a type that plans do not have.</exception>
    public static StepFacts Of(PlanStep step, Stage stage, StepEffect effect)
    {
        var parameters = new JsonObject();
        foreach (var (name, value) in step.Parameters.OrderBy(p => p.Key, StringComparer.Ordinal))
            if (value is not null)
                parameters.Add(name, ToJson(name, value));
        return new StepFacts(step.Name, stage, parameters, effect);
    }

    private static JsonNode ToJson(string name, object value) => value switch
    {
        double number => JsonValue.Create(number),
        int integer => JsonValue.Create(integer),
        string text => JsonValue.Create(text),
        bool flag => JsonValue.Create(flag),
        Vec3 vector => new JsonArray(vector.X, vector.Y, vector.Z),
        IReadOnlyList<object> items => new JsonArray([.. items.Select(item => ToJson(name, item))]),
        _ => throw new ArgumentException($"Parameter {name} has the type {value.GetType().Name}, which a record cannot hold.", nameof(value)),
    };
}
