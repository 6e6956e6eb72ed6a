using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using CsCheck;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class SectionCurvesTests
{
    private static readonly Vec3 s_center = new(12.5, -40.25, 700);

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0, 3.7)]
    [InlineData(1, -11.2)]
    [InlineData(2, 0)] // The equator: every second ring's vertices lie exactly on the plane.
    [InlineData(2, 15.3)]
    public void Section_of_a_sphere_is_its_circle_within_the_facet_bound_with_the_solid_on_the_left(int axis, double offset)
    {
        const double Radius = 20;
        const int Rings = 40;
        var mesh = PictureSamples.Sphere(s_center, Radius, Rings);
        var curve = SectionCurves.Cut(mesh, axis, s_center[axis] + offset, RunContext.Default).Should().ContainSingle().Subject;

        curve.Closed.Should().BeTrue();
        // A point of a triangle with circumradius c is between sqrt(R² - c²) and R from the centre. Positions are float32
        // about the centre: 2^-24 of 20 mm each way, twice that after the interpolation.
        const double Rounding = 4 * Radius / (1 << 24);
        var c = PictureSamples.Circumradius(Radius, Rings);
        double outer = Math.Sqrt((Radius * Radius) - (offset * offset)), inner = Math.Sqrt((Radius * Radius) - (c * c) - (offset * offset));
        foreach (var p in curve.PointsMm)
        {
            p[axis].Should().Be(s_center[axis] + offset);
            InPlane(p - s_center, axis).Should().BeInRange(inner - Rounding, outer + Rounding);
        }

        SignedArea(curve, axis).Should().BeInRange(Math.PI * inner * inner, Math.PI * outer * outer);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_face_in_the_plane_is_cut_on_its_upper_side_only_and_a_touched_corner_gives_nothing()
    {
        var box = PictureSamples.Box(new Vec3(0, 0, 0), new Vec3(10, 20, 30));
        SectionCurves.Cut(box, 2, 0, RunContext.Default).Should().BeEmpty("all corners are on or above the plane");
        var top = SectionCurves.Cut(box, 2, 30, RunContext.Default).Should().ContainSingle().Subject;
        SignedArea(top, 2).Should().Be(200);
        top.Closed.Should().BeTrue();
        top.PointsMm.Distinct().Should().HaveCount(top.PointsMm.Count);

        var sphere = PictureSamples.Sphere(Vec3.Zero, 8, 6);
        SectionCurves.Cut(sphere, 2, 8, RunContext.Default).Should().BeEmpty("the pole alone is on the plane");
        SectionCurves.Cut(sphere, 2, -8, RunContext.Default).Should().BeEmpty();
        SectionCurves.Cut(sphere, 2, 8.001, RunContext.Default).Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Every_section_of_a_hollow_sphere_is_closed_and_a_ring_of_the_right_area()
    {
        const double Outer = 20, Inner = 15;
        const int Rings = 24;
        var shell = PictureSamples.Joined(PictureSamples.Sphere(s_center, Outer, Rings), PictureSamples.Sphere(s_center, Inner, Rings, inward: true));
        // Whole millimetres meet vertices and edges often.
        Gen.Select(Gen.Int[0, 2], Gen.OneOf(Gen.Double[-14, 14], Gen.Int[-14, 14].Select(n => (double)n))).Sample(
            (axis, offset) =>
            {
                var curves = SectionCurves.Cut(shell, axis, s_center[axis] + offset, RunContext.Default);
                curves.Should().HaveCount(2).And.OnlyContain(c => c.Closed);
                double cOuter = PictureSamples.Circumradius(Outer, Rings), cInner = PictureSamples.Circumradius(Inner, Rings);
                // Each circle's area is short by at most π c²; the two errors pull in opposite directions.
                var exact = Math.PI * ((Outer * Outer) - (Inner * Inner));
                curves.Sum(c => SignedArea(c, axis)).Should().BeInRange(exact - (Math.PI * cOuter * cOuter), exact + (Math.PI * cInner * cInner));
            },
            iter: 200,
            threads: 1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_segment_has_the_origin_of_its_triangle()
    {
        var mesh = PictureSamples.Sphere(s_center, 10, 20, p => p.X > s_center.X ? Origin.Filled : Origin.Measured);
        var curve = SectionCurves.Cut(mesh, 2, s_center.Z + 1.1, RunContext.Default).Should().ContainSingle().Subject;
        for (var n = 0; n < curve.SegmentOrigins.Count; n++)
        {
            var middle = (curve.PointsMm[n] + curve.PointsMm[(n + 1) % curve.PointsMm.Count]) / 2;
            curve.SegmentOrigins[n].Should().Be(middle.X > s_center.X ? Origin.Filled : Origin.Measured);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void An_open_sheet_gives_an_open_curve_from_rim_to_rim()
    {
        // A strip of four squares along x, standing on y = 0.
        var builder = new MeshBuilder(Vec3.Zero);
        for (var x = 0; x <= 4; x++)
        {
            builder.AddVertex(new Vec3(x, 0, -1));
            builder.AddVertex(new Vec3(x, 0, 1));
        }

        for (var x = 0; x < 4; x++)
        {
            builder.AddTriangle(2 * x, (2 * x) + 2, (2 * x) + 3);
            builder.AddTriangle(2 * x, (2 * x) + 3, (2 * x) + 1);
        }

        var curve = SectionCurves.Cut(builder.Build(), 2, 0.25, RunContext.Default).Should().ContainSingle().Subject;
        curve.Closed.Should().BeFalse();
        curve.SegmentOrigins.Should().HaveCount(curve.PointsMm.Count - 1);
        Length(curve).Should().Be(4);
        new[] { curve.PointsMm[0].X, curve.PointsMm[^1].X }.Should().BeEquivalentTo([0.0, 4.0]);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_tangle_of_triangles_loses_no_segment()
    {
        // Random triangles on few vertices: edges with many users, turned and doubled triangles, degenerate ones.
        var random = new Random(77);
        var builder = new MeshBuilder(Vec3.Zero);
        for (var v = 0; v < 12; v++)
            builder.AddVertex(new Vec3(random.Next(-5, 6), random.Next(-5, 6), random.Next(-5, 6)));
        double expected = 0;
        for (var t = 0; t < 300; t++)
            builder.AddTriangle(random.Next(12), random.Next(12), random.Next(12));
        var mesh = builder.Build();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var hits = new[] { (a, b), (b, c), (c, a) }.Where(e => Above(e.Item1) != Above(e.Item2)).Select(e => Hit(e.Item1, e.Item2)).ToList();
            expected += hits.Count == 2 ? Vec3.Distance(hits[0], hits[1]) : 0;
        }

        var curves = SectionCurves.Cut(mesh, 2, 0, RunContext.Default);
        // 300 sums of lengths below 15 mm.
        curves.Sum(Length).Should().BeApproximately(expected, 1e-11);

        bool Above(int v) => mesh.Vertex(v).Z >= 0;
        Vec3 Hit(int v, int w) => Vec3.Lerp(mesh.Vertex(v), mesh.Vertex(w), -mesh.Vertex(v).Z / (mesh.Vertex(w).Z - mesh.Vertex(v).Z));
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Any_number_of_threads_gives_the_same_curves()
    {
        var mesh = PictureSamples.Sphere(s_center, 30, 150); // 89,400 triangles: three pieces
        var one = SectionCurves.Cut(mesh, 0, s_center.X + 1, new RunContext(threads: 1));
        foreach (var threads in new[] { 2, 3, 16 })
        {
            var many = SectionCurves.Cut(mesh, 0, s_center.X + 1, new RunContext(threads: threads));
            many.Should().HaveCount(one.Count);
            for (var n = 0; n < one.Count; n++)
                many[n].PointsMm.Should().Equal(one[n].PointsMm);
        }
    }

    [Fact]
    public void A_cancelled_run_stops()
    {
        using var cancelled = new CancellationTokenSource();
        cancelled.Cancel();
        var act = () => SectionCurves.Cut(PictureSamples.Sphere(s_center, 1, 5), 0, s_center.X, new RunContext(threads: 1, cancellation: cancelled.Token));
        act.Should().Throw<OperationCanceledException>();
    }

    private static double InPlane(Vec3 p, int axis) => Math.Sqrt(p.LengthSquared - (p[axis] * p[axis]));

    private static double Length(SectionCurve curve)
    {
        double length = 0;
        for (var n = 0; n < curve.SegmentOrigins.Count; n++)
            length += Vec3.Distance(curve.PointsMm[n], curve.PointsMm[(n + 1) % curve.PointsMm.Count]);
        return length;
    }

    /// <summary>Positive for a curve that runs counter-clockwise seen from the positive end of the axis.</summary>
    private static double SignedArea(SectionCurve curve, int axis)
    {
        int u = (axis + 1) % 3, v = (axis + 2) % 3;
        double twice = 0;
        var o = curve.PointsMm[0];
        for (var n = 0; n < curve.PointsMm.Count; n++)
        {
            Vec3 p = curve.PointsMm[n] - o, q = curve.PointsMm[(n + 1) % curve.PointsMm.Count] - o;
            twice += (p[u] * q[v]) - (p[v] * q[u]);
        }

        return twice / 2;
    }
}
