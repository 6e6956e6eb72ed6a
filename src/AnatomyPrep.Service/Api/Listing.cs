using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Service.Api;

/// <summary>How much of a list is given at once.</summary>
internal static class Listing
{
    public const int Usual = 50;
    private const int Most = 500;

    /// <exception cref="PlanException">Out of range.</exception>
    public static int Limit(int asked) => asked is >= 1 and <= Most ? asked : throw new PlanException("list", null, "limit", "not allowed", "1 to 500");

    /// <summary>A state by its word, as answers write it; null for all.</summary>
    /// <exception cref="PlanException">Not a state.</exception>
    public static T? State<T>(string? word)
        where T : struct, Enum => word is null
            ? null
            : word.All(char.IsAsciiLetter) && Enum.TryParse<T>(word, ignoreCase: true, out var state)
                ? state
                : throw new PlanException("list", null, "state", "not allowed", string.Join(", ", Enum.GetNames<T>().Select(n => n.ToLowerInvariant())));
}
