using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Core.Plans;

/// <summary>One of several solids of a plan.</summary>
/// <param name="Name">As people call it; unique in the plan, also as <see cref="FileName"/>.</param>
/// <param name="Side">left, right, both or midline; null where sides do not apply.</param>
public sealed record PlanStructure(string Name, Rgb Colour, string? Side, IReadOnlyList<PlanStep> Steps)
{
    /// <summary>The name in lower-case letters, digits and single hyphens, for files.</summary>
    public string FileName { get; } = ToFileName(Name);

    private static string ToFileName(string name)
    {
        var parts = string.Concat(name.Select(c => char.IsAsciiLetterOrDigit(c) ? char.ToLowerInvariant(c) : ' ')).Split(' ', StringSplitOptions.RemoveEmptyEntries);
        return string.Join('-', parts);
    }
}
