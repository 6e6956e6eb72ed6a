using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using BenchmarkDotNet.Attributes;

namespace AnatomyPrep.Benchmarks.Imaging.Segment;

/// <summary>Threshold and components on a ball of 256³ samples with noise.</summary>
[MemoryDiagnoser]
public class RegionBenchmark
{
    private Volume _volume = null!;
    private Region _region = null!;

    [Params(1, 2)]
    public int Threads { get; set; }

    private RunContext Context => new(threads: Threads);

    [GlobalSetup]
    public void SetUp()
    {
        _volume = NoisyBall.Create(256);
        _region = Threshold.Apply(_volume, NoisyBall.Bone, RunContext.Default);
    }

    [GlobalCleanup]
    public void CleanUp()
    {
        _region.Dispose();
        _volume.Dispose();
    }

    [Benchmark]
    public void ThresholdToBits() => Threshold.Apply(_volume, NoisyBall.Bone, Context).Dispose();

    [Benchmark]
    public int ComponentsLabelled()
    {
        using var components = Components.Find(_region, _volume.Map, Context);
        return components.Pieces.Count;
    }
}
