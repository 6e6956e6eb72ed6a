using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Service.Api;

/// <summary>How much of a list is given at once.</summary>
internal static class Listing
{
    public const int Usual = 50;
    private const int Most = 500;

    /// <exception cref="PlanException">Out of range.</exception>
    public static int Limit(int asked) => asked is >= 1 and <= Most ? asked : throw new PlanException("list", null, "limit", "not allowed", "1 to 500");
}
