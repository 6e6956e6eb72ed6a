using System.Globalization;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using AnatomyPrep.Tests.Outside;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class SignedDistanceTests
{
    private static readonly RunContext s_run = new();

    /// <summary>The cube's distance in closed form: beyond a face, an edge or a corner outside, to the nearest face inside.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void To_a_cube_it_is_the_closed_form_everywhere()
    {
        var cube = Solids.Moved(Solids.GridBox(3, 20), (_, p) => p - new Vec3(10, 10, 10));
        var to = SignedDistance.To(cube, s_run);
        // Integers now and then, so that points lie on faces, edges and above corners.
        var coordinate = Gen.OneOf(Gen.Double[-30, 30], Gen.Int[-3, 3].Select(i => i * 10.0));
        Gen.Select(coordinate, coordinate, coordinate).Sample(
            (x, y, z) =>
            {
                var p = new Vec3(x, y, z);
                var q = new Vec3(Math.Abs(x) - 10, Math.Abs(y) - 10, Math.Abs(z) - 10);
                var outside = Vec3.Max(q, Vec3.Zero).Length;
                var expected = outside > 0 ? outside : Math.Max(q.X, Math.Max(q.Y, q.Z));
                to.Of(p, out var nearest).Should().BeApproximately(expected, 1e-12);
                Vec3.Distance(nearest.PositionMm, p).Should().BeApproximately(Math.Abs(expected), 1e-12);
            },
            iter: 3000);
    }

    /// <summary>The inscribed icosphere lies between its sphere and the sphere through its facets' nearest points.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void To_a_ball_it_is_the_distance_to_the_centre_less_the_radius()
    {
        Vec3 center = new(30, -40, 800);
        var ball = Solids.Icosphere(4, 50, center);
        var sagMm = Enumerable.Range(0, ball.TriangleCount).Max(t =>
        {
            var (a, b, c) = ball.Triangle(t);
            return 50 - (((ball.Vertex(a) + ball.Vertex(b) + ball.Vertex(c)) / 3) - center).Length;
        });
        var to = SignedDistance.To(ball, s_run);
        Gen.Select(ShapeGen.Direction, Gen.Double[1, 120]).Sample(
            (direction, r) =>
            {
                var exact = r - 50;
                to.Of(center + (direction.Normalized() * r), out _).Should().BeInRange(exact - 1e-4, exact + sagMm + 1e-4);
            },
            iter: 1000);
    }

    /// <summary>Near corners the nearest point is often one vertex, where only the angle-weighted normal tells the side.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Its_sign_is_that_of_the_winding_number_on_a_bone()
    {
        var femur = TestMeshes.Shared("femur.off");
        var to = SignedDistance.To(femur, s_run);
        var bounds = femur.BoundsMm();
        var random = new Random(3);
        double Within(double low, double size) => low + ((random.NextDouble() * 1.2) - 0.1) * size;
        // Some anywhere, some just off a vertex.
        var points = Enumerable.Range(0, 600).Select(i => i % 2 == 0
            ? new Vec3(Within(bounds.Min.X, bounds.Size.X), Within(bounds.Min.Y, bounds.Size.Y), Within(bounds.Min.Z, bounds.Size.Z))
            : femur.Vertex(i) + (new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * (0.002 * bounds.Diagonal))).ToArray();
        var distances = to.Of(points, s_run);
        for (var i = 0; i < points.Length; i++)
            if (Math.Abs(distances[i]) > 1e-9)
                (WindingNumber.Exact(femur, points[i]) > 0.5).Should().Be(distances[i] < 0, "at {0}", points[i]);
    }

    /// <summary>vtkImplicitPolyDataDistance on the same points: same method after Bærentzen and Aanæs, other code.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Distances_to_a_skull_are_those_of_vtk()
    {
        using var folder = new TestFolder();
        var skull = TestMeshes.Shared("skull.obj");
        TestMeshes.WriteStl(skull, folder["skull.stl"]);
        var bounds = skull.BoundsMm();
        var random = new Random(4);
        var points = Enumerable.Range(0, 400).Select(_ => bounds.Min + new Vec3(
            random.NextDouble() * bounds.Size.X, random.NextDouble() * bounds.Size.Y, random.NextDouble() * bounds.Size.Z)).ToArray();
        File.WriteAllLines(folder["points.txt"], points.Select(p => FormattableString.Invariant($"{p.X:R} {p.Y:R} {p.Z:R}")));
        var output = PythonRun.Of(
            """
            import sys, numpy as np, vtk
            r = vtk.vtkSTLReader(); r.SetFileName(sys.argv[1]); r.Update()
            d = vtk.vtkImplicitPolyDataDistance(); d.SetInput(r.GetOutput())
            for p in np.loadtxt(sys.argv[2]): print(repr(d.EvaluateFunction(p)))
            """,
            folder["skull.stl"], folder["points.txt"]);
        var theirs = output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => double.Parse(l, CultureInfo.InvariantCulture)).ToArray();
        var ours = SignedDistance.To(skull, s_run).Of(points, s_run);
        for (var i = 0; i < points.Length; i++)
            ours[i].Should().BeApproximately(theirs[i], 1e-6);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Of_a_sheet_it_tells_the_side()
    {
        var to = SignedDistance.To(Solids.Sheet(10, 10, 1), s_run);
        to.Of(new Vec3(5, 5, 2), out _).Should().Be(2);
        to.Of(new Vec3(5, 5, -2), out _).Should().Be(-2);
        to.Of(new Vec3(5, 5, 0), out _).Should().Be(0);
        to.Of(new Vec3(5, 5, 3), out var nearest, withinMm: 2).Should().Be(double.PositiveInfinity);
        nearest.Found.Should().BeFalse();
        to.Of([new(5, 5, 3)], s_run, withinMm: 2).Should().Equal(double.PositiveInfinity);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_bit()
    {
        var mesh = SmoothTests.Noisy(Solids.Icosphere(4, 50), 0.3, 1);
        var points = Enumerable.Range(0, 3000).Select(i => new Vec3((i % 50) - 25, (i / 50) - 25, i % 7)).ToArray();
        var one = SignedDistance.To(mesh, new(threads: 1)).Of(points, new(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
            SignedDistance.To(mesh, new(threads: threads)).Of(points, new(threads: threads)).Should().Equal(one);
        SignedDistance.To(mesh, s_run).OfVertices(mesh, s_run).Should().OnlyContain(d => d == 0);
    }
}
