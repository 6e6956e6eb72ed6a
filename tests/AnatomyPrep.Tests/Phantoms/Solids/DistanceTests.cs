using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Solids;
using CsCheck;

namespace AnatomyPrep.Tests.Phantoms.Solids;

public sealed class DistanceTests
{
    private static readonly Gen<Vec3> s_point = Gen.Double[-50, 50].Array[3].Select(p => new Vec3(p[0], p[1], p[2]));

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Specimens.AllNames), MemberType = typeof(Specimens))]
    public void Distance_never_changes_faster_than_the_point_moves(string name)
    {
        var solid = Specimens.All[name];
        Gen.Select(s_point, s_point, Gen.Double[0, 1]).Sample(
            (p, q, t) =>
            {
                var near = Vec3.Lerp(p, q, t * t * t);
                return Math.Abs(solid.DistanceMm(p) - solid.DistanceMm(near)) <= Vec3.Distance(p, near) + 1e-9;
            },
            iter: 1500);
    }

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Specimens.ExactNames), MemberType = typeof(Specimens))]
    public void Walking_the_distance_down_its_slope_ends_on_the_surface(string name)
    {
        // Together with the test above this makes the distance exact: no point of the surface can be nearer than |d|,
        // and the foot is exactly |d| away. Near the medial axis the slope has a jump; there the foot misses, and the
        // point is left out by its gradient being short.
        var solid = Specimens.Exact[name];
        s_point.Sample(
            p =>
            {
                var d = solid.DistanceMm(p);
                var slope = Slope(solid, p);
                return Math.Abs(slope.Length - 1) > 1e-4 || Math.Abs(solid.DistanceMm(p - (slope.Normalized() * d))) <= 2e-3;
            },
            iter: 1000);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Ellipsoid_distance_is_that_to_the_nearest_of_many_surface_points()
    {
        // 300 × 600 points: none is nearer than the distance, and one lies within half a patch diagonal of the foot: steps of
        // at most 30 π/300 by 30 · 2π/600, so 0.23 mm, and no point is further than the foot by more than that.
        var solid = new Ellipsoid(Vec3.Zero, new Vec3(30, 20, 10));
        var surface = new List<Vec3>();
        for (var i = 0; i <= 300; i++)
            for (var j = 0; j < 600; j++)
            {
                var (s, c) = Math.SinCos(Math.PI * i / 300);
                var (sj, cj) = Math.SinCos(2 * Math.PI * j / 600);
                surface.Add(new Vec3(30 * s * cj, 20 * s * sj, 10 * c));
            }

        var random = new Random(7);
        double Coordinate(double span) => (random.NextDouble() - 0.5) * 2 * span;
        for (var n = 0; n < 40; n++)
        {
            var p = new Vec3(Coordinate(40), Coordinate(30), Coordinate(20));
            var nearest = surface.Min(q => Vec3.Distance(p, q));
            Math.Abs(solid.DistanceMm(p)).Should().BeInRange(nearest - 0.23, nearest + 1e-9);
        }
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0, 0, 0, -10)] // the centre: half the shortest axis
    [InlineData(0, 0, 4, -6)] // on the shortest axis
    [InlineData(0, 0, 14, 4)]
    [InlineData(37, 0, 0, 7)]
    [InlineData(0, -25, 0, 5)]
    [InlineData(29, 0, 0, -1)] // beyond the focal curve, which meets x at (900 − 100) / 30 = 26.67
    [InlineData(30, 0, 0, 0)]
    public void Ellipsoid_distance_is_right_where_the_foot_is_known(double x, double y, double z, double expected) =>
        new Ellipsoid(Vec3.Zero, new Vec3(30, 20, 10)).DistanceMm(new Vec3(x, y, z)).Should().BeApproximately(expected, 1e-12);

    [Fact]
    [Trait("Kind", "Truth")]
    public void Ellipsoid_distance_is_continuous_across_the_focal_disc()
    {
        // At (15, 0, 0) the feet are (900·15/800, 0, ±10·sqrt(1 − (16.875/30)²)).
        var solid = new Ellipsoid(Vec3.Zero, new Vec3(30, 20, 10));
        var expected = -Math.Sqrt((1.875 * 1.875) + (100 * (1 - (0.5625 * 0.5625))));
        solid.DistanceMm(new Vec3(15, 0, 0)).Should().BeApproximately(expected, 1e-12);
        // Off the disc by e towards one foot: shorter by at most e.
        foreach (var e in (double[])[1e-3, 1e-6, 1e-9, 1e-12, 1e-300])
            solid.DistanceMm(new Vec3(15, 0, e)).Should().BeInRange(expected - 1e-12, expected + e + 1e-12);
    }

    [Theory]
    [Trait("Kind", "Same")]
    [MemberData(nameof(Specimens.AllNames), MemberType = typeof(Specimens))]
    public void What_matters_within_a_ball_has_the_same_distances_there(string name)
    {
        var solid = Specimens.All[name];
        Gen.Select(s_point, Gen.Double[0.1, 20], s_point, Gen.Double[0, 1]).Sample(
            (center, radius, direction, share) =>
            {
                var atCenter = solid.DistanceMm(center, radius, out var part);
                var p = center + (direction.Normalized() * (radius * share));
                return atCenter.Equals(solid.DistanceMm(center)) && part.DistanceMm(p).Equals(solid.DistanceMm(p));
            },
            iter: 600);
    }

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Specimens.AllNames), MemberType = typeof(Specimens))]
    public void Nothing_of_a_solid_lies_outside_its_bounds(string name)
    {
        var solid = Specimens.All[name];
        s_point.Sample(p => solid.DistanceMm(p) > 0 || solid.BoundsMm.Grown(1e-9).Contains(p), iter: 2000);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Placing_refuses_what_would_spoil_distances()
    {
        var stretch = () => new Placed(new Sphere(Vec3.Zero, 1), Affine3.Scale(2));
        stretch.Should().Throw<ArgumentException>();
    }

    private static Vec3 Slope(Solid solid, Vec3 p)
    {
        const double H = 1e-5;
        double Along(Vec3 axis) => (solid.DistanceMm(p + (axis * H)) - solid.DistanceMm(p - (axis * H))) / (2 * H);
        return new Vec3(Along(new Vec3(1, 0, 0)), Along(new Vec3(0, 1, 0)), Along(new Vec3(0, 0, 1)));
    }
}
