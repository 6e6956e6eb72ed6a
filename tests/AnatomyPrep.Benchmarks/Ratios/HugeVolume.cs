using System.Globalization;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>A synthetic volume in a mapped file through threshold, largest piece and surface, to be run under a memory limit of the system.</summary>
/// <remarks>
/// Content: a skull as two ellipsoids, 6 mm apart, and a thousand balls beside it that the largest piece leaves out, on steps of 0.1 mm; values
/// are those of an edge blurred over 1.2 mm, so that every vertex is placed by grey values. Truth: the volume between the ellipsoids.
/// </remarks>
internal static class HugeVolume
{
    private const double StepMm = 0.1;
    private const double WallMm = 6;
    private const double BlurMm = 0.6;
    private const short BoneHu = 1000;
    private const short IsoHu = 500;
    private const int Balls = 10;
    private const double BallShare = 0.02;

    public static int Run(string size)
    {
        int[] n = [.. size.Split('x').Select(s => int.Parse(s, CultureInfo.InvariantCulture))];
        var stages = new StageClock();
        var run = new RunContext(stages);
        var samples = SampleMemory.Mapped((long)n[0] * n[1] * n[2]);
        var origins = Enumerable.Range(0, n[2]).Select(k => new Vec3(0, 0, k * StepMm)).ToArray();
        using var volume = new Volume(n[0], n[1], samples, new IndexToPatient(new Vec3(StepMm, 0, 0), new Vec3(0, StepMm, 0), origins));
        run.Report("make", "volume", 0);
        Fill(volume, samples, run);
        run.Report("threshold", "region", 0);
        using var region = Threshold.Apply(volume, new HuWindow(IsoHu, short.MaxValue), run);
        run.Report("components", "find", 0);
        using var pieces = Components.Find(region, volume.Map, run);
        run.Report("components", "keep", 0);
        using var largest = pieces.Keep(1, run);
        run.Report("surface", "count", 0);
        var surface = FlyingEdges.Extract(volume, largest, run);
        run.Report("measure", "volume", 0);
        var volumeMm3 = Core.Meshes.MeshMeasures.SignedVolumeMm3(surface.Mesh, run);
        stages.Print();
        Console.WriteLine(FormattableString.Invariant(
            $"{volume.Count * 2 / 1e9:F2} GB; {pieces.Pieces.Count} pieces, {surface.Mesh.TriangleCount} triangles; {volumeMm3 / 1000:F3} cm3, exact {ExactMm3(n) / 1000:F3}"));
        return 0;
    }

    private static double ExactMm3(int[] n)
    {
        var (outer, inner) = Ellipsoids(n);
        return 4 / 3.0 * Math.PI * ((outer.X * outer.Y * outer.Z) - (inner.X * inner.Y * inner.Z));
    }

    private static (Vec3 Outer, Vec3 Inner) Ellipsoids(int[] n)
    {
        var outer = new Vec3(0.4 * n[0], 0.4 * n[1], 0.45 * n[2]) * StepMm;
        return (outer, outer - new Vec3(WallMm, WallMm, WallMm));
    }

    private static unsafe void Fill(Volume volume, NativeBuffer<short> samples, RunContext run)
    {
        var (outer, inner) = Ellipsoids([volume.Columns, volume.Rows, volume.Slices]);
        var center = new Vec3((volume.Columns - 1) / 2.0, (volume.Rows - 1) / 2.0, (volume.Slices - 1) / 2.0) * StepMm;
        var radius = BallShare * volume.Columns * StepMm;
        var spacing = new Vec3(volume.Columns, volume.Rows, volume.Slices) * (StepMm / Balls);
        Partition.For(run, volume.Slices, k =>
        {
            for (var j = 0; j < volume.Rows; j++)
            {
                var row = samples.Pointer + ((((long)k * volume.Rows) + j) * volume.Columns);
                for (var i = 0; i < volume.Columns; i++)
                {
                    var p = new Vec3(i, j, k) * StepMm;
                    var depth = Math.Max(Math.Min(Depth(p - center, outer), -Depth(p - center, inner)), BallDepth(p, center, spacing, radius, outer, inner));
                    row[i] = (short)Math.Round(BoneHu * Math.Clamp(0.5 + (depth / (2 * BlurMm)), 0, 1));
                }
            }
        });
    }

    // How deep a place lies in an ellipsoid, to first order: exact on its surface, which is where it counts.
    private static double Depth(Vec3 p, Vec3 axes)
    {
        var q = new Vec3(p.X / axes.X, p.Y / axes.Y, p.Z / axes.Z);
        var g = new Vec3(q.X / axes.X, q.Y / axes.Y, q.Z / axes.Z);
        return g.LengthSquared == 0 ? axes.X : (1 - q.LengthSquared) / (2 * g.Length);
    }

    // A grid of small balls, those left out that come near the skull.
    private static double BallDepth(Vec3 p, Vec3 center, Vec3 spacing, double radius, Vec3 outer, Vec3 inner)
    {
        static double Middle(double x, double spacing) => (Math.Floor(x / spacing) + 0.5) * spacing;
        var middle = new Vec3(Middle(p.X, spacing.X), Middle(p.Y, spacing.Y), Middle(p.Z, spacing.Z));
        var depth = radius - Vec3.Distance(p, middle);
        if (depth < -BlurMm)
            return depth;
        var fromSkull = Math.Max(-Depth(middle - center, outer), Depth(middle - center, inner));
        return fromSkull > 3 * radius ? depth : double.NegativeInfinity;
    }
}
