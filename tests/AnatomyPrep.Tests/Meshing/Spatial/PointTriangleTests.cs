using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Spatial;

public class PointTriangleTests
{
    private static readonly Gen<double> s_unit = Gen.Double[-1, 1];

    private static readonly Gen<Vec3> s_point = Gen.Frequency(
        (3, Gen.Select(s_unit, s_unit, s_unit, (x, y, z) => new Vec3(x, y, z))),
        (1, Gen.Select(Gen.Int[-1, 1], Gen.Int[-1, 1], Gen.Int[-1, 1], (x, y, z) => new Vec3(x, y, z))),
        (1, Gen.Select(s_unit, s_unit, s_unit, (x, y, z) => new Vec3(x * 1e-4, y, z * 100))));

    [Fact]
    [Trait("Kind", "Property")]
    public void Nearest_point_is_as_near_as_the_least_of_plane_and_edges() =>
        Gen.Select(s_point, s_point, s_point, s_point).Sample(
            (p, a, b, c) =>
            {
                var q = PointTriangle.Nearest(p, a, b, c, out var feature);
                var expected = Distance(p, a, b, c);

                // Docstring: 2e-8 of the extent at worst; the reference's own plane test loses the same.
                var extent = a.Length + b.Length + c.Length + p.Length;
                Vec3.Distance(p, q).Should().BeApproximately(expected, 2e-8 * extent);
                OnFeature(q, a, b, c, feature).Should().BeTrue();
            },
            iter: 20_000);

    [Fact]
    [Trait("Kind", "Truth")]
    public void Each_part_of_a_triangle_is_named()
    {
        Vec3 a = Vec3.Zero, b = new(2, 0, 0), c = new(0, 2, 0);
        TriangleFeature Of(double x, double y)
        {
            PointTriangle.Nearest(new Vec3(x, y, 3), a, b, c, out var feature);
            return feature;
        }

        Of(0.5, 0.5).Should().Be(TriangleFeature.Face);
        Of(1, -1).Should().Be(TriangleFeature.Edge01);
        Of(2, 2).Should().Be(TriangleFeature.Edge12);
        Of(-1, 1).Should().Be(TriangleFeature.Edge20);
        Of(-1, -1).Should().Be(TriangleFeature.Corner0);
        Of(4, 0).Should().Be(TriangleFeature.Corner1);
        Of(0, 4).Should().Be(TriangleFeature.Corner2);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Distance_of_eight_at_once_is_never_more_than_the_true_one_and_seldom_less()
    {
        var random = new Random(3);
        var leaf = new float[72];
        Span<float> least = stackalloc float[8];
        long tight = 0, all = 0;
        for (var round = 0; round < 20_000; round++)
        {
            var kind = round % 5;
            var scale = Math.Pow(10, random.Next(-3, 4));
            var center = new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * (kind == 1 ? 1000 : 1);
            for (var lane = 0; lane < 8; lane++)
                for (var k = 0; k < 9; k++)
                {
                    var spread = kind == 2 && k % 3 == 1 ? 1e-5 : 1;
                    var shared = kind == 3 && k >= 3 && lane % 2 == 0 ? leaf[((k - 3) * 8) + lane] : double.NaN;
                    leaf[(k * 8) + lane] = double.IsNaN(shared) ? (float)(center[k % 3] + ((random.NextDouble() - 0.5) * scale * spread)) : (float)shared;
                }

            var p = center + (new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * (scale * (kind == 4 ? 1e-3 : random.Next(1, 30))));
            TriangleDistance8.LeastSquared(ref leaf[0], new Point8(p), least);
            for (var lane = 0; lane < 8; lane++)
            {
                Vec3 At(int corner) => new(leaf[(24 * corner) + lane], leaf[(24 * corner) + 8 + lane], leaf[(24 * corner) + 16 + lane]);
                var q = PointTriangle.Nearest(p, At(0), At(1), At(2), out _);
                var squared = (p - q).LengthSquared;
                ((double)least[lane]).Should().BeLessThanOrEqualTo(squared);
                tight += least[lane] >= 0.999 * squared ? 1 : 0;
                all++;
            }
        }

        // Not a bound of the method but what makes it worth having; the flat and the coincident kinds are loose on purpose.
        ((double)tight / all).Should().BeGreaterThan(0.7);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Lanes_without_a_triangle_stay_not_a_number()
    {
        var leaf = Enumerable.Repeat(float.NaN, 72).ToArray();
        var least = new float[8];
        TriangleDistance8.LeastSquared(ref leaf[0], new Point8(new Vec3(1, 2, 3)), least);
        least.Should().OnlyContain(x => float.IsNaN(x));
        Vector256.LessThanOrEqual(Vector256.Create(least), Vector256.Create(float.MaxValue)).ExtractMostSignificantBits().Should().Be(0);
    }

    /// <summary>By another way: the plane where the foot lies inside by three half-planes, else the nearest of the three edges.</summary>
    private static double Distance(Vec3 p, Vec3 a, Vec3 b, Vec3 c)
    {
        var n = Vec3.Cross(b - a, c - a);
        var best = Math.Min(EdgeDistance(p, a, b), Math.Min(EdgeDistance(p, b, c), EdgeDistance(p, c, a)));
        if (n.Length == 0)
            return best;
        bool Inside(Vec3 u, Vec3 v) => Vec3.Dot(Vec3.Cross(n, v - u), p - u) >= 0;
        return Inside(a, b) && Inside(b, c) && Inside(c, a) ? Math.Min(best, Math.Abs(Vec3.Dot(n.Normalized(), p - a))) : best;
    }

    private static double EdgeDistance(Vec3 p, Vec3 u, Vec3 v)
    {
        var t = (v - u).LengthSquared > 0 ? Math.Clamp(Vec3.Dot(p - u, v - u) / (v - u).LengthSquared, 0, 1) : 0;
        return Vec3.Distance(p, Vec3.Lerp(u, v, t));
    }

    private static bool OnFeature(Vec3 q, Vec3 a, Vec3 b, Vec3 c, TriangleFeature feature)
    {
        var tolerance = 2e-8 * (a.Length + b.Length + c.Length);
        return feature switch
        {
            TriangleFeature.Corner0 => q == a,
            TriangleFeature.Corner1 => q == b,
            TriangleFeature.Corner2 => q == c,
            TriangleFeature.Edge01 => EdgeDistance(q, a, b) <= tolerance,
            TriangleFeature.Edge12 => EdgeDistance(q, b, c) <= tolerance,
            TriangleFeature.Edge20 => EdgeDistance(q, c, a) <= tolerance,
            _ => Distance(q, a, b, c) <= tolerance,
        };
    }
}
