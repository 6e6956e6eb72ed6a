using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class SmoothTests
{
    private static readonly RunContext s_run = new();

    /// <summary>
    /// A ball of 50 mm, edges of 1.8 mm, noise of 0.2 mm along the normal. Per iteration a frequency k grows by
    /// (1 − λk)(1 − μk); the ball itself is near k = e²/2R² = 0.0006, so 10 iterations grow its radius by 10·0.01·k = 0.006 %, its
    /// volume by 0.02 %. Noise adds 3σ²/R² = 0.005 % to the volume and goes. Both together stay below 0.1 %.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_noisy_ball_loses_its_noise_and_keeps_its_volume()
    {
        var ball = Solids.Icosphere(5, 50);
        var noisy = Noisy(ball, 0.2, 1);
        var smooth = Smooth.Apply(noisy, new(), s_run);

        smooth.Effect.VolumeAfterMm3.Should().BeApproximately(smooth.Effect.VolumeBeforeMm3!.Value, 0.001 * smooth.Effect.VolumeBeforeMm3.Value);
        smooth.Effect.VolumeAfterMm3.Should().BeApproximately(MeshAssert.VolumeMm3(ball), 0.001 * MeshAssert.VolumeMm3(ball));
        RoughnessMm(smooth.Mesh).Should().BeLessThan(RoughnessMm(noisy) / 3);
        MeshAssert.MovedAsStated(noisy, smooth.Mesh, smooth.Effect);
        smooth.Findings.Should().BeEmpty();
        smooth.Mesh.Triangles.SequenceEqual(noisy.Triangles).Should().BeTrue();
    }

    /// <summary>
    /// One pass inward, written down literally: p + λ·(mean of the neighbours − p), then the same with μ; each rounded to float32
    /// once. Neighbours are added in another order here, which moves the last bit of a sum in double at most.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void One_iteration_is_the_formula()
    {
        var noisy = Noisy(Solids.Icosphere(3, 20, new(100, 50, 800)), 0.4, 2);
        var neighbours = Neighbours(noisy);
        var expected = noisy;
        foreach (var share in (double[])[0.33, -0.34])
        {
            var from = expected;
            expected = Solids.Moved(from, (v, p) => p + ((Mean(neighbours[v].Select(from.Local)) - p) * share));
        }

        var smooth = Smooth.Apply(noisy, new(Iterations: 1), s_run).Mesh;
        ShapeGen.FarthestMm(smooth, expected).Should().BeLessThanOrEqualTo(2 * ShapeGen.UnitInLastPlace(noisy));
    }

    /// <summary>A wave of frequency k on a closed ring of a long tube shrinks by ((1 − λk)(1 − μk))^N: Taubin 1995, section 3.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(4)]
    [InlineData(12)]
    [InlineData(24)]
    public void A_wave_shrinks_as_the_transfer_function_says(int waves)
    {
        // A flat sheet of squares with one diagonal; heights cos(2πwx/n), the same along y, far from the border.
        const int columns = 96, rows = 60, iterations = 10;
        const double a = 0.01;
        var sheet = Solids.Sheet(columns, rows, 1, (x, _) => a * Math.Cos(2 * Math.PI * waves * x / columns));
        var smooth = Smooth.Apply(sheet, new(Iterations: iterations), s_run).Mesh;

        // Six neighbours: two in the same column, two to the right (one of them up), two to the left: k = 1 − (2 + 4 cos ω)/6.
        var k = 1 - ((2 + (4 * Math.Cos(2 * Math.PI * waves / columns))) / 6);
        var expected = a * Math.Pow((1 - (0.33 * k)) * (1 + (0.34 * k)), iterations);
        var middle = (rows / 2 * (columns + 1)) + (columns / 2);
        var phase = Math.Cos(Math.PI * waves);
        // Information travels two rings an iteration, the border is 30 away: exact but for float32 rounding in 20 passes.
        (smooth.Local(middle).Z * phase).Should().BeApproximately(expected, 20 * a * Math.Pow(2, -24));
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void No_vertex_ends_farther_than_the_stated_bound() =>
        Gen.Select(Gen.Double[0, 0.5], Gen.Int[1, 40], Gen.Int, ShapeGen.PointMm).Sample(
            (boundMm, iterations, seed, center) =>
            {
                var noisy = Noisy(Solids.Icosphere(2, 10, center), 0.5, seed);
                var smooth = Smooth.Apply(noisy, new(iterations, MaxDisplacementMm: boundMm), s_run);
                ShapeGen.FarthestMm(noisy, smooth.Mesh).Should().BeLessThanOrEqualTo(boundMm);
                smooth.Effect.MaxDisplacementMm.Should().BeLessThanOrEqualTo(boundMm);
                MeshAssert.MovedAsStated(noisy, smooth.Mesh, smooth.Effect);
            },
            iter: 100);

    [Fact]
    [Trait("Kind", "Property")]
    public void Borders_stay_or_are_smoothed_along_themselves_only()
    {
        var sheet = NoisySheet(3);
        var border = Border(sheet);
        var pinned = Smooth.Apply(sheet, new(), s_run).Mesh;
        foreach (var v in border)
            pinned.Local(v).Should().Be(sheet.Local(v));
        pinned.Positions.SequenceEqual(sheet.Positions).Should().BeFalse();

        // Free borders know nothing of the inside: another inside gives the same border.
        var free = Smooth.Apply(sheet, new(PinBoundary: false), s_run).Mesh;
        var other = Solids.Moved(sheet, (v, p) => border.Contains(v) ? p : p + new Vec3(0, 0, 3));
        var freeOther = Smooth.Apply(other, new(PinBoundary: false), s_run).Mesh;
        foreach (var v in border)
            free.Local(v).Should().Be(freeOther.Local(v));
        border.Should().Contain(v => free.Local(v) != sheet.Local(v));
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Rims_between_origins_stay_where_they_are()
    {
        var cut = Cut.Apply(Noisy(Solids.Icosphere(3, 10), 0.2, 4), new(Vec3.Zero, new(0, 0, 1)), s_run).Mesh;
        var rim = Rim(cut);
        var smooth = Smooth.Apply(cut, new(), s_run);
        rim.Length.Should().BePositive();
        foreach (var v in rim)
            smooth.Mesh.Local(v).Should().Be(cut.Local(v));
        smooth.Effect.Measures!["pinnedVertices"].Should().Be(rim.Length);
        Smooth.Apply(cut, new(PinRims: false), s_run).Mesh.Local(rim[0]).Should().NotBe(cut.Local(rim[0]));
    }

    /// <summary>Vertices of edges with three triangles, and vertices of none, have no ring to be averaged over: they stay.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void Irregular_vertices_stay()
    {
        var ball = Noisy(Solids.Icosphere(2, 10), 0.3, 5);
        var fin = new Mesh(Vec3.Zero, [.. ball.Positions, 0, 0, 30, 0, 0, 60], [.. ball.Triangles, ball.Triangles[0], ball.Triangles[1], ball.VertexCount]);
        var smooth = Smooth.Apply(fin, new(), s_run).Mesh;
        foreach (var v in (int[])[fin.Triangles[0], fin.Triangles[1], ball.VertexCount, ball.VertexCount + 1])
            smooth.Local(v).Should().Be(fin.Local(v));
        smooth.Positions.ToArray().Should().OnlyContain(x => float.IsFinite(x));
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_byte()
    {
        var mesh = Solids.Merged(Noisy(Solids.Icosphere(5, 50), 0.2, 7), NoisySheet(8));
        ShapeGen.SameOnAnyThreads(run => Smooth.Apply(mesh, new(5), run));
        ShapeGen.SameOnAnyThreads(run => Smooth.Apply(mesh, new(5, MaxDisplacementMm: 0.05, PinBoundary: false), run));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Parameters_out_of_range_are_a_wrong_plan()
    {
        var ball = Solids.Icosphere(1, 10);
        foreach (var (wrong, name) in ((SmoothParameters, string)[])[
            (new(-1), "iterations"), (new(10_001), "iterations"), (new(Lambda: 0), "lambda"), (new(Lambda: 1.01), "lambda"), (new(Lambda: double.NaN), "lambda"),
            (new(Mu: 0.1), "mu"), (new(Mu: double.NaN), "mu"), (new(Lambda: 0.33, Mu: -2), "mu"),
            (new(MaxDisplacementMm: -1), "maxDisplacementMm"), (new(MaxDisplacementMm: double.NaN), "maxDisplacementMm")])
        {
            var smooth = () => Smooth.Apply(ball, wrong, s_run);
            smooth.Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }

        MeshAssert.SameBits(Smooth.Apply(ball, new(0), s_run).Mesh, ball).Should().BeTrue();
        Smooth.Apply(Mesh.Empty, new(), s_run).Mesh.VertexCount.Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_cancelled_run_stops()
    {
        using var source = new CancellationTokenSource();
        source.Cancel();
        var smooth = () => Smooth.Apply(Solids.Icosphere(3, 10), new(), new(cancellation: source.Token));
        smooth.Should().Throw<OperationCanceledException>();
    }

    internal static Mesh Noisy(Mesh mesh, double sigmaMm, int seed)
    {
        var random = new Random(seed);
        var center = mesh.BoundsMm().Center - mesh.OriginMm;
        return Solids.Moved(mesh, (_, p) =>
        {
            // Sum of twelve uniform numbers: variance 1.
            var normal = Enumerable.Range(0, 12).Sum(_ => random.NextDouble()) - 6;
            return p + ((p - center).Normalized() * (normal * sigmaMm));
        });
    }

    private static Mesh NoisySheet(int seed)
    {
        var random = new Random(seed);
        return Solids.Sheet(30, 20, 1, (_, _) => random.NextDouble() * 0.4);
    }

    /// <summary>Vertices of triangles of two origins.</summary>
    internal static int[] Rim(Mesh mesh)
    {
        var at = Enumerable.Range(0, mesh.Triangles.Length).GroupBy(h => mesh.TriangleArray[h]);
        return [.. at.Where(g => g.Select(h => mesh.OriginArray[h / 3]).Distinct().Count() > 1).Select(g => g.Key)];
    }

    private static HashSet<int> Border(Mesh mesh)
    {
        var table = EdgeTable.Build(mesh);
        return [.. Enumerable.Range(0, mesh.Triangles.Length).Where(h => table.Opposite[h] == EdgeTable.Boundary).SelectMany(h => new[] { mesh.Triangles[h], mesh.Triangles[EdgeTable.Next(h)] })];
    }

    /// <summary>Root of the mean square of the vertices' distances to their neighbours' mean, along the radius.</summary>
    private static double RoughnessMm(Mesh mesh)
    {
        var neighbours = Neighbours(mesh);
        var bend = Enumerable.Range(0, mesh.VertexCount).Select(v => Vec3.Dot(Mean(neighbours[v].Select(mesh.Local)) - mesh.Local(v), mesh.Local(v).Normalized())).ToArray();
        var mean = bend.Average();
        return Math.Sqrt(bend.Average(b => (b - mean) * (b - mean)));
    }

    private static HashSet<int>[] Neighbours(Mesh mesh)
    {
        var neighbours = new HashSet<int>[mesh.VertexCount];
        for (var v = 0; v < neighbours.Length; v++)
            neighbours[v] = [];
        for (var h = 0; h < mesh.Triangles.Length; h++)
        {
            neighbours[mesh.Triangles[h]].Add(mesh.Triangles[EdgeTable.Next(h)]);
            neighbours[mesh.Triangles[EdgeTable.Next(h)]].Add(mesh.Triangles[h]);
        }

        return neighbours;
    }

    private static Vec3 Mean(IEnumerable<Vec3> points)
    {
        var all = points.ToArray();
        return all.Aggregate(Vec3.Zero, (s, p) => s + p) / all.Length;
    }
}
