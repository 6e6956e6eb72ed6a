using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Core.Plans;

/// <summary>An ordered list of steps; with a source it is all that is needed to make the model again.</summary>
/// <param name="Steps">For a plan with structures those that come before all of them, perhaps none.</param>
public sealed record Plan(string Name, string Version, string Description, IReadOnlyList<PlanStep> Steps)
{
    /// <summary>Solids that each go on from <see cref="Steps"/>, in order of precedence; empty for a plan of one model.</summary>
    public IReadOnlyList<PlanStructure> Structures { get; init; } = [];
}

/// <summary>One step with every parameter filled in (defaults included) and checked against its <see cref="StepSpec"/>.</summary>
/// <param name="Line">Line in the YAML text, for messages; 1-based.</param>
public sealed record PlanStep(string Name, IReadOnlyDictionary<string, object?> Parameters, int? Line = null)
{
    public double Number(string name) => (double)Required(name);

    public int Integer(string name) => (int)Required(name);

    public string Text(string name) => (string)Required(name);

    public bool Flag(string name) => (bool)Required(name);

    public Vec3 Vector(string name) => (Vec3)Required(name);

    /// <summary>Null where the plan left it out.</summary>
    public double? NumberOrNull(string name) => Has(name) ? Number(name) : null;

    /// <summary>Null where the plan left it out.</summary>
    public Vec3? VectorOrNull(string name) => Has(name) ? Vector(name) : null;

    public IReadOnlyList<object> List(string name) => (IReadOnlyList<object>)Required(name);

    public bool Has(string name) => Parameters.TryGetValue(name, out var value) && value is not null;

    private object Required(string name) =>
        Parameters.TryGetValue(name, out var value) && value is not null
            ? value
            : throw new InvalidOperationException($"Step {Name} was built without its parameter {name}.");
}
