namespace AnatomyPrep.Core.Running;

/// <summary>What a step is run with: cancellation, progress, threads, memory budget. Never changes a result.</summary>
public sealed class RunContext
{
    public RunContext(
        IProgress<RunProgress>? progress = null,
        int? threads = null,
        MemoryBudget? memory = null,
        CancellationToken cancellation = default)
    {
        Cancellation = cancellation;
        Progress = progress;
        Threads = Math.Max(1, threads ?? Environment.ProcessorCount);
        Memory = memory ?? MemoryBudget.Unlimited;
    }

    public static RunContext Default { get; } = new();

    public CancellationToken Cancellation { get; }

    public IProgress<RunProgress>? Progress { get; }

    public int Threads { get; }

    public MemoryBudget Memory { get; }

    public void Report(string step, string phase, double fraction) =>
        Progress?.Report(new RunProgress(step, phase, Math.Clamp(fraction, 0, 1)));

    public void ThrowIfCancelled() => Cancellation.ThrowIfCancellationRequested();
}

/// <summary>How far a step is: 0 to 1 within the named phase.</summary>
public readonly record struct RunProgress(string Step, string Phase, double Fraction);
