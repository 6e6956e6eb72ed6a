using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Core.Running;

/// <summary>Refuses a step before it allocates when its stated peak would not fit.</summary>
public sealed class MemoryBudget(long limitBytes)
{
    public static MemoryBudget Unlimited { get; } = new(long.MaxValue);

    public long LimitBytes { get; } = limitBytes;

    /// <exception cref="BadInputException">The step needs more than the limit.</exception>
    public void Require(string step, long bytes, string remedy)
    {
        if (bytes > LimitBytes)
            throw new BadInputException(step, "memory", FormattableString.Invariant($"{bytes / 1e9:F2} GB of {LimitBytes / 1e9:F2} GB"), remedy);
    }
}
