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
}
