using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using AnatomyPrep.Tests.Outside;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class SurfaceDistanceTests
{
    private static readonly RunContext s_run = new();
    private static readonly SurfaceDistanceOptions s_few = new(20_000);

    /// <summary>Two sheets 0.75 mm apart, one the other's copy: every figure is 0.75, signed by which lies on which side.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Parallel_sheets_lie_their_distance_apart()
    {
        var low = Solids.Sheet(20, 20, 1);
        var high = Solids.Moved(low, (_, p) => p + new Vec3(0, 0, 0.75));
        var compared = SurfaceDistance.Compare(high, low, s_few, s_run);
        foreach (var figure in (double[])[compared.MeanMm, compared.RmsMm, compared.P50Mm, compared.P95Mm, compared.MaxMm, compared.SignedMeanMm])
            figure.Should().BeApproximately(0.75, 1e-12);
        SurfaceDistance.Compare(low, high, s_few, s_run).SignedMeanMm.Should().BeApproximately(-0.75, 1e-12);
    }

    /// <summary>
    /// A sheet that rises by the angle α over another: the distance grows evenly from 0 to h = L·sin α, so its mean is h/2, its root
    /// mean square h/√3, half of it below h/2 and 95 % below 0.95 h. Stratified points miss an even distribution by half a
    /// point's share, its percentiles by one: h/n each.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_tilted_sheet_has_the_figures_of_an_even_distribution()
    {
        const double angle = 0.2;
        var flat = Solids.Sheet(40, 20, 1);
        var tilted = Solids.Moved(flat, (_, p) => new(p.X * Math.Cos(angle), p.Y, p.X * Math.Sin(angle)));
        var there = SurfaceDistance.Compare(tilted, flat, s_few, s_run).FirstToSecond;
        var h = 40 * Math.Sin(angle);
        // Points are spread along the area in the order of the triangles, so each column of squares is filled on its own.
        var slack = 0.002 * h;
        there.MeanMm.Should().BeApproximately(h / 2, slack);
        there.SignedMeanMm.Should().BeApproximately(h / 2, slack);
        there.RmsMm.Should().BeApproximately(h / Math.Sqrt(3), slack);
        there.P50Mm.Should().BeApproximately(h / 2, slack);
        there.P95Mm.Should().BeApproximately(0.95 * h, slack);
        there.MaxMm.Should().BeApproximately(h, 1e-5, "corners count for the maximum");
        there.MaxAtMm[0].Should().BeApproximately(40 * Math.Cos(angle), 1e-5);
    }

    /// <summary>Balls about one centre: between the difference of the radii less and plus the larger ball's sag.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Balls_about_one_centre_lie_the_difference_of_their_radii_apart()
    {
        const double sagMm = 50.0 * 0.0006;
        var (small, large) = (Solids.Icosphere(5, 50, new(10, 20, 700)), Solids.Icosphere(5, 51, new(10, 20, 700)));
        // Edges of 1.85 mm and less: sag e²/6R of a facet's centre is 0.012 mm.
        var compared = SurfaceDistance.Compare(large, small, s_few, s_run);
        foreach (var figure in (double[])[compared.MeanMm, compared.RmsMm, compared.P50Mm, compared.P95Mm, compared.MaxMm, compared.SignedMeanMm])
            figure.Should().BeApproximately(1, sagMm);
        compared.FirstToSecond.Samples.Should().BeGreaterThan(compared.SecondToFirst.Samples, "points are shared by area");
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void A_surface_is_nowhere_away_from_itself_and_swapping_turns_the_sign()
    {
        var noisy = SmoothTests.Noisy(Solids.Icosphere(3, 20), 0.2, 1);
        var same = SurfaceDistance.Compare(noisy, noisy, s_few, s_run);
        same.MaxMm.Should().BeLessThan(1e-12);

        var smooth = Smooth.Apply(noisy, new(), s_run).Mesh;
        var (there, back) = (SurfaceDistance.Compare(noisy, smooth, s_few, s_run), SurfaceDistance.Compare(smooth, noisy, s_few, s_run));
        back.MeanMm.Should().BeApproximately(there.MeanMm, 1e-12);
        back.SignedMeanMm.Should().BeApproximately(-there.SignedMeanMm, 1e-12);
        back.MaxMm.Should().Be(there.MaxMm);
        (back.FirstToSecond with { MaxAtMm = there.SecondToFirst.MaxAtMm }).Should().Be(there.SecondToFirst);
        there.P50Mm.Should().BeLessThan(there.P95Mm);
        there.RmsMm.Should().BeGreaterThan(there.MeanMm);
    }

    /// <summary>
    /// vtkDistancePolyDataFilter gives the signed distance of every vertex; so do we where asked. VTK 9.1 from Debian. Its
    /// distance is unsigned-exact; where a vertex is nearest to an edge its sign may differ on the surface itself.
    /// </summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("femur.off", 0.001)]
    [InlineData("head-truth.ply", 0.3)]
    public void Vertex_distances_are_those_of_vtk(string file, double noiseMm)
    {
        using var folder = new TestFolder();
        var mesh = TestMeshes.Shared(file);
        if (mesh.TriangleCount > 100_000)
            mesh = Simplify.Apply(mesh, new(TargetTriangles: 10_000), s_run).Mesh;
        var other = Smooth.Apply(SmoothTests.Noisy(mesh, noiseMm, 2), new(3), s_run).Mesh;
        TestMeshes.WriteStl(mesh, folder["a.stl"]);
        TestMeshes.WriteStl(other, folder["b.stl"]);
        var compared = SurfaceDistance.Compare(mesh, other, new(2_000, KeepVertexDistances: true), s_run);
        var output = PythonRun.Of(
            """
            import sys, vtk
            from vtk.util.numpy_support import vtk_to_numpy
            def read(f):
                r = vtk.vtkSTLReader(); r.SetFileName(f); r.Update(); return r.GetOutput()
            d = vtk.vtkDistancePolyDataFilter(); d.SetInputData(0, read(sys.argv[1])); d.SetInputData(1, read(sys.argv[2])); d.ComputeSecondDistanceOff(); d.Update()
            out = d.GetOutput()
            p, s = vtk_to_numpy(out.GetPoints().GetData()), vtk_to_numpy(out.GetPointData().GetArray('Distance'))
            for q, x in zip(p, s): print(*map(repr, map(float, q)), repr(float(x)))
            """,
            folder["a.stl"], folder["b.stl"]);
        var theirs = new Dictionary<(float, float, float), double>();
        foreach (var line in output.Split('\n', StringSplitOptions.RemoveEmptyEntries))
        {
            var n = line.Split(' ').Select(w => double.Parse(w, CultureInfo.InvariantCulture)).ToArray();
            theirs[((float)n[0], (float)n[1], (float)n[2])] = n[3];
        }

        var scale = mesh.BoundsMm().Diagonal;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var p = mesh.Vertex(v);
            var expected = theirs[((float)p.X, (float)p.Y, (float)p.Z)];
            var mine = compared.FirstVertexMm![v];
            Math.Abs(mine).Should().BeApproximately(Math.Abs(expected), 1e-6 * scale);
            if (Math.Abs(mine) > 1e-5 * scale)
                Math.Sign(mine).Should().Be(Math.Sign(expected), "at {0}", p);
        }

        compared.FirstToSecond.MaxMm.Should().BeGreaterThanOrEqualTo(theirs.Values.Max(Math.Abs) - (1e-6 * scale));
    }

    /// <summary>
    /// Points spread at random by numpy over both surfaces, and their distance to a dense cloud of the other by scipy's tree: an
    /// estimate from above, by less than the cloud's spacing squared over the distance.
    /// </summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Mean_and_percentiles_are_those_of_scipys_points()
    {
        using var folder = new TestFolder();
        var (a, b) = (Solids.Torus(30, 10, 60, 30), Solids.Moved(Solids.Torus(30, 10, 60, 30), (_, p) => p + new Vec3(1.5, 0, 1)));
        TestMeshes.WriteStl(a, folder["a.stl"]);
        TestMeshes.WriteStl(b, folder["b.stl"]);
        var output = PythonRun.Of(
            """
            import sys, numpy as np
            from scipy.spatial import cKDTree
            def spread(f, n):
                t = np.frombuffer(open(f, 'rb').read()[84:], np.dtype([('n', '<f4', 3), ('v', '<f4', (3, 3)), ('a', '<u2')]))['v'].astype(float)
                w = np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1)
                g = np.random.default_rng(1); i = g.choice(len(t), n, p=w / w.sum()); u, v = g.random((2, n)); f = u + v > 1; u[f], v[f] = 1 - u[f], 1 - v[f]
                return t[i, 0] + u[:, None] * (t[i, 1] - t[i, 0]) + v[:, None] * (t[i, 2] - t[i, 0])
            a, b = spread(sys.argv[1], 400000), spread(sys.argv[2], 400000)
            d = np.concatenate([cKDTree(b).query(a[:40000])[0], cKDTree(a).query(b[:40000])[0]])
            print(d.mean(), np.sqrt((d * d).mean()), *np.percentile(d, [50, 95]))
            """,
            folder["a.stl"], folder["b.stl"]);
        var theirs = output.Split(' ', StringSplitOptions.RemoveEmptyEntries).Select(w => double.Parse(w, CultureInfo.InvariantCulture)).ToArray();
        var ours = SurfaceDistance.Compare(a, b, new(80_000), s_run);
        // Scatter of 80,000 random points of spread 0.5: 0.002; the cloud's spacing is 0.17 mm.
        ours.MeanMm.Should().BeApproximately(theirs[0], 0.02);
        ours.RmsMm.Should().BeApproximately(theirs[1], 0.02);
        ours.P50Mm.Should().BeApproximately(theirs[2], 0.03);
        ours.P95Mm.Should().BeApproximately(theirs[3], 0.03);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Points_are_shared_out_by_area()
    {
        var mesh = Solids.Merged(Solids.Icosphere(2, 10), Solids.Box(new(30, 0, 0), new(31, 7, 5)));
        var counts = new int[mesh.TriangleCount];
        const int n = 3_000;
        foreach (var p in SurfaceSamples.Spread(mesh, n, s_run))
        {
            var t = Enumerable.Range(0, mesh.TriangleCount).MinBy(t => DistanceMm(mesh, t, p));
            DistanceMm(mesh, t, p).Should().BeLessThan(1e-9, "a point lies on its triangle");
            counts[t]++;
        }

        var area = MeshMeasures.AreaMm2(mesh);
        for (var t = 0; t < counts.Length; t++)
            ((double)counts[t]).Should().BeApproximately(n * MeshMeasures.TriangleAreaMm2(mesh, t) / area, 1.001, "points are counted off along the area");

        static double DistanceMm(Mesh mesh, int t, Vec3 p)
        {
            var (a, b, c) = mesh.Triangle(t);
            return MeshAssert.Distance(p, TestMeshes.Of([mesh.Vertex(a), mesh.Vertex(b), mesh.Vertex(c)], [0, 1, 2]));
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_figure()
    {
        var a = SmoothTests.Noisy(Solids.Icosphere(4, 50), 0.3, 1);
        var b = Smooth.Apply(a, new(), s_run).Mesh;
        var one = SurfaceDistance.Compare(a, b, s_few, new(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
            SurfaceDistance.Compare(a, b, s_few, new(threads: threads)).Should().BeEquivalentTo(one, o => o.WithStrictOrdering());
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Surfaces_of_no_triangles_are_refused_and_of_no_area_are_measured_by_their_corners()
    {
        var ball = Solids.Icosphere(1, 10);
        var none = () => SurfaceDistance.Compare(ball, Mesh.Empty, s_few, s_run);
        none.Should().Throw<BadInputException>();
        var flat = Solids.Of([new(0, 0, 12), new(0, 0, 14), new(0, 0, 13)], [0, 1, 2]);
        var compared = SurfaceDistance.Compare(flat, ball, s_few, s_run);
        // The ball's top vertex, or a point just beside it, is 10 mm up or a sag less.
        compared.FirstToSecond.MaxMm.Should().BeInRange(4, 4.6);
        compared.FirstToSecond.Samples.Should().Be(3);
        SurfaceSamples.Spread(flat, 100, s_run).Should().BeEmpty();
    }
}
