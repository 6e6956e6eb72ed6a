using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class WindingNumberTests
{
    // Stated in the docstring of WindingNumber for groups taken as one.
    private const double FarError = 0.005;

    private static readonly RunContext s_run = new();

    /// <summary>Sums of as many solid angles as triangles, each off by a few units of 2^-53.</summary>
    private const double Rounding = 1e-11;

    [Fact]
    [Trait("Kind", "Truth")]
    public void One_inside_a_closed_surface_and_nought_outside()
    {
        foreach (var (mesh, distance) in Bodies())
        {
            var winding = WindingNumber.Of(TriangleTree.Build(mesh, s_run), s_run);
            Gen.Select(ShapeGen.Direction, Gen.Double[0, 60]).Sample(
                (direction, far) =>
                {
                    var p = direction.Normalized() * far;
                    if (Math.Abs(distance(p)) < 0.3)
                        return;
                    var expected = distance(p) < 0 ? 1 : 0;
                    WindingNumber.Exact(mesh, p).Should().BeApproximately(expected, Rounding);
                    winding.At(p).Should().BeApproximately(expected, FarError);
                },
                iter: 300);
        }

        // Bodies whose inside is known in closed form; the meshes lie within 0.3 mm of them.
        static IEnumerable<(Mesh Mesh, Func<Vec3, double> DistanceMm)> Bodies()
        {
            yield return (Solids.Icosphere(4, 20), p => p.Length - 20);
            yield return (Solids.Torus(30, 10, 96, 48), p => new Vec3(Math.Sqrt((p.X * p.X) + (p.Y * p.Y)) - 30, p.Z, 0).Length - 10);
            yield return (Solids.Moved(Solids.GridBox(8, 30), (_, p) => p - new Vec3(15, 15, 15)), p => Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z))) - 15);
        }
    }

    /// <summary>Of a cube's surface a point of a face sees half of the directions, of an edge a quarter, of a corner an eighth.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(5, 5, 5, 1)]
    [InlineData(5, 3, 0, 0.5)]
    [InlineData(0, 0, 3, 0.25)]
    [InlineData(10, 10, 10, 0.125)]
    [InlineData(-1, 5, 5, 0)]
    public void On_a_cube_it_is_the_share_of_the_directions_inside(double x, double y, double z, double expected) =>
        WindingNumber.Exact(Solids.GridBox(4, 10), new(x, y, z)).Should().BeApproximately(expected, Rounding);

    /// <summary>A disc of radius a seen from height h on its axis fills (1 − h/√(h² + a²))/2 of all directions.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void An_open_disc_counts_for_its_solid_angle()
    {
        const int corners = 2000;
        const double radius = 30;
        var rim = Enumerable.Range(0, corners).Select(i => new Vec3(radius * Math.Cos(2 * Math.PI * i / corners), radius * Math.Sin(2 * Math.PI * i / corners), 0));
        var disc = Solids.Of([Vec3.Zero, .. rim], [.. Enumerable.Range(0, corners).SelectMany(i => new[] { 0, 1 + i, 1 + ((i + 1) % corners) })]);
        var winding = WindingNumber.Of(TriangleTree.Build(disc, s_run), s_run);
        foreach (var h in (double[])[0.5, 3, 30, 300])
        {
            // The polygon's area is smaller than the disc's by 2π²/3n² of it.
            var expected = (1 - (h / Math.Sqrt((h * h) + (radius * radius)))) / 2;
            WindingNumber.Exact(disc, new(0, 0, -h)).Should().BeApproximately(expected, 2e-6);
            WindingNumber.Exact(disc, new(0, 0, h)).Should().BeApproximately(-expected, 2e-6, "it faces the other way");
            winding.At(new Vec3(0, 0, h)).Should().BeApproximately(-expected, FarError);
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Doubled_turned_and_nested_surfaces_add_up()
    {
        var (outer, inner) = (Solids.Icosphere(3, 20), Solids.Icosphere(3, 10));
        var at = new Vec3(1, 2, 3);
        WindingNumber.Exact(Solids.Merged(outer, outer), at).Should().BeApproximately(2, Rounding);
        WindingNumber.Exact(Solids.InsideOut(outer), at).Should().BeApproximately(-1, Rounding);
        WindingNumber.Exact(Solids.Merged(outer, Solids.InsideOut(inner)), at).Should().BeApproximately(0, Rounding);
        WindingNumber.Exact(Solids.Merged(outer, inner), new(15, 0, 0)).Should().BeApproximately(1, Rounding);
        WindingNumber.Exact(Solids.Merged(outer, inner), new(150, 0, 0)).Should().BeApproximately(0, Rounding);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void The_fast_sum_stays_near_the_exact_one_on_scans_with_holes()
    {
        foreach (var name in (string[])["head.off", "elephant-with-holes.off", "bones.off", "femur.off"])
        {
            var mesh = TestMeshes.Shared(name);
            var bounds = mesh.BoundsMm();
            var winding = WindingNumber.Of(TriangleTree.Build(mesh, s_run), s_run);
            var random = new Random(1);
            var points = Enumerable.Range(0, 300).Select(_ => bounds.Min - (bounds.Size * 0.2) + new Vec3(
                random.NextDouble() * 1.4 * bounds.Size.X, random.NextDouble() * 1.4 * bounds.Size.Y, random.NextDouble() * 1.4 * bounds.Size.Z)).ToArray();
            var fast = winding.At(points, s_run);
            for (var i = 0; i < points.Length; i++)
            {
                fast[i].Should().BeApproximately(WindingNumber.Exact(mesh, points[i]), FarError, "of {0}", name);
                fast[i].Should().Be(winding.At(points[i]));
            }
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_bit()
    {
        var mesh = Solids.Torus(30, 10, 96, 48);
        var points = Enumerable.Range(0, 2000).Select(i => new Vec3(i % 50, i / 50, (i % 7) - 3)).ToArray();
        var one = WindingNumber.Of(TriangleTree.Build(mesh, new(threads: 1)), new(threads: 1)).At(points, new(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
        {
            RunContext run = new(threads: threads);
            WindingNumber.Of(TriangleTree.Build(mesh, run), run).At(points, run).Should().Equal(one);
        }
    }
}
