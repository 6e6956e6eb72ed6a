using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Spatial;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Spatial;

public class TriangleTriangleTests
{
    // On a grid of 3 × 3 × 3 points nearly every pair of triangles is in some special position.
    private static readonly Gen<Vec3> s_grid = Gen.Select(Gen.Int[0, 2], Gen.Int[0, 2], Gen.Int[0, 2], (x, y, z) => new Vec3(x, y, z));

    private static readonly Gen<Vec3> s_flat = Gen.Select(Gen.Int[0, 3], Gen.Int[0, 3], (x, y) => new Vec3(x, y, x + (2 * y)));

    private static readonly Gen<double> s_coordinate = Gen.Int[-(1 << 20), 1 << 20].Select(i => Math.ScaleB(i, -20));

    private static readonly Gen<Vec3> s_general = Gen.Select(s_coordinate, s_coordinate, s_coordinate, (x, y, z) => new Vec3(x, y, z));

    private static readonly Gen<Vec3[]> s_corners = Gen.Frequency(
        (4, s_grid.Array[6]),
        (2, s_flat.Array[6]),
        (2, s_general.Array[6]),
        (1, Gen.Select(s_general.Array[6], Gen.Double[0, 1], Gen.Double[0, 1], WithCornerInPlane)));

    [Fact]
    [Trait("Kind", "Property")]
    public void Separate_triangles_meet_as_the_constructed_common_set_says() =>
        s_corners.Sample(p => SameAsConstructed(p, [0, 1, 2], [3, 4, 5]), iter: 12_000);

    [Fact]
    [Trait("Kind", "Property")]
    public void Triangles_sharing_a_corner_meet_as_the_constructed_common_set_says() =>
        Gen.Select(s_corners, Gen.Int[0, 2], Gen.Int[0, 2]).Sample(
            (p, i, j) =>
            {
                int[] a = [0, 1, 2], b = [3, 4, 5];
                p[b[j]] = p[a[i]];
                b[j] = a[i];
                return SameAsConstructed(p, a, b);
            },
            iter: 12_000);

    [Fact]
    [Trait("Kind", "Property")]
    public void Triangles_sharing_an_edge_meet_as_the_constructed_common_set_says() =>
        Gen.Select(s_corners, Gen.Int[0, 2], Gen.Int[0, 2], Gen.Bool).Sample(
            (p, i, j, turned) =>
            {
                int[] a = [0, 1, 2], b = [3, 4, 5];
                var (first, second) = turned ? ((i + 1) % 3, i) : (i, (i + 1) % 3);
                b[j] = a[first];
                b[(j + 1) % 3] = a[second];
                return SameAsConstructed(p, a, b);
            },
            iter: 12_000);

    [Fact]
    [Trait("Kind", "Property")]
    public void Order_of_triangles_and_corners_changes_nothing() =>
        s_corners.Sample(
            p =>
            {
                var expected = TriangleTriangle.Classify(p[0], p[1], p[2], p[3], p[4], p[5]);
                return TriangleTriangle.Classify(p[3], p[4], p[5], p[0], p[1], p[2]) == expected
                    && TriangleTriangle.Classify(p[1], p[2], p[0], p[3], p[4], p[5]) == expected
                    && TriangleTriangle.Classify(p[0], p[2], p[1], p[5], p[4], p[3]) == expected
                    && TriangleTriangle.Classify(p[0], p[1], p[2], p[4], p[3], p[5]) == expected;
            },
            iter: 12_000);

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("pierced inside", Contact.Crossing, 0.5, 0.5, -1, 0.5, 0.5, 1, 0.6, 0.5, 1)]
    [InlineData("corner in the inside", Contact.Touching, 0.5, 0.5, 0, 0.5, 0.5, 1, 0.6, 0.5, 1)]
    [InlineData("corner on an edge", Contact.Touching, 1, 0, 0, 1, 0, 1, 2, 0, 1)]
    [InlineData("corner on a corner", Contact.Touching, 0, 0, 0, -1, 0, 1, -1, 1, 1)]
    [InlineData("edges cross in a point", Contact.Touching, 1, 0, -1, 1, 0, 1, 1, -1, 0)]
    [InlineData("edge lies in the inside", Contact.Touching, 0.25, 0.25, 0, 0.5, 0.5, 0, 0.5, 0.5, 1)]
    [InlineData("edge lies across from outside", Contact.Touching, -1, 0.5, 0, 3, 0.5, 0, 0, 0, 1)]
    [InlineData("edge in the plane, outside", Contact.None, -1, -0.5, 0, 3, -0.5, 0, 0, 0, 1)]
    [InlineData("cuts through an edge into the inside", Contact.Crossing, 1, 0.5, -1, 1, 0.5, 1, 1, -1, 0)]
    [InlineData("same triangle", Contact.Overlap, 0, 0, 0, 2, 0, 0, 0, 2, 0)]
    [InlineData("coplanar, inside", Contact.Overlap, 0.1, 0.1, 0, 0.2, 0.1, 0, 0.1, 0.2, 0)]
    [InlineData("coplanar, star", Contact.Overlap, 1, 1, 0, -1, 0.75, 0, 0.75, -1, 0)]
    [InlineData("coplanar, edge on edge", Contact.Touching, 0, 0, 0, 2, 0, 0, 1, -1, 0)]
    [InlineData("coplanar, part of edge on edge", Contact.Touching, 0.5, 0, 0, 5, 0, 0, 1, -1, 0)]
    [InlineData("coplanar, corner on edge", Contact.Touching, 1, 0, 0, 2, -1, 0, 1, -1, 0)]
    [InlineData("coplanar, apart", Contact.None, 3, 0, 0, 5, 0, 0, 3, 1, 0)]
    [InlineData("parallel", Contact.None, 0, 0, 1, 2, 0, 1, 0, 2, 1)]
    [InlineData("without area, through the inside", Contact.None, 0.5, 0.5, -1, 0.5, 0.5, 0, 0.5, 0.5, 1)]
    public void Meets_the_triangle_0_0_2_0_0_2(
        string how, Contact expected, double ax, double ay, double az, double bx, double by, double bz, double cx, double cy, double cz) =>
        TriangleTriangle.Classify(
            new Vec3(ax, ay, az), new Vec3(bx, by, bz), new Vec3(cx, cy, cz), Vec3.Zero, new Vec3(2, 0, 0), new Vec3(0, 2, 0))
            .Should().Be(expected, how);

    /// <summary>The same pair with one corner moved by one unit in the last place gives each of the three answers.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void One_unit_in_the_last_place_decides()
    {
        Vec3 a = new(100, 200, 300), b = new(107, 200, 300), c = new(100, 211, 300);
        Contact Lowest(double z) => TriangleTriangle.Classify(a, b, c, new Vec3(101, 201, z), new Vec3(101, 202, 305), new Vec3(102, 201, 305));
        Lowest(Math.BitIncrement(300.0)).Should().Be(Contact.None);
        Lowest(300).Should().Be(Contact.Touching);
        Lowest(Math.BitDecrement(300.0)).Should().Be(Contact.Crossing);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Triangles_that_repeat_a_corner_or_have_no_area_are_never_in_contact()
    {
        var mesh = new Mesh(
            Vec3.Zero,
            [0, 0, 0, 1, 0, 0, 0, 1, 0, 2, 0, 0, 0.2f, 0.2f, -1],
            [0, 1, 2, 0, 0, 1, 0, 1, 3, 0, 0, 0, 4, 4, 4, 1, 0, 3]);
        for (var i = 0; i < mesh.TriangleCount; i++)
            for (var j = 0; j < mesh.TriangleCount; j++)
                if (i != j)
                    TriangleTriangle.Classify(mesh, i, j).Should().Be(Contact.None);
    }

    private static bool SameAsConstructed(Vec3[] p, int[] a, int[] b)
    {
        var positions = p.SelectMany(v => new[] { (float)v.X, (float)v.Y, (float)v.Z }).ToArray();
        var mesh = new Mesh(Vec3.Zero, positions, [.. a, .. b]);
        Vec3[] Of(int[] corners) => [.. corners.Select(mesh.Local)];
        return TriangleTriangle.Classify(mesh, 0, 1) == ExactContact.Of(Of(a), Of(b), a, b);
    }

    private static Vec3[] WithCornerInPlane(Vec3[] p, double u, double v)
    {
        p[5] = p[0] + ((p[1] - p[0]) * u) + ((p[2] - p[0]) * v);
        return p;
    }
}
