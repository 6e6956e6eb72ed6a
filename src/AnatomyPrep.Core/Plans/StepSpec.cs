namespace AnatomyPrep.Core.Plans;

public enum Stage
{
    Acquire,
    Volume,
    Segment,
    Surface,
    Repair,
    Shape,
    Prepare,
    Verify,
    Record,
}

public enum ParameterKind
{
    Number,
    Integer,
    Text,
    Flag,

    /// <summary>Three numbers.</summary>
    Vector,

    /// <summary>A list of numbers, integers, vectors or texts; see <see cref="ParameterSpec.Item"/>.</summary>
    List,
}

/// <summary>One parameter of a step. The name carries the unit (Mm, Mm2, Mm3, Deg, Hu).</summary>
/// <param name="Default">Null means the plan must give it, unless <paramref name="Optional"/>.</param>
public sealed record ParameterSpec(
    string Name,
    ParameterKind Kind,
    string Description,
    object? Default = null,
    double? Minimum = null,
    double? Maximum = null,
    IReadOnlyList<string>? Choices = null,
    bool Optional = false,
    ParameterKind? Item = null);

/// <summary>One kind of step a plan may hold.</summary>
public sealed record StepSpec(string Name, Stage Stage, string Description, IReadOnlyList<ParameterSpec> Parameters)
{
    /// <summary>After it the model lies elsewhere than its source, or has another size.</summary>
    public bool MovesModel { get; init; }
}
