using System.Diagnostics;
using System.Globalization;
using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// The parent's side of the reader child: gives it files, takes its answers, and survives whatever a file does to it.
/// </summary>
/// <remarks>
/// The child names each file before it opens it. A file that takes longer than <see cref="ReaderLimits.PerStep"/> is
/// known by its own clock: the child is killed, the file is quarantined, the others go on. When the child dies, every
/// open file is a suspect and is tried again alone: only a file that kills the child twice, the second time with nothing
/// beside it, is quarantined, so an innocent neighbour, or a child killed from outside, costs a repetition and no
/// slice. The child is kept between requests. Cancelling kills it within a tenth of a second.
/// </remarks>
internal sealed class ReaderProcess(ReaderCommand command, ReaderLimits limits, long largestFileBytes) : IDisposable
{
    /// <summary>The child may write files up to this size.</summary>
    public const long LargestVolumeBytes = 32L << 30;

    private const int LongestReplyBytes = 64 << 20;
    private const int MostFruitlessStarts = 3;
    private const string Source = "the source";
    private static readonly TimeSpan s_watch = TimeSpan.FromMilliseconds(50);

    private readonly byte[] _salt = RandomNumberGenerator.GetBytes(16);
    private SupervisedProcess? _child;
    private ReaderLineReader? _answers;

    /// <summary>Works through the items; the answer to each stands at its place. Item indices are 0, 1, 2 ….</summary>
    /// <exception cref="BadInputException">Too many files crash the child, or the whole takes too long.</exception>
    /// <exception cref="OperationCanceledException">The run was cancelled.</exception>
    public IReadOnlyList<ReaderReply> Run(ReaderTask task, IReadOnlyList<ReaderItem> items, string? outputPath, string phase, RunContext run)
    {
        var job = new Job(task, items, outputPath, phase, run, limits);
        var fruitless = 0;
        while (job.Waiting() is { Count: > 0 } waiting)
        {
            var before = waiting.Count;
            var suspects = Attempt(job, waiting, run.Threads);
            foreach (var suspect in suspects)
                if (Attempt(job, [suspect], 1).Count > 0)
                    job.Quarantine(suspect, FindingCodes.FileCrashedReader, "crashes the decoder");
            fruitless = job.Waiting().Count < before ? 0 : fruitless + 1;
            if (fruitless >= MostFruitlessStarts)
                throw new InvalidOperationException("The reader child ends before it reads a file.");
        }

        return job.Answers();
    }

    public void Dispose() => Drop();

    /// <summary>Runs one request; gives the files that were open when the child died, none when it lived or was killed for time.</summary>
    private List<int> Attempt(Job job, IReadOnlyList<int> indices, int threads)
    {
        job.ThrowIfOver();
        var child = Start(job.Items.Count);
        job.Begin(child);
        using var watch = new Timer(_ => job.Watch(), null, s_watch, s_watch);
        try
        {
            var request = new ReaderRequest(job.Task, threads, _salt, job.OutputPath, [.. indices.Select(i => job.Items[i])]);
            child.Input.Write(ReaderLine.Pack(request));
            child.Input.Flush();
            while (_answers!.Next() is { } json)
            {
                if (!job.Take(ReaderJson.ReadReply(json)))
                    return [];
            }
        }
        catch (Exception e) when (e is IOException or InvalidDataException)
        {
            // A dead child, or one that talks nonsense: both end the same way below.
        }

        Drop();
        return job.Open();
    }

    private SupervisedProcess Start(int files)
    {
        if (_child is not null)
            return _child;
        var memory = limits.MemoryBytes ?? ((1L << 30) + (3 * largestFileBytes));
        // Enough for a scan and a decoding that each use their whole time on every core.
        var processorTime = 2 * Job.WholeTime(limits, files) * Environment.ProcessorCount;
        var environment = new Dictionary<string, string>
        {
            ["DOTNET_GCHeapHardLimit"] = string.Create(CultureInfo.InvariantCulture, $"0x{memory:X}"),
            ["DOTNET_EnableDiagnostics"] = "0",
            ["DOTNET_TieredPGO"] = "0",
        };
        var kernel = new KernelLimits(memory, processorTime, LargestVolumeBytes);
        _child = new SupervisedProcess(command.FileName, command.Arguments, kernel, environment);
        _answers = new ReaderLineReader(_child.Output, LongestReplyBytes);
        return _child;
    }

    private void Drop()
    {
        _child?.Dispose();
        (_child, _answers) = (null, null);
    }

    /// <summary>The state of one request over all its attempts; shared with the watching timer.</summary>
    private sealed class Job(ReaderTask task, IReadOnlyList<ReaderItem> items, string? outputPath, string phase, RunContext run, ReaderLimits limits)
    {
        private readonly Lock _gate = new();
        private readonly ReaderReply?[] _answers = new ReaderReply?[items.Count];
        private readonly Dictionary<int, long> _open = [];
        private readonly long _begin = Stopwatch.GetTimestamp();
        private readonly int _steps = items.Sum(i => Math.Max(1, i.Slots?.Count ?? 1));
        private SupervisedProcess? _child;
        private long _heard;
        private int _stepsDone;
        private int _quarantined;
        private bool _timedOut;

        public ReaderTask Task => task;

        public IReadOnlyList<ReaderItem> Items => items;

        public string? OutputPath => outputPath;

        public static TimeSpan WholeTime(ReaderLimits limits, int files) => limits.Whole ?? TimeSpan.FromSeconds(60 + (0.5 * files));

        public List<int> Waiting()
        {
            lock (_gate)
                return [.. Enumerable.Range(0, items.Count).Where(i => _answers[i] is null)];
        }

        public ReaderReply[] Answers() => _answers!;

        public void Begin(SupervisedProcess child)
        {
            lock (_gate)
            {
                _open.Clear();
                (_child, _timedOut, _heard) = (child, false, Stopwatch.GetTimestamp());
            }
        }

        /// <summary>Notes one message; false when the request is finished.</summary>
        public bool Take(ReaderReply reply)
        {
            lock (_gate)
            {
                _heard = Stopwatch.GetTimestamp();
                if (reply.Index < 0)
                    return false;
                if (reply.Index >= items.Count || (reply.Final && !IsWhole(reply)))
                    throw new InvalidDataException("not an answer");
                if (_answers[reply.Index] is not null)
                    return true;
                if (reply.Final)
                {
                    _answers[reply.Index] = reply;
                    _open.Remove(reply.Index);
                }
                else
                {
                    _open[reply.Index] = Stopwatch.GetTimestamp();
                }

                _stepsDone += reply.Final ? Math.Max(1, items[reply.Index].Slots?.Count ?? 1) : 0;
            }

            run.Report("acquire", phase, (double)_stepsDone / Math.Max(1, _steps));
            return true;
        }

        /// <summary>The child has read hostile files, so its answers are not taken on trust either.</summary>
        private bool IsWhole(ReaderReply reply) => reply.Fault is not null || task switch
        {
            ReaderTask.Scan => reply is { Digest: not null, Scan: { Ct: not null } or { Fault: not null } },
            ReaderTask.Hash => reply.Sha256 is not null,
            ReaderTask.Identify => reply is { Digest: not null, Identifiers: not null },
            _ => reply.Sha256 is not null && reply.Slices?.Count == items[reply.Index].Slots!.Count,
        };

        /// <summary>Files open at the death of the child; none when it was killed on purpose.</summary>
        public List<int> Open()
        {
            run.ThrowIfCancelled();
            lock (_gate)
                return _timedOut ? [] : [.. _open.Keys.Order()];
        }

        public void Quarantine(int index, string code, string why)
        {
            lock (_gate)
            {
                _answers[index] = new ReaderReply(index, Final: true, Fault: new(code, "file", why, "Send this file again from its source, uncompressed if possible."));
                _quarantined++;
            }
        }

        /// <summary>Kills the child when the run is cancelled or a time limit has passed.</summary>
        public void Watch()
        {
            lock (_gate)
            {
                if (_child is null)
                    return;
                var silent = _open.Count == 0 && Stopwatch.GetElapsedTime(_heard) > LongestSilence;
                if (run.Cancellation.IsCancellationRequested || IsOver || silent)
                    _child.Kill();
                foreach (var (index, since) in _open)
                    if (Stopwatch.GetElapsedTime(since) > limits.PerStep && _answers[index] is null)
                        Expire(index);
            }
        }

        public void ThrowIfOver()
        {
            run.ThrowIfCancelled();
            if (IsOver)
                throw new BadInputException(Source, "reading time", string.Create(CultureInfo.InvariantCulture, $"longer than {WholeTime(limits, items.Count).TotalSeconds:F0} s"), "Give the folder of one series, on a local disk.");
            if (_quarantined > limits.MostCrashes)
                throw new BadInputException(Source, "files", FormattableString.Invariant($"{_quarantined} crash or hang the decoder"), "Ask for the series again, uncompressed.");
        }

        /// <summary>A child that has no file open has nothing to be slow at but its own start.</summary>
        private TimeSpan LongestSilence => TimeSpan.FromSeconds(20) + limits.PerStep;

        private bool IsOver => Stopwatch.GetElapsedTime(_begin) > WholeTime(limits, items.Count);

        private void Expire(int index)
        {
            _timedOut = true;
            _answers[index] = new ReaderReply(index, Final: true, Fault: new(
                FindingCodes.FileTimedOut,
                "file",
                string.Create(CultureInfo.InvariantCulture, $"takes the decoder longer than {limits.PerStep.TotalSeconds:0.#} s"),
                "Send this file again from its source, uncompressed if possible."));
            _quarantined++;
            _child!.Kill();
        }
    }
}
