using AnatomyPrep.Benchmarks.Workers;

namespace AnatomyPrep.Tests.Benchmarks;

/// <summary>The simulation of docs/operations/scale.md against what queues are known to do.</summary>
[Trait("Kind", "Truth")]
public sealed class WorkerSimulationTests
{
    private static readonly Machines s_one = new(1, 1, 2, 8000);

    [Fact]
    public void One_worker_does_one_after_the_other()
    {
        var result = WorkerSimulation.Run(new JobCost(2, 6, 2, 600, 1), s_one, new double[10]);
        // 2 s alone, 6 s of processor on two cores, 1 s at the writer.
        result.Seconds.Should().BeApproximately(60, 1e-9);
        result.JobsPerHour.Should().BeApproximately(600, 1e-6);
        result.WaitSeconds.Should().SatisfyRespectively(Enumerable.Range(0, 10).Select<int, Action<double>>(i => w => w.Should().BeApproximately(6 * i, 1e-9)));
        result.Busy["cores"].Should().BeApproximately(0.5, 1e-9);
        result.Busy["workers"].Should().BeApproximately(1, 1e-9);
        result.Busy["writer"].Should().BeApproximately(1.0 / 6, 1e-9);
        result.First.Should().Be("workers");
    }

    /// <summary>Work is kept: however it is shared, a machine whose cores never rest gives cores/processorSeconds jobs a second.</summary>
    [Theory]
    [InlineData(2)]
    [InlineData(4)]
    [InlineData(16)]
    public void Workers_beyond_the_cores_give_no_more(int workers)
    {
        var result = WorkerSimulation.Run(new JobCost(0, 10, 1, 100, 0), new Machines(1, workers, 2, 100_000), new double[160]);
        result.Seconds.Should().BeApproximately(160 * 10 / 2, 1e-6);
        result.Busy["cores"].Should().BeApproximately(1, 1e-9);
    }

    [Fact]
    public void Machines_add_up_until_the_one_writer_is_never_free()
    {
        var cost = new JobCost(1, 8, 2, 600, 0.5);
        var (one, four, many) = (Rate(1), Rate(4), Rate(64));
        (four / one).Should().BeInRange(3.6, 4.05);
        // The writer takes two a second at most.
        many.Should().BeInRange(6300, 7200);
        WorkerSimulation.Run(cost, new Machines(64, 1, 2, 8000), new double[1000]).First.Should().Be("writer");

        double Rate(int machines) => WorkerSimulation.Run(cost, new Machines(machines, 1, 2, 8000), new double[1000]).JobsPerHour;
    }

    [Fact]
    public void Memory_bounds_how_many_run_at_once()
    {
        var result = WorkerSimulation.Run(new JobCost(10, 0.001, 1, 3000, 0), new Machines(1, 16, 16, 8000), new double[20]);
        // Two fit: ten rounds.
        result.Seconds.Should().BeApproximately(100, 0.1);
        result.First.Should().Be("memory");
        FluentActions.Invoking(() => WorkerSimulation.Run(new JobCost(1, 1, 1, 9000, 0), s_one, new double[1])).Should().Throw<ArgumentException>();
    }

    /// <summary>M/D/1 (Pollaczek, Khinchine; from memory): mean wait = rho·T / (2·(1 - rho)); 3 % is some four standard errors here.</summary>
    [Theory]
    [InlineData(0.3)]
    [InlineData(0.7)]
    public void Random_arrivals_wait_as_the_formula_says(double load)
    {
        const double T = 5;
        var random = new Random(11);
        var (at, arrivals) = (0.0, new double[400_000]);
        for (var i = 0; i < arrivals.Length; i++)
            arrivals[i] = at += -Math.Log(1 - random.NextDouble()) * T / load;
        var result = WorkerSimulation.Run(new JobCost(T, 0, 1, 1, 0), s_one, arrivals);
        var expected = load * T / (2 * (1 - load));
        result.MeanWait.Should().BeApproximately(expected, 0.03 * expected);
        result.Wait95.Should().BeGreaterThan(result.MeanWait);
    }
}
