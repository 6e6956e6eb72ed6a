using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class SmoothFeaturesTests
{
    private const int Cells = 16;
    private const double EdgeMm = 16;

    private static readonly RunContext s_run = new();

    /// <summary>
    /// A cube of 1 mm squares with noise of a twentieth of a square: the faces come out flatter by a factor of four or more, while
    /// the cube's own edges, where the surface bends by 90°, move less than the noise was. Smoothing without regard to edges
    /// rounds them off by more than twice that.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void The_edges_of_a_cube_stay_while_its_noise_falls()
    {
        const double noiseMm = 0.05;
        var noisy = NoisyCube(noiseMm, 1);
        var smooth = SmoothFeatures.Apply(noisy, new(), s_run);

        FaceRmsMm(smooth.Mesh).Should().BeLessThan(FaceRmsMm(noisy) / 4);
        EdgeMeanMm(smooth.Mesh).Should().BeLessThan(noiseMm);
        EdgeMeanMm(Smooth.Apply(noisy, new(), s_run).Mesh).Should().BeGreaterThan(2 * EdgeMeanMm(smooth.Mesh));
        smooth.Effect.VolumeAfterMm3.Should().BeApproximately(EdgeMm * EdgeMm * EdgeMm, 0.001 * EdgeMm * EdgeMm * EdgeMm);
        MeshAssert.MovedAsStated(noisy, smooth.Mesh, smooth.Effect);
        smooth.Mesh.Triangles.SequenceEqual(noisy.Triangles).Should().BeTrue();
        smooth.Findings.Should().BeEmpty();
    }

    /// <summary>
    /// Across an edge of 90° the kernel still weighs (1 − 2/(32(1 − cos 25°)))^8 = 1.5e-4, so a clean cube is rounded by less than a
    /// thousandth of a square in 12 rounds.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_clean_cube_stays()
    {
        var cube = Solids.GridBox(Cells, EdgeMm);
        var smooth = SmoothFeatures.Apply(cube, new(), s_run);
        smooth.Effect.MaxDisplacementMm.Should().BeLessThan(1e-3);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void No_vertex_ends_farther_than_the_stated_bound() =>
        Gen.Select(Gen.Double[0, 0.3], Gen.Int[1, 10], Gen.Int[1, 20], Gen.Int).Sample(
            (boundMm, normals, vertices, seed) =>
            {
                var noisy = SmoothTests.Noisy(Solids.Icosphere(2, 10, new(100, 200, 700)), 0.5, seed);
                var smooth = SmoothFeatures.Apply(noisy, new(normals, vertices, MaxDisplacementMm: boundMm), s_run);
                ShapeGen.FarthestMm(noisy, smooth.Mesh).Should().BeLessThanOrEqualTo(boundMm);
                MeshAssert.MovedAsStated(noisy, smooth.Mesh, smooth.Effect);
            },
            iter: 60);

    [Fact]
    [Trait("Kind", "Property")]
    public void Borders_and_rims_stay()
    {
        var random = new Random(2);
        var sheet = Solids.Sheet(20, 20, 1, (_, _) => random.NextDouble() * 0.2);
        var smooth = SmoothFeatures.Apply(sheet, new(), s_run);
        for (var v = 0; v < sheet.VertexCount; v++)
            if (v % 21 is 0 or 20 || v < 21 || v >= 21 * 20)
                smooth.Mesh.Local(v).Should().Be(sheet.Local(v));
        smooth.Effect.Measures!["pinnedVertices"].Should().Be(80);
        SmoothFeatures.Apply(sheet, new(PinBoundary: false), s_run).Effect.Measures!["pinnedVertices"].Should().Be(0);

        var cut = Cut.Apply(SmoothTests.Noisy(Solids.Icosphere(3, 10), 0.2, 4), new(Vec3.Zero, new(0, 0, 1)), s_run).Mesh;
        var kept = SmoothFeatures.Apply(cut, new(), s_run).Mesh;
        foreach (var v in SmoothTests.Rim(cut))
            kept.Local(v).Should().Be(cut.Local(v));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Triangles_without_area_and_stray_vertices_do_no_harm()
    {
        var ball = SmoothTests.Noisy(Solids.Icosphere(2, 10), 0.3, 5);
        var bad = new Mesh(Vec3.Zero, [.. ball.Positions, 0, 0, 30], [.. ball.Triangles, 0, 0, 1, 2, 2, 2, ball.VertexCount, 0, ball.VertexCount]);
        var smooth = SmoothFeatures.Apply(bad, new(), s_run).Mesh;
        smooth.Positions.ToArray().Should().OnlyContain(x => float.IsFinite(x));
        SmoothFeatures.Apply(Mesh.Empty, new(), s_run).Mesh.VertexCount.Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_byte()
    {
        var mesh = SmoothTests.Noisy(Solids.Icosphere(5, 50), 0.2, 7);
        ShapeGen.SameOnAnyThreads(run => SmoothFeatures.Apply(mesh, new(3, 4, MaxDisplacementMm: 0.2), run));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Parameters_out_of_range_are_a_wrong_plan()
    {
        foreach (var (wrong, name) in ((SmoothFeaturesParameters, string)[])[
            (new(-1), "normalIterations"), (new(VertexIterations: 1001), "vertexIterations"), (new(FeatureAngleDeg: 0), "featureAngleDeg"),
            (new(FeatureAngleDeg: double.NaN), "featureAngleDeg"), (new(FeatureAngleDeg: 181), "featureAngleDeg"), (new(MaxDisplacementMm: -1), "maxDisplacementMm")])
        {
            var smooth = () => SmoothFeatures.Apply(Solids.Icosphere(1, 10), wrong, s_run);
            smooth.Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }
    }

    private static Mesh NoisyCube(double noiseMm, int seed)
    {
        var random = new Random(seed);
        double Draw() => (Enumerable.Range(0, 12).Sum(_ => random.NextDouble()) - 6) * noiseMm;
        return Solids.Moved(Solids.GridBox(Cells, EdgeMm), (_, p) => p + new Vec3(Draw(), Draw(), Draw()));
    }

    private static readonly Mesh s_clean = Solids.GridBox(Cells, EdgeMm);

    /// <summary>How many of the cube's faces a vertex lies on.</summary>
    private static int Faces(Vec3 p) => Enumerable.Range(0, 3).Count(a => p[a] == 0 || p[a] == EdgeMm);

    /// <summary>Distance from the face's plane, root of the mean square over vertices two cells or more inside a face.</summary>
    private static double FaceRmsMm(Mesh mesh)
    {
        double sum = 0;
        var count = 0;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var p = s_clean.Local(v);
            var axis = Enumerable.Range(0, 3).FirstOrDefault(a => p[a] == 0 || p[a] == EdgeMm);
            if (Enumerable.Range(0, 3).Any(a => a != axis && (p[a] < 2 || p[a] > EdgeMm - 2)))
                continue;
            sum += Math.Pow(mesh.Local(v)[axis] - p[axis], 2);
            count++;
        }

        return Math.Sqrt(sum / count);
    }

    /// <summary>Mean distance of the vertices on the cube's edges from the edge's line, corners left out.</summary>
    private static double EdgeMeanMm(Mesh mesh) => Enumerable.Range(0, mesh.VertexCount).Where(v => Faces(s_clean.Local(v)) == 2).Average(v =>
    {
        var (p, q) = (s_clean.Local(v), mesh.Local(v));
        return Math.Sqrt(Enumerable.Range(0, 3).Where(a => p[a] == 0 || p[a] == EdgeMm).Sum(a => Math.Pow(q[a] - p[a], 2)));
    });
}
