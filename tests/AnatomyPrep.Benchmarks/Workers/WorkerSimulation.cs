namespace AnatomyPrep.Benchmarks.Workers;

/// <summary>What one job takes, as measured.</summary>
/// <param name="AloneSeconds">Of the clock that no processor shortens: starting, waiting for the disk.</param>
/// <param name="ProcessorSeconds">Of processor, all cores together.</param>
/// <param name="Cores">So many cores it can use at once, on average over its processor seconds.</param>
/// <param name="Megabytes">Peak memory of worker and reader.</param>
/// <param name="WriterSeconds">In which it holds the turn of the database's one writer, all its changes and ledger events together.</param>
public sealed record JobCost(double AloneSeconds, double ProcessorSeconds, double Cores, double Megabytes, double WriterSeconds);

/// <param name="Workers">Jobs at once on each machine, memory permitting.</param>
public sealed record Machines(int Count, int Workers, double Cores, double Megabytes);

/// <param name="Busy">Share of the time from the first arrival to the last end that each resource was in use: workers, cores, memory, writer.</param>
/// <param name="WaitSeconds">Of each job from its arrival to its start, in order of arrival.</param>
public sealed record ScaleResult(double Seconds, double JobsPerHour, IReadOnlyList<double> WaitSeconds, IReadOnlyDictionary<string, double> Busy)
{
    public double MeanWait => WaitSeconds.Average();

    public double Wait95 => WaitSeconds.Order().ElementAt((int)(0.95 * (WaitSeconds.Count - 1)));

    /// <summary>What is nearest to its limit.</summary>
    public string First => Busy.MaxBy(b => b.Value).Key;
}

/// <summary>Jobs in a queue before the workers of several machines that share cores and memory, with one database writer for all.</summary>
/// <remarks>
/// Method: discrete events. A job waits for a worker on a machine with memory left (the one with fewest running, then the first), spends its time alone,
/// then its processor seconds, then its turn at the writer, first come first served. Cores are shared in proportion to what each running job can use
/// (processor sharing). A pure function: arrivals are given. Cost: O(jobs · running).
/// </remarks>
public static class WorkerSimulation
{
    private const double Nothing = 1e-12;

    private enum Phase
    {
        Alone,
        Processor,
        Writer,
    }

    /// <param name="arrivals">Seconds, not falling.</param>
    public static ScaleResult Run(JobCost cost, Machines machines, IReadOnlyList<double> arrivals)
    {
        if (cost.Megabytes > machines.Megabytes)
            throw new ArgumentException("A job that no machine has the memory for never ends.", nameof(cost));
        var waits = new double[arrivals.Count];
        var running = new List<Running>();
        var writers = new Queue<Running>();
        var (now, next, started, ended) = (arrivals[0], 0, 0, 0);
        var (worker, core, memory, writer) = (0.0, 0.0, 0.0, 0.0);
        while (ended < arrivals.Count)
        {
            while (next < arrivals.Count && arrivals[next] <= now + Nothing)
                next++;
            for (; started < next && Free(cost, machines, running) is { } machine; started++)
            {
                waits[started] = now - arrivals[started];
                running.Add(new Running(machine, cost.AloneSeconds));
            }

            var (wanted, rates) = Rates(cost, machines, running, writers);
            var step = next < arrivals.Count ? arrivals[next] - now : double.PositiveInfinity;
            for (var i = 0; i < running.Count; i++)
                if (rates[i] > 0)
                    step = Math.Min(step, running[i].Left / rates[i]);
            worker += step * running.Count / (machines.Count * machines.Workers);
            core += step * wanted / (machines.Count * machines.Cores);
            memory += step * running.Count * cost.Megabytes / (machines.Count * machines.Megabytes);
            writer += writers.Count > 0 ? step : 0;
            now += step;
            for (var i = 0; i < running.Count; i++)
                running[i].Left -= step * rates[i];
            foreach (var job in running.Where(job => job.Left <= Nothing * Math.Max(1, now)).ToList())
            {
                if (job.Phase == Phase.Writer && writers.Peek() != job)
                    continue;
                if (!Advance(job, cost, writers))
                    continue;
                running.Remove(job);
                ended++;
            }
        }

        var seconds = now - arrivals[0];
        return new ScaleResult(seconds, arrivals.Count * 3600 / seconds, waits, new Dictionary<string, double>
        {
            ["workers"] = worker / seconds,
            ["cores"] = core / seconds,
            ["memory"] = memory / seconds,
            ["writer"] = writer / seconds,
        });
    }

    /// <summary>Into its next phase; true at its end.</summary>
    private static bool Advance(Running job, JobCost cost, Queue<Running> writers)
    {
        switch (job.Phase++)
        {
            case Phase.Alone:
                job.Left = cost.ProcessorSeconds;
                return false;
            case Phase.Processor:
                job.Left = cost.WriterSeconds;
                writers.Enqueue(job);
                return false;
            default:
                writers.Dequeue();
                return true;
        }
    }

    private static int? Free(JobCost cost, Machines machines, List<Running> running)
    {
        var most = Math.Min(machines.Workers, (int)(machines.Megabytes / cost.Megabytes));
        var counts = new int[machines.Count];
        foreach (var job in running)
            counts[job.Machine]++;
        var least = Array.IndexOf(counts, counts.Min());
        return counts[least] < most ? least : null;
    }

    /// <summary>How fast each running job comes on, and how many cores all use.</summary>
    private static (double Cores, double[] Rates) Rates(JobCost cost, Machines machines, List<Running> running, Queue<Running> writers)
    {
        var wanted = new double[machines.Count];
        foreach (var job in running.Where(j => j.Phase == Phase.Processor))
            wanted[job.Machine] += cost.Cores;
        var rates = running.Select(job => job.Phase switch
        {
            Phase.Alone => 1.0,
            Phase.Processor => cost.Cores * Math.Min(1, machines.Cores / wanted[job.Machine]),
            _ => writers.Peek() == job ? 1.0 : 0,
        }).ToArray();
        return (wanted.Sum(w => Math.Min(w, machines.Cores)), rates);
    }

    private sealed class Running(int machine, double left)
    {
        internal int Machine => machine;

        internal Phase Phase { get; set; }

        internal double Left { get; set; } = left;
    }
}
