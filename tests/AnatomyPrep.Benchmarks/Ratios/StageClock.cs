using System.Diagnostics;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>Time, processor's time and peak resident memory of every stage a run reports.</summary>
internal sealed class StageClock : IProgress<RunProgress>
{
    private readonly Lock _gate = new();
    private readonly Stopwatch _watch = Stopwatch.StartNew();
    private readonly List<(string Stage, double Seconds, double Processor, double PeakMb)> _done = [];
    private string _stage = "import";
    private (double Seconds, double Processor) _begun;

    public void Report(RunProgress value)
    {
        // Loops report fractions from many threads; only a new name is a new stage.
        var stage = $"{value.Step}: {value.Phase}";
        lock (_gate)
        {
            if (stage != _stage)
                Begin(stage);
        }
    }

    public void Print()
    {
        Begin("end");
        Console.WriteLine("| stage | s | processor, s | peak, MB |");
        Console.WriteLine("|---|---|---|---|");
        foreach (var (stage, seconds, processor, peakMb) in _done.Where(d => d.Seconds >= 0.02))
            Console.WriteLine(FormattableString.Invariant($"| {stage} | {seconds:F2} | {processor:F2} | {peakMb:F0} |"));
        Console.WriteLine(FormattableString.Invariant($"| whole | {_done.Sum(d => d.Seconds):F2} | {_done.Sum(d => d.Processor):F2} | {_done.Max(d => d.PeakMb):F0} |"));
    }

    private void Begin(string stage)
    {
        var now = (_watch.Elapsed.TotalSeconds, Environment.CpuUsage.TotalTime.TotalSeconds);
        _done.Add((_stage, now.Item1 - _begun.Seconds, now.Item2 - _begun.Processor, OwnStage.Resident("VmHWM")));
        // Peak memory counts from here again.
        File.WriteAllText("/proc/self/clear_refs", "5");
        (_stage, _begun) = (stage, now);
    }
}
