using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// A second opinion on the structure of files, by DCMTK's dcmdump: a file must satisfy both it and
/// <see cref="HeaderWalker"/> before its pixels are decoded.
/// </summary>
/// <remarks>
/// One process for up to 100 files, because start-up (9 ms) costs more than the reading (0.5 ms a file); a batch that
/// fails is halved until the guilty files stand alone. dcmdump's exit code is the *number* of failures, so a batch must
/// stay well under 256, or it could wrap round to success. Batches run in parallel under kernel limits and a time limit.
/// </remarks>
internal sealed class StructureGate(ReaderLimits limits)
{
    private const int BatchFiles = 100;
    private const long MemoryBytes = 512L << 20;

    /// <summary>What prlimit(1) ends with when there is no such program; more than the files of a batch, so no count of failures.</summary>
    private const int CannotStart = 127;

    /// <summary>One entry per path: null, or why it is refused.</summary>
    public IReadOnlyList<Fault?> Check(IReadOnlyList<string> paths, RunContext run)
    {
        var faults = new Fault?[paths.Count];
        // Batches of one length, a whole number of them for every thread: what they answer does not depend on it.
        var batches = run.Threads * Math.Max(1, Partition.Pieces(paths.Count, BatchFiles * run.Threads));
        Partition.Ranges(run, paths.Count, Math.Max(1, Partition.Pieces(paths.Count, batches)), (_, start, end) => Check(paths, start, end, faults, run));
        return faults;
    }

    private void Check(IReadOnlyList<string> paths, int start, int end, Fault?[] faults, RunContext run)
    {
        run.ThrowIfCancelled();
        if (Accepts(paths.Skip(start).Take(end - start), run))
            return;
        if (end - start == 1)
        {
            faults[start] = new(FindingCodes.FileUnreadable, "file", "its structure is damaged (rejected by dcmdump)", "Send this file again from its source.");
            return;
        }

        var middle = (start + end) / 2;
        Check(paths, start, middle, faults, run);
        Check(paths, middle, end, faults, run);
    }

    private bool Accepts(IEnumerable<string> paths, RunContext run)
    {
        // -M leaves pixel data on disk but still checks that it is there; one short tag is printed and thrown away.
        using var dump = new SupervisedProcess(
            "dcmdump",
            ["-q", "-M", "+P", "0008,0016", .. paths],
            new KernelLimits(MemoryBytes, limits.PerStep, FileBytes: 0));
        dump.Input.Close();
        using var cancelling = run.Cancellation.Register(dump.Kill);
        using var watch = new Timer(_ => dump.Kill(), null, limits.PerStep, Timeout.InfiniteTimeSpan);
        dump.Output.CopyTo(Stream.Null);
        var code = dump.WaitForExit();
        run.ThrowIfCancelled();
        return code == CannotStart ? throw new InvalidOperationException("dcmdump cannot be started: install the package dcmtk.") : code == 0;
    }
}
