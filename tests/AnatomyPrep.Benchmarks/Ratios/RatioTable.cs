using System.Diagnostics;
using System.Globalization;
using System.Text;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>Every stage of ours beside the same work in a reference library, alternately, in one run on one machine.</summary>
internal static class RatioTable
{
    private const int Rounds = 3;

    // The reference programs lie in shared/reference beside the checkout; ANATOMYPREP_SHARED names another place.
    private static readonly string s_reference = Path.Combine(
        Environment.GetEnvironmentVariable("ANATOMYPREP_SHARED") ?? Path.Combine(Directory.GetCurrentDirectory(), "..", "shared"), "reference");

    public static int Run(string[] args)
    {
        if (args.Length == 0 || !File.Exists(Path.Combine(s_reference, "bench_vtk.py")))
        {
            Console.Error.WriteLine("usage: ratios WORKDIR [SIZE=512x512x256] [REPEATS=3] [STAGE,...], with shared/reference beside the checkout or ANATOMYPREP_SHARED set");
            return 2;
        }

        var work = Path.GetFullPath(args[0]);
        var size = args.Length > 1 ? args[1] : "512x512x256";
        var repeats = args.Length > 2 ? args[2] : "3";
        var chosen = args.Length > 3 ? args[3].Split(',') : null;
        var sidecar = Prepare(work, size);
        var rows = new List<string>();
        foreach (var (own, reference, program, what) in Stages.Pairs.Where(p => chosen?.Contains(p.Own) ?? true))
        {
            var pairs = Enumerable.Range(0, Rounds)
                .Select(_ => (Ours: OwnStageResult(own, sidecar, repeats), Theirs: ReferenceResult(reference, program, work, sidecar, repeats)))
                .Where(p => p.Ours is not null && p.Theirs is not null)
                .Select(p => (Ours: p.Ours!, Theirs: p.Theirs!))
                .OrderBy(p => p.Ours.Seconds / p.Theirs.Seconds)
                .ToArray();
            rows.Add(pairs.Length == 0 ? $"| {what} | not run | | | | |" : Row(what, reference, pairs[pairs.Length / 2]));
            Console.WriteLine(rows[^1]);
        }

        File.WriteAllText(Path.Combine(work, "ratios.md"), Table(size, rows));
        return 0;
    }

    private static string Prepare(string work, string size)
    {
        Directory.CreateDirectory(work);
        var sidecar = Path.Combine(work, $"phantom_{size}.json");
        if (!File.Exists(sidecar))
            Start("/usr/bin/python3", Path.Combine(s_reference, "make_phantom.py"), work, size);
        using var phantom = new PhantomVolume(sidecar);
        if (!File.Exists(phantom.ReferenceMeshPath) || !File.Exists(phantom.ReferenceSurfacePath))
            Start("/usr/bin/python3", Path.Combine(s_reference, "bench_vtk.py"), sidecar, "--repeat", "1", "--only", "flying_edges,largest_component,windowed_sinc_20,quadric_decimation_to_200k,stl_write");
        return sidecar;
    }

    private static StageResult? OwnStageResult(string name, string sidecar, string repeats) =>
        StageResult.Parse(Start(Environment.ProcessPath!, OwnArguments(["stage", name, sidecar, repeats])));

    // Started as `dotnet X.dll` the process is dotnet itself; started from its own executable it is that.
    private static string[] OwnArguments(string[] arguments) =>
        Path.GetFileNameWithoutExtension(Environment.ProcessPath) == "dotnet" ? [typeof(RatioTable).Assembly.Location, .. arguments] : arguments;

    private static StageResult? ReferenceResult(string stage, string program, string work, string sidecar, string repeats)
    {
        if (program == "vtk")
            return StageResult.Parse(Start("/usr/bin/python3", Path.Combine(s_reference, "bench_vtk.py"), sidecar, "--repeat", repeats, "--only", stage));
        using var phantom = new PhantomVolume(sidecar);
        string[] Numbers(IEnumerable<double> values) => [.. values.Select(v => v.ToString(CultureInfo.InvariantCulture))];
        var executable = Path.Combine(work, "build", program == "cgal" ? "bench_cgal" : "bench_itk");
        if (!File.Exists(executable))
            return null;
        return program == "cgal"
            ? StageResult.Parse(Start(executable, phantom.ReferenceMeshPath, repeats, stage))
            : StageResult.Parse(Start(executable, [phantom.RawPath, .. Numbers(phantom.Size.Select(s => (double)s)), .. Numbers(phantom.SpacingMm), phantom.DicomFolder ?? "-", repeats, stage]));
    }

    private static string Start(string program, params string[] arguments)
    {
        var start = new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true, RedirectStandardError = true };
        using var process = Process.Start(start)!;
        process.ErrorDataReceived += (_, _) => { };
        process.BeginErrorReadLine();
        var output = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        return output;
    }

    private static string Row(string what, string reference, (StageResult Ours, StageResult Theirs) p) => FormattableString.Invariant(
        $"| {what} | {p.Ours.Seconds:F3} | {p.Theirs.Seconds:F3} ({reference}) | {p.Ours.Seconds / p.Theirs.Seconds:F2} | {p.Ours.PeakMb - p.Ours.BaseMb:F0} | {p.Theirs.PeakMb - p.Theirs.BaseMb:F0} |");

    private static string Table(string size, IEnumerable<string> rows) => new StringBuilder()
        .AppendLine(CultureInfo.InvariantCulture, $"Volume {size}, {Environment.ProcessorCount} processors; median of {Rounds} alternating rounds. Memory is the stage's own, beyond its input.")
        .AppendLine()
        .AppendLine("| stage | ours, s | reference, s | ratio | ours, MB | reference, MB |")
        .AppendLine("|---|---|---|---|---|---|")
        .AppendJoin('\n', rows)
        .AppendLine()
        .ToString();
}
