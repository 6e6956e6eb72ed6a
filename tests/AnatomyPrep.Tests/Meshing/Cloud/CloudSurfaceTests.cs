using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Cloud;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Repair;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Meshing.Cloud;

public class CloudSurfaceTests(ITestOutputHelper output)
{
    private static readonly RunContext s_run = RunContext.Default;

    /// <summary>
    /// Exact normals, noise σ along them. At a node the radius found is a weighted mean of the points' radii: with the weights (1 − s²/h²)⁴ over
    /// density 1/s₀² its variance is σ² Σw²/(Σw)² = σ² s₀² (π h²/9) / (π h²/5)² = σ² / N, N = 9 π h² / (25 s₀²). The direction's factor cos² only
    /// narrows the weights, by less than a tenth of N for h &lt; R/5; allowed: N / 1.2. Straight lines between nodes c apart add at most c²/(8 (R − c)),
    /// and a vertex kept off a node c/100.
    /// Root mean square of all vertices: both together. Maximum of about m = 4 π R² N / (π h²) independent places: normal tail, √(2 ln m) + 1.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0)]
    [InlineData(0.05)]
    [InlineData(0.15)]
    public void A_noisy_sphere_comes_back_closed_and_within_the_derived_error(double noiseMm)
    {
        const double radius = 20;
        const int count = 25_000;
        var center = new Vec3(100, -300, 40);

        var result = CloudSurface.Apply(TestClouds.Sphere(count, radius, noiseMm, center), new(), s_run);

        MeshAssert.IsSolid(result.Mesh);
        MeshAssert.Euler(result.Mesh).Should().Be(2);
        result.Mesh.Origins.ToArray().Should().OnlyContain(o => o == Origin.Measured);
        double h = result.Effect.Measures!["smoothingMm"], c = result.Effect.Measures["cellMm"], spacing = Math.Sqrt(4 * Math.PI * radius * radius / count);
        double n = 9 * Math.PI * h * h / (25 * spacing * spacing) / 1.2, linear = c * c / (8 * (radius - c)), clear = 0.01 * c, one = noiseMm / Math.Sqrt(n);
        var places = 4 * radius * radius * n / (h * h);
        var off = Enumerable.Range(0, result.Mesh.VertexCount).Select(v => Vec3.Distance(result.Mesh.Vertex(v), center) - radius).ToArray();
        var rms = Math.Sqrt(off.Average(d => d * d));
        output.WriteLine($"noise {noiseMm}: rms {rms:F4} (bound {one + linear:F4}), largest {off.Max(Math.Abs):F4} (bound {((Math.Sqrt(2 * Math.Log(places)) + 1) * one) + linear + clear:F4}), noise found {result.Effect.Measures["noiseMm"]:F3}");
        rms.Should().BeLessThan(one + linear + 1e-5);
        off.Max(Math.Abs).Should().BeLessThan(((Math.Sqrt(2 * Math.Log(places)) + 1) * one) + linear + clear + 1e-5);
        // All points stand for equal areas: their mean error is σ / √count, twice that 95 % sure, four times here; straight edges lie inside.
        off.Average().Should().BeInRange(-(4 * noiseMm / Math.Sqrt(count)) - linear - (noiseMm * noiseMm / radius), (4 * noiseMm / Math.Sqrt(count)) + linear + (noiseMm * noiseMm / radius));
        // Mean distance of normal noise: σ √(2/π), give or take how far the surface is off.
        result.Effect.Measures["pointDistanceMeanMm"].Should().BeApproximately(noiseMm * Math.Sqrt(2 / Math.PI), rms + (noiseMm / 50) + clear);
    }

    /// <summary>
    /// As the sphere's, with the curvatures κ1, κ2 of a torus. A sphere fitted to z = (κ1 x² + κ2 y²)/2 with exact normals passes through the origin for any
    /// κ1, κ2: E[p·n] = −(κ1 + κ2) m/2 with m = E[x²], the sphere's curvature −(κ1 + κ2)/4, and both second-order terms of the offset
    /// cancel. What is left is of fourth order, at most κ³ E[s⁴] = κ³ h⁴ / 21 (E[s⁴] = B(3, 5)/B(1, 5) h⁴).
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_torus_comes_back_with_its_hole_and_within_the_derived_error()
    {
        const double ring = 20, tube = 7;
        const int count = 25_000;

        var result = CloudSurface.Apply(TestClouds.Torus(count, ring, tube, 0.05), new(), s_run);

        MeshAssert.IsSolid(result.Mesh);
        MeshAssert.Euler(result.Mesh).Should().Be(0);
        double h = result.Effect.Measures!["smoothingMm"], c = result.Effect.Measures["cellMm"], spacing = Math.Sqrt(4 * Math.PI * Math.PI * ring * tube / count);
        double n = 9 * Math.PI * h * h / (25 * spacing * spacing) / 1.2, linear = c * c / (8 * (tube - c)), one = 0.05 / Math.Sqrt(n);
        var fourth = Math.Pow(h, 4) / (21 * Math.Pow(tube, 3));
        var off = Enumerable.Range(0, result.Mesh.VertexCount).Select(v =>
        {
            var p = result.Mesh.Vertex(v);
            return Math.Sqrt(Math.Pow(Math.Sqrt((p.X * p.X) + (p.Y * p.Y)) - ring, 2) + (p.Z * p.Z)) - tube;
        }).ToArray();
        var rms = Math.Sqrt(off.Average(d => d * d));
        output.WriteLine($"rms {rms:F4}, bound {one + linear + fourth:F4}; largest {off.Max(Math.Abs):F4}");
        rms.Should().BeLessThan(one + linear + fourth);
        off.Max(Math.Abs).Should().BeLessThan((5 * one) + linear + fourth + (0.01 * c));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_hole_stays_open_with_a_clean_border_and_filling_marks_what_it_adds()
    {
        const double radius = 20;
        var cloud = TestClouds.Sphere(25_000, radius, 0.05).Where(p => p.Z < 16);

        var result = CloudSurface.Apply(cloud, new(), s_run);

        MeshAssert.IsManifold(result.Mesh);
        SelfIntersections.Find(result.Mesh, s_run).Pairs.Should().BeEmpty();
        var loop = Loops(result.Mesh).Should().ContainSingle().Subject;
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SurfaceOpen);
        // The border is taken back by half the support from the outermost points, along the surface, whose slope dz/ds at z = 16 is 12/20. Those lie up to a
        // spacing before z = 16, and the border may run through vertices within 0.3 of an edge (up to √3 c).
        double support = result.Effect.Measures!["supportMm"], back = support / 2, give = LineSnap.Reach * Math.Sqrt(3) * result.Effect.Measures["cellMm"];
        foreach (var v in loop.Vertices)
            result.Mesh.Vertex(v).Z.Should().BeInRange(16 - (0.6 * (back + result.Effect.Measures["spacingMm"] + give)) - 0.1, 16 - (0.6 * (back - give)) + 0.1);
        var points = Enumerable.Range(0, cloud.Count).Select(cloud.Point).ToArray();
        var measured = Enumerable.Range(0, result.Mesh.TriangleCount).Where(t => result.Mesh.Origins[t] == Origin.Measured).SelectMany(t => new[] { result.Mesh.Triangle(t).A, result.Mesh.Triangle(t).B, result.Mesh.Triangle(t).C }).Distinct().Where((_, i) => i % 50 == 0);
        foreach (var v in measured)
            points.Min(p => Vec3.Distance(p, result.Mesh.Vertex(v))).Should().BeLessThan(support);

        var filled = FillHoles.Apply(result.Mesh, new(LeaveOuterBorder: false), s_run).Mesh;
        MeshAssert.IsSolid(filled);
        Enumerable.Range(0, filled.TriangleCount).Count(t => filled.Origins[t] == Origin.Filled).Should().Be(filled.TriangleCount - result.Mesh.TriangleCount);
        MeshMeasures.SignedVolumeMm3(filled).Should().BeApproximately(4.0 / 3 * Math.PI * 8000, 0.01 * 33510);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_gap_is_closed_only_when_told_and_marked_filled_beyond_the_support()
    {
        // A strip of 3 mm without points around a sphere; spacing 0.45 mm, support 1.1 mm.
        var cloud = TestClouds.Sphere(25_000, 20).Where(p => Math.Abs(p.Z) > 1.5);

        var open = CloudSurface.Apply(cloud, new(), s_run);
        var closed = CloudSurface.Apply(cloud, new(ClosingMm: 2.2, CellMm: 0.6), s_run);

        Loops(open.Mesh).Should().HaveCount(2);
        MeshAssert.IsSolid(closed.Mesh);
        // Along the middle of the strip, 3 − 2·1.1 mm wide and 2 π 20 mm long, give or take a cell on each side.
        closed.Effect.Measures!["filledMm2"].Should().BeInRange(0.3 * 2 * Math.PI * 20, (3 - (2 * 0.9) + 1.2) * 2 * Math.PI * 20);
        for (var v = 0; v < closed.Mesh.VertexCount; v++)
            Vec3.Distance(closed.Mesh.Vertex(v), Vec3.Zero).Should().BeApproximately(20, 0.05);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Two_sides_of_a_thin_plate_do_not_merge()
    {
        // An ear: 2 mm thick, 0.5 mm spacing, smoothing 2.2 mm: the ball around a node of one face holds points of the other.
        var truth = TestClouds.Plate(16_000, 25, 2, 0.1);
        foreach (var cloud in (PointCloud[])[truth, truth.WithoutNormals()])
        {
            var result = CloudSurface.Apply(cloud, new(), s_run);

            MeshAssert.IsSolid(result.Mesh);
            MeshAssert.Euler(result.Mesh).Should().Be(2);
            SelfIntersections.Find(result.Mesh, s_run).Pairs.Should().BeEmpty();
            // On the faces, away from the edge, as the sphere: 5 σ / √N; curvature none.
            var inner = Enumerable.Range(0, result.Mesh.VertexCount).Select(result.Mesh.Vertex).Where(p => (p.X * p.X) + (p.Y * p.Y) < 20 * 20).ToArray();
            inner.Max(p => Math.Abs(Math.Abs(p.Z) - 1)).Should().BeLessThan(5 * 0.1 / Math.Sqrt(9 * Math.PI * 4.5 * 4.5 / 25 / 1.2) * (cloud.HasNormals ? 1 : 1.5));
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_coplanar_grid_becomes_a_flat_sheet_that_ends_at_its_rim()
    {
        var points = Enumerable.Range(0, 2500).Select(i => new Vec3(i % 50, i / 50, 7)).ToArray();
        var cloud = TestClouds.Of(points, [.. points.Select(_ => new Vec3(0, 0, 1))], new(0, 0, 7));

        var result = CloudSurface.Apply(cloud, new(), s_run);

        MeshAssert.IsManifold(result.Mesh);
        Loops(result.Mesh).Should().ContainSingle();
        // Taken back by half the support; the border may run through vertices within 0.3 of an edge, up to √3 cells long.
        double back = result.Effect.Measures!["supportMm"] / 2, give = LineSnap.Reach * Math.Sqrt(3) * result.Effect.Measures["cellMm"];
        for (var v = 0; v < result.Mesh.VertexCount; v++)
        {
            var p = result.Mesh.Vertex(v);
            // Every sample of the plane is 0 or a whole number of cells: kept off nodes by a hundredth of a cell.
            p.Z.Should().BeApproximately(7, 0.011 * result.Effect.Measures["cellMm"]);
            p.X.Should().BeInRange(back - give, 49 - back + give);
        }

        // Arcs between the points of the outermost row lie up to closing − √(closing² − 1/4) farther in.
        double closing = result.Effect.Measures["closingMm"], arc = closing - Math.Sqrt((closing * closing) - 0.25);
        MeshMeasures.AreaMm2(result.Mesh).Should().BeInRange(Math.Pow(49 - (2 * (back + give + arc)), 2), Math.Pow(49 - (2 * (back - give)), 2));
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Any_points_give_an_oriented_manifold_without_crossings_or_a_reason() =>
        Gen.Select(Gen.Int[0, 1_000_000], Gen.Int[0, 5]).Sample(
            (seed, kind) =>
            {
                var random = new Random(seed);
                var cloud = kind switch
                {
                    // Solid ball of points with random directions: no surface at all.
                    0 => TestClouds.Of([.. Enumerable.Range(0, 3000).Select(_ => TestClouds.Direction(random) * (10 * Math.Cbrt(random.NextDouble())))], [.. Enumerable.Range(0, 3000).Select(_ => TestClouds.Direction(random))]),
                    // The same without directions.
                    1 => TestClouds.Of([.. Enumerable.Range(0, 2000).Select(_ => new Vec3(random.NextDouble(), random.NextDouble(), random.NextDouble()) * 10)]),
                    // Two spheres that pass through each other.
                    2 => TestClouds.Join(TestClouds.Sphere(4000, 8, 0.1, seed: seed), TestClouds.Sphere(4000, 8, 0.1, new(7, 0, 0), seed + 1)),
                    // A third of the normals turned over.
                    3 => Turned(TestClouds.Sphere(4000, 8, 0.1, seed: seed), random),
                    // A curve with directions across it.
                    4 => TestClouds.Of([.. Enumerable.Range(0, 800).Select(i => new Vec3(Math.Cos(i * 0.05), Math.Sin(i * 0.05), i * 0.01) * 5)], [.. Enumerable.Range(0, 800).Select(i => new Vec3(Math.Cos(i * 0.05), Math.Sin(i * 0.05), 0))]),
                    // Lattice points in three dimensions, many equal distances and doubles.
                    _ => TestClouds.Of([.. Enumerable.Range(0, 3000).Select(_ => new Vec3(random.Next(12), random.Next(12), random.Next(12)))]),
                };
                try
                {
                    var mesh = CloudSurface.Apply(cloud, new(), s_run).Mesh;
                    MeshAssert.IsManifold(mesh, $"kind {kind}");
                    SelfIntersections.Find(mesh, s_run).Crossing.Should().Be(0, "kind {0}", kind);
                }
                catch (CheckFailedException e)
                {
                    e.Message.Should().Contain("points");
                }
            },
            iter: 18, threads: 1);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Points_that_make_no_surface_are_refused_with_a_reason()
    {
        void Refused<T>(PointCloud cloud)
            where T : Exception => FluentActions.Invoking(() => CloudSurface.Apply(cloud, new(), s_run)).Should().Throw<T>();

        Refused<BadInputException>(new(Vec3.Zero, []));
        Refused<BadInputException>(TestClouds.Of([new(1, 2, 3)]));
        Refused<BadInputException>(TestClouds.Of([new(1, 2, 3), new(2, 3, 4)]));
        Refused<CheckFailedException>(TestClouds.Of([new(1, 2, 3), new(2, 3, 4), new(1, 1, 1)]));
        Refused<CheckFailedException>(new(Vec3.Zero, new float[3000]));
        Refused<CheckFailedException>(TestClouds.Of([.. Enumerable.Range(0, 1000).Select(i => new Vec3(i * 0.1, i * 0.2, 0))]));
        Refused<BadInputException>(new(Vec3.Zero, [0, 0, 0, 1, 0, 0, 0, 1, float.NaN]));
        Refused<BadInputException>(new(Vec3.Zero, [0, 0, 0, 1, 0, 0, 0, 1e20f, 0]));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Doubled_points_and_lone_ones_far_away_change_little_and_cost_little()
    {
        var sphere = TestClouds.Sphere(10_000, 10);
        var plain = CloudSurface.Apply(sphere, new(), s_run);
        var far = TestClouds.Of([.. Enumerable.Range(1, 300).Select(i => new Vec3(i * 1000.0, -i * 700.0, i * 300.0))], [.. Enumerable.Repeat(new Vec3(1, 0, 0), 300)]);

        // One block of 2 kB for each reached neighbour of a lone point would be 300 · 8 · 2 kB; the box around them all would be 10^14 blocks.
        var lone = CloudSurface.Apply(TestClouds.Join(sphere, far), new(), new RunContext(memory: new MemoryBudget(20_000_000)));
        var doubled = CloudSurface.Apply(TestClouds.Join(sphere, sphere, sphere), new(CellMm: plain.Effect.Measures!["cellMm"], SmoothingMm: plain.Effect.Measures["smoothingMm"], SupportMm: plain.Effect.Measures["supportMm"], ClosingMm: plain.Effect.Measures["closingMm"]), s_run);

        MeshAssert.IsSolid(lone.Mesh);
        MeshAssert.IsSolid(doubled.Mesh);
        MeshMeasures.SignedVolumeMm3(lone.Mesh).Should().BeApproximately(MeshMeasures.SignedVolumeMm3(plain.Mesh), 1);
        MeshMeasures.SignedVolumeMm3(doubled.Mesh).Should().BeApproximately(MeshMeasures.SignedVolumeMm3(plain.Mesh), 1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Two_clusters_a_kilometre_apart_give_two_balls()
    {
        // The middle between them is 500 m off: float32 there is good to 0.03 mm.
        var cloud = TestClouds.Join(TestClouds.Sphere(6000, 20, centerMm: new(-5e5, 0, 0)), TestClouds.Sphere(6000, 20, centerMm: new(5e5, 0, 0)));

        var result = CloudSurface.Apply(cloud, new(), new RunContext(memory: new MemoryBudget(20_000_000)));

        MeshAssert.IsSolid(result.Mesh);
        MeshFacts.Measure(result.Mesh, s_run).Components.Should().Be(2);
        MeshMeasures.SignedVolumeMm3(result.Mesh).Should().BeApproximately(2 * 4.0 / 3 * Math.PI * 8000, 600);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Bad_parameters_are_named_with_what_would_do()
    {
        var cloud = TestClouds.Sphere(3000, 10);
        foreach (var (bad, name) in ((CloudSurfaceParameters, string)[])
            [(new(CellMm: -1), "cellMm"), (new(CellMm: 0.01), "cellMm"), (new(SmoothingMm: 0.01), "smoothingMm"), (new(SmoothingMm: 1000, CellMm: 0.5), "smoothingMm"), (new(SupportMm: double.NaN), "supportMm"), (new(ClosingMm: 0.01), "closingMm"), (new(MinimumPieceMm2: -1), "minPieceMm2")])
        {
            FluentActions.Invoking(() => CloudSurface.Apply(cloud, bad, s_run)).Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }

        FluentActions.Invoking(() => CloudSurface.Apply(cloud, new(), new RunContext(memory: new MemoryBudget(1000)))).Should().Throw<BadInputException>();
        FluentActions.Invoking(() => CloudSurface.Apply(cloud, new(), new RunContext(cancellation: new CancellationToken(canceled: true)))).Should().Throw<OperationCanceledException>();
        FluentActions.Invoking(() => CloudSurface.Apply(TestClouds.Join(TestClouds.Sphere(1000, 1), TestClouds.Sphere(1000, 1, centerMm: new(1e8, 0, 0))), new(), s_run)).Should().Throw<PlanException>().Which.Parameter.Should().Be("cellMm");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Threads_and_the_order_of_the_points_change_not_one_bit()
    {
        var cloud = TestClouds.Torus(15_000, 15, 5, 0.1).Where(p => p.X < 14);
        foreach (var points in (PointCloud[])[cloud, cloud.WithoutNormals()])
        {
            var expected = RepairMeshes.Hash(CloudSurface.Apply(points, new(), TestClouds.Threads(1)).Mesh);
            foreach (var threads in (int[])[2, 3, 16])
                RepairMeshes.Hash(CloudSurface.Apply(points, new(), TestClouds.Threads(threads)).Mesh).Should().Be(expected);
            RepairMeshes.Hash(CloudSurface.Apply(points.Shuffled(11), new(), s_run).Mesh).Should().Be(expected);
        }
    }

    private static IReadOnlyList<BoundaryLoop> Loops(Mesh mesh) => AnatomyPrep.Meshing.Repair.BoundaryLoops.Find(mesh);

    private static PointCloud Turned(PointCloud cloud, Random random)
    {
        var normals = cloud.Normals.ToArray();
        for (var p = 0; p < cloud.Count; p++)
            for (var axis = 0; axis < 3 && random.Next(3) == 0; axis++)
                normals[(3 * p) + axis] *= -1;
        return new(cloud.OriginMm, cloud.PositionArray, normals);
    }
}
