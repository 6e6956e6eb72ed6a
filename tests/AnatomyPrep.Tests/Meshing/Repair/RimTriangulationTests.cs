using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Repair;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class RimTriangulationTests
{
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData(3, 1)]
    [InlineData(4, 2)]
    [InlineData(6, 14)]
    [InlineData(8, 132)]
    public void Every_triangulation_of_a_polygon_is_counted_by_Catalan(int corners, int count) =>
        // reference-values.md, 3: Catalan(n - 2). This pins the enumeration that the next tests compare with.
        Enumerate(0, corners - 1).Should().HaveCount(count);

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_least_area_is_found_among_all_triangulations() =>
        Gen.Int[0, 1_000_000].Sample(
            seed =>
            {
                var random = new Random(seed);
                var rim = Enumerable.Range(0, 9).Select(_ => new Vec3(random.NextDouble(), random.NextDouble(), random.NextDouble())).ToArray();
                var found = RimTriangulation.Triangulate(rim, new Vec3[rim.Length], (_, _) => false, weighAngles: false)!;

                found.Should().HaveCount(rim.Length - 2);
                var least = Enumerate(0, rim.Length - 1).Min(t => Area(rim, t));
                // Seven areas of at most 6 mm2 in float32: 7 x 6 x 2^-24 x a few operations.
                Area(rim, found).Should().BeApproximately(least, 2e-5);
            },
            iter: 60);

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(10)]
    [InlineData(60)]
    [InlineData(120)]
    public void A_hole_across_a_ridge_bends_nowhere_more_than_the_ridge(double foldDeg)
    {
        // A square of 10 x 10, corners every 1, bent about the line x = 5 (corners 5 and 25 of 40): two planes.
        var (sin, cos) = Math.SinCos(foldDeg * Math.PI / 180);
        Vec3 Bent(double x, double y) => x <= 5 ? new Vec3(x, y, 0) : new Vec3(5 + ((x - 5) * cos), y, -(x - 5) * sin);
        var flat = Enumerable.Range(0, 40).Select(i => (i / 10, i % 10)).Select(c => c.Item1 switch
        {
            0 => (c.Item2, 0),
            1 => (10, c.Item2),
            2 => (10 - c.Item2, 10),
            _ => (0, 10 - c.Item2),
        }).ToArray();
        var rim = flat.Select(p => Bent(p.Item1, p.Item2)).ToArray();
        var outside = Enumerable.Range(0, 40).Select(i => (flat[i].Item1 + flat[(i + 1) % 40].Item1) / 2.0 < 5 ? new Vec3(0, 0, 1) : new Vec3(sin, 0, cos)).ToArray();

        var found = RimTriangulation.Triangulate(rim, outside, (_, _) => false, weighAngles: true)!;

        // Folding along the ridge bends by the fold; shared out over several edges it bends less. Angles go in steps of 1/256.
        WorstBend(rim, outside, found).Should().BeLessThan(1 - cos + (1.01 / 256));
        var leastArea = RimTriangulation.Triangulate(rim, outside, (_, _) => false, weighAngles: false)!;
        Area(rim, leastArea).Should().BeLessThanOrEqualTo(Area(rim, found) + 1e-4);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Forbidden_chords_are_not_used_and_no_way_out_is_said()
    {
        var rim = Enumerable.Range(0, 12).Select(i => new Vec3(Math.Cos(i * Math.PI / 6), Math.Sin(i * Math.PI / 6), 0)).ToArray();
        bool AtZero(int i, int k) => i == 0;

        var found = RimTriangulation.Triangulate(rim, new Vec3[12], AtZero, weighAngles: true)!;

        found.Should().HaveCount(10);
        found.Should().NotContain(t => (t.A == 0 && t.B > 1 && t.B < 11) || (t.A == 0 && t.C > 1 && t.C < 11));
        RimTriangulation.Triangulate(rim, new Vec3[12], (_, _) => true, weighAngles: true).Should().BeNull();
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(401)]
    [InlineData(3000)]
    public void A_long_rim_is_halved_and_still_closed_with_its_area(int corners)
    {
        // A wavy star: no convex polygon, and plane, so that every valid triangulation has the same area.
        var rim = Enumerable.Range(0, corners).Select(i =>
        {
            var a = 2 * Math.PI * i / corners;
            var r = 10 + (2 * Math.Sin(7 * a));
            return new Vec3(r * Math.Cos(a), r * Math.Sin(a), 0);
        }).ToArray();

        var found = RimTriangulation.Triangulate(rim, new Vec3[corners], (_, _) => false, weighAngles: true)!;

        found.Should().HaveCount(corners - 2);
        var shoelace = Enumerable.Range(0, corners).Sum(i => Vec3.Cross(rim[i], rim[(i + 1) % corners]).Z) / 2;
        Area(rim, found).Should().BeApproximately(shoelace, 1e-9 * shoelace);
    }

    private static IEnumerable<List<(int A, int B, int C)>> Enumerate(int i, int k)
    {
        if (k - i < 2)
        {
            yield return [];
            yield break;
        }

        for (var m = i + 1; m < k; m++)
            foreach (var left in Enumerate(i, m))
                foreach (var right in Enumerate(m, k))
                    yield return [(i, m, k), .. left, .. right];
    }

    private static double Area(Vec3[] rim, IEnumerable<(int A, int B, int C)> triangles) =>
        triangles.Sum(t => Vec3.Cross(rim[t.B] - rim[t.A], rim[t.C] - rim[t.A]).Length / 2);

    private static double WorstBend(Vec3[] rim, Vec3[] outside, IReadOnlyList<(int A, int B, int C)> triangles)
    {
        Vec3 Normal((int A, int B, int C) t) => TriangleShape.Normal(rim[t.A], rim[t.B], rim[t.C]);
        double worst = 0;
        for (var s = 0; s < triangles.Count; s++)
        {
            var t = triangles[s];
            foreach (var (from, to) in ((int, int)[])[(t.A, t.B), (t.B, t.C), (t.C, t.A)])
            {
                if ((from + 1) % rim.Length == to)
                    worst = Math.Max(worst, 1 - Vec3.Dot(Normal(t), outside[from]));
            }

            for (var r = 0; r < s; r++)
            {
                var u = triangles[r];
                if (((int[])[t.A, t.B, t.C]).Count(v => v == u.A || v == u.B || v == u.C) == 2)
                    worst = Math.Max(worst, 1 - Vec3.Dot(Normal(t), Normal(u)));
            }
        }

        return worst;
    }
}
