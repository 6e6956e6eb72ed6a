using System.Diagnostics;
using System.Globalization;
using System.Text.Json;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>Runs one stage of ours a few times in a process of its own and prints median time and peak memory as JSON.</summary>
internal static class OwnStage
{
    // Two runs let the just-in-time compiler finish, as the reference programs are compiled ahead, and the heap grow.
    private const int WarmUps = 2;

    public static int Run(string name, string sidecar, int repeats)
    {
        using var volume = new PhantomVolume(sidecar);
        using var stage = Stages.Create(name, volume);
        for (var i = 0; i < WarmUps; i++)
            stage.Work();
        GC.Collect();
        File.WriteAllText("/proc/self/clear_refs", "5");
        var before = Resident("VmRSS");
        var seconds = new double[repeats];
        for (var i = 0; i < repeats; i++)
        {
            var watch = Stopwatch.StartNew();
            stage.Work();
            seconds[i] = watch.Elapsed.TotalSeconds;
        }

        Array.Sort(seconds);
        Console.WriteLine(JsonSerializer.Serialize(new { stage = name, seconds = seconds[repeats / 2], peak_mb = Resident("VmHWM"), base_mb = before }));
        return 0;
    }

    internal static double Resident(string field)
    {
        var line = File.ReadLines("/proc/self/status").First(l => l.StartsWith(field + ":", StringComparison.Ordinal));
        return double.Parse(line.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries)[1], CultureInfo.InvariantCulture) / 1024;
    }
}
