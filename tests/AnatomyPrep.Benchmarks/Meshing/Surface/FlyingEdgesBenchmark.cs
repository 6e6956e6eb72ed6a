using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using BenchmarkDotNet.Attributes;

namespace AnatomyPrep.Benchmarks.Meshing.Surface;

/// <summary>Extraction from the region of a noisy ball of 256³ samples.</summary>
[MemoryDiagnoser]
public class FlyingEdgesBenchmark
{
    private Volume _volume = null!;
    private Region _region = null!;

    [Params(1, 2)]
    public int Threads { get; set; }

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
    public int Extract() => FlyingEdges.Extract(_volume, _region, new RunContext(threads: Threads)).Mesh.TriangleCount;
}
