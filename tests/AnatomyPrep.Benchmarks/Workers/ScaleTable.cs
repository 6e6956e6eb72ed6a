using System.Globalization;

namespace AnatomyPrep.Benchmarks.Workers;

/// <summary>Prints what docs/operations/scale.md reports.</summary>
internal static class ScaleTable
{
    private const int JobsPerWorker = 50;
    private const double Load = 0.7;

    public static int Run(double[] cost)
    {
        var job = new JobCost(cost[0], cost[1], cost[2], cost[3], cost[4]);
        foreach (var (name, of) in new (string, Func<int, Machines>)[]
        {
            ("one machine, 2 cores, 8 GB", workers => new Machines(1, workers, 2, 8192)),
            ("one machine, 16 cores, 64 GB", workers => new Machines(1, workers, 16, 65536)),
            ("a machine of 2 cores, 8 GB each", workers => new Machines(workers, 1, 2, 8192)),
        })
        {
            Console.WriteLine($"| {name} | models an hour | a day | busy: workers, cores, memory, writer | at its limit | mean wait at 70 % load, s | 95 % wait less than, s |");
            Console.WriteLine("|---|---|---|---|---|---|---|");
            foreach (var workers in new[] { 1, 4, 16 })
                Console.WriteLine(Row(job, of(workers), workers));
            Console.WriteLine();
        }

        return 0;
    }

    private static string Row(JobCost job, Machines machines, int workers)
    {
        var full = WorkerSimulation.Run(job, machines, new double[JobsPerWorker * workers]);
        var random = new Random(7);
        var (at, arrivals) = (0.0, new double[200 * JobsPerWorker]);
        for (var i = 0; i < arrivals.Length; i++)
            arrivals[i] = at += -Math.Log(1 - random.NextDouble()) * 3600 / (full.JobsPerHour * Load);
        var usual = WorkerSimulation.Run(job, machines, arrivals);
        var busy = string.Join(", ", full.Busy.Select(b => b.Value.ToString("P0", CultureInfo.InvariantCulture)));
        // Workers are always busy in a full queue; what keeps more of them from helping is what is next.
        var first = full.Busy.Where(b => b.Key != "workers").MaxBy(b => b.Value) is var (key, value) && value > 0.9 ? key : "workers";
        return string.Create(CultureInfo.InvariantCulture, $"| {workers} workers | {full.JobsPerHour:F0} | {full.JobsPerHour * 24:F0} | {busy} | {first} | {usual.MeanWait:F1} | {usual.Wait95:F1} |");
    }
}
