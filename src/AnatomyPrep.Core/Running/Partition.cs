namespace AnatomyPrep.Core.Running;

/// <summary>
/// The only place that starts threads. Work is cut into pieces by size, never by the number of cores; a piece writes
/// only what is its own, and the caller merges in piece order, so every thread count gives the same bytes.
/// </summary>
public static class Partition
{
    /// <summary>Runs <paramref name="piece"/> for 0 … pieces-1, on up to <see cref="RunContext.Threads"/> threads.</summary>
    /// <exception cref="OperationCanceledException">Asked before every piece.</exception>
    public static void For(RunContext run, int pieces, Action<int> piece)
    {
        if (run.Threads == 1 || pieces < 2)
        {
            for (var i = 0; i < pieces; i++)
            {
                run.ThrowIfCancelled();
                piece(i);
            }

            return;
        }

        try
        {
            Parallel.For(0, pieces, new ParallelOptions { MaxDegreeOfParallelism = run.Threads, CancellationToken = run.Cancellation }, piece);
        }
        catch (AggregateException e)
        {
            // One cause, as on a single thread: the first failure, with its own stack.
            System.Runtime.ExceptionServices.ExceptionDispatchInfo.Capture(e.InnerExceptions[0]).Throw();
        }
    }

    /// <summary>Number of pieces of at most <paramref name="pieceSize"/> that cover <paramref name="count"/>.</summary>
    public static int Pieces(long count, int pieceSize) => checked((int)((count + pieceSize - 1) / pieceSize));

    /// <summary>Runs over ranges [start, end) of at most <paramref name="pieceSize"/> elements.</summary>
    public static void Ranges(RunContext run, int count, int pieceSize, Action<int, int, int> range) =>
        For(run, Pieces(count, pieceSize), p => range(p, p * pieceSize, Math.Min(count, (p + 1) * pieceSize)));
}
