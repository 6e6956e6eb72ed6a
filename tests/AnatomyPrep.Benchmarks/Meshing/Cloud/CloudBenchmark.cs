using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Cloud;
using BenchmarkDotNet.Attributes;

namespace AnatomyPrep.Benchmarks.Meshing.Cloud;

/// <summary>A million points on a bumpy ball of the size of a head, noise 0.25 mm, made the same every time.</summary>
[MemoryDiagnoser]
public class CloudBenchmark
{
    private const int Points = 1_000_000;

    private PointCloud _cloud = null!;
    private PointCloud _bare = null!;

    [Params(1, 2)]
    public int Threads { get; set; }

    [GlobalSetup]
    public void SetUp()
    {
        float[] positions = new float[3 * Points], normals = new float[3 * Points];
        for (var i = 0; i < Points; i++)
        {
            // Spiral of equal areas (Fibonacci), with a hash of the number as noise.
            double z = 1 - ((2 * i) + 1.0) / Points, a = i * Math.PI * (3 - Math.Sqrt(5)), r = Math.Sqrt(1 - (z * z));
            var n = new Vec3(r * Math.Cos(a), r * Math.Sin(a), z);
            var noise = 0.25 * Math.Sqrt(12) * (((uint)i * 2654435761u / 4294967296.0) - 0.5);
            var p = n * (100 + (3 * Math.Sin(8 * n.X) * Math.Cos(7 * n.Y)) + noise);
            for (var axis = 0; axis < 3; axis++)
                (positions[(3 * i) + axis], normals[(3 * i) + axis]) = ((float)p[axis], (float)n[axis]);
        }

        _cloud = new(Vec3.Zero, positions, normals);
        _bare = new(Vec3.Zero, positions);
    }

    [Benchmark]
    public int Outliers() => RemoveOutliers.Apply(_cloud, new(), new RunContext(threads: Threads)).Cloud.Count;

    [Benchmark]
    public int Normals() => EstimateNormals.Apply(_bare, new(), new RunContext(threads: Threads)).Cloud.Count;

    [Benchmark]
    public int Surface() => CloudSurface.Apply(_cloud, new(), new RunContext(threads: Threads)).Mesh.TriangleCount;
}
