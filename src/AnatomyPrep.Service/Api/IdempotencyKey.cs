using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Service.Api;

/// <summary>The key by which what is sent twice is made once.</summary>
internal static class IdempotencyKey
{
    public const string Header = "Idempotency-Key";

    private const int Longest = 100;

    /// <exception cref="PlanException">Empty or too long.</exception>
    public static string? Checked(string? key) =>
        key is { Length: 0 or > Longest } ? throw new PlanException("request", null, Header, "too long", "1 to 100 characters") : key;
}
