namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>A clock that stands still until it is set, and can tick at every question.</summary>
internal sealed class TestClock(TimeSpan tick = default) : TimeProvider
{
    public DateTimeOffset Now { get; set; } = new(2026, 3, 2, 8, 0, 0, TimeSpan.Zero);

    /// <summary>What every question adds.</summary>
    public TimeSpan Tick { get; set; } = tick;

    public override DateTimeOffset GetUtcNow() => Now += Tick;
}
