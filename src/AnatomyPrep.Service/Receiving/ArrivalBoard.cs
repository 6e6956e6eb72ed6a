namespace AnatomyPrep.Service.Receiving;

/// <summary>How many associations are open: a series is not complete while its sender still speaks.</summary>
internal sealed class ArrivalBoard
{
    private int _open;

    public int Open => Volatile.Read(ref _open);

    public void Begin() => Interlocked.Increment(ref _open);

    public void End() => Interlocked.Decrement(ref _open);
}
