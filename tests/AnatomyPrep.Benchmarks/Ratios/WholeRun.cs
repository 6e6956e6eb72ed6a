using System.Diagnostics;
using System.Globalization;
using AnatomyPrep.App;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Statements;
using Microsoft.Extensions.Logging.Abstractions;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>A whole prepare, from the source to the signed record, with the time, the processor's time and the peak memory of every stage.</summary>
internal static class WholeRun
{
    public static int Run(string source, string plan)
    {
        var home = Directory.CreateTempSubdirectory("whole");
        try
        {
            var bench = new Workbench(new AppFolders(home.FullName), StepCatalog.Create(), TimeProvider.System);
            var text = bench.Plans.Load(plan);
            using var folder = OutputFolder.Create(Path.Combine(home.FullName, "out"));
            var stages = new StageClock();
            var run = new RunContext(stages);
            using var loaded = new SourceLoader(bench.Folders).Load(new SourceRequest(source), run);
            var request = new RunRequest(Purpose.Education, text.Plan.Name, 1);
            var made = new RunRecorder(bench, NullLogger.Instance).Run(loaded, text, request, folder, run);
            stages.Print();
            Console.WriteLine(FormattableString.Invariant($"{made.Facts.Measurements.Mesh.Triangles} triangles; peak {OwnStage.Resident("VmHWM"):F0} MB in the last stage"));
            return 0;
        }
        finally
        {
            home.Delete(recursive: true);
        }
    }

    private sealed class StageClock : IProgress<RunProgress>
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
}
