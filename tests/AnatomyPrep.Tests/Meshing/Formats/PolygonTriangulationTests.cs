using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class PolygonTriangulationTests
{
    /// <summary>Star-shaped polygons at random: area by the shoelace formula, every triangle on the same side.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Any_simple_polygon_is_covered_once()
    {
        for (var seed = 0; seed < 300; seed++)
        {
            var random = new Random(seed);
            var n = random.Next(4, 40);
            var corners = new Vec3[n];
            var turn = Affine3.Rotate(new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5), random.NextDouble() * 6);
            double area = 0;
            var flat = new (double X, double Y)[n];
            for (var i = 0; i < n; i++)
            {
                var (angle, r) = ((i + (0.8 * random.NextDouble())) * Math.Tau / n, 0.2 + random.NextDouble());
                flat[i] = (r * Math.Cos(angle), r * Math.Sin(angle));
                corners[i] = turn.Map(new Vec3(flat[i].X, flat[i].Y, 0)) + new Vec3(3, 2, 1);
            }

            for (var i = 0; i < n; i++)
                area += ((flat[i].X * flat[(i + 1) % n].Y) - (flat[i].Y * flat[(i + 1) % n].X)) / 2;
            if (n < 5 || area < 0.1)
                continue;
            var read = Cut(corners);
            read.Mesh.TriangleCount.Should().Be(n - 2);
            read.Findings.Should().NotContain(f => f.Code == FindingCodes.PolygonsFolded, "seed {0}", seed);
            var normal = turn.MapDirection(new Vec3(0, 0, 1));
            double covered = 0;
            for (var t = 0; t < n - 2; t++)
            {
                var (a, b, c) = read.Mesh.Triangle(t);
                var signed = Vec3.Dot(Vec3.Cross(read.Mesh.Vertex(b) - read.Mesh.Vertex(a), read.Mesh.Vertex(c) - read.Mesh.Vertex(a)), normal) / 2;
                // Positions were rounded to float32 of numbers up to 4: 2.4e-7 across edges of up to 2.4.
                signed.Should().BeGreaterThan(-1e-6, "seed {0}", seed);
                covered += signed;
            }

            covered.Should().BeApproximately(area, 1e-5, "seed {0}", seed);
            OuterEdges(read.Mesh).Order().SequenceEqual(Enumerable.Range(0, n).Select(i => (i, (i + 1) % n))).Should().BeTrue("seed {0}", seed);
        }
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("0 0 0|4 0 0|4 1 0|0 1 0", "0 1 2 0 2 3", false)]
    [InlineData("0 0 0|1 0 0|5 5 0|0 1 0", "1 2 3 1 3 0", false)]
    [InlineData("0 0 0|4 0 0|1 1 0|0 4 0", "0 1 2 0 2 3", false)]
    [InlineData("4 0 0|1 1 0|0 4 0|0 0 0", "1 2 3 1 3 0", false)]
    [InlineData("0 0 0|1 1 0|1 0 0|0 1 0", null, true)]
    public void A_quadrilateral_is_cut_along_the_diagonal_inside_it_and_the_shorter_of_two(string corners, string? triangles, bool folded)
    {
        var read = Cut([.. corners.Split('|').Select(Point)]);
        if (triangles is not null)
            read.Mesh.Triangles.ToArray().Should().Equal(triangles.Split(' ').Select(int.Parse));
        read.Findings.Any(f => f.Code == FindingCodes.PolygonsFolded).Should().Be(folded);
    }

    [Fact]
    public void Corners_on_a_straight_edge_give_no_triangle_without_area_while_another_cut_is_possible()
    {
        // A square with two corners amid its sides: a fan from corner 0 would begin with a flat triangle.
        var read = Cut([Point("0 0 0"), Point("1 0 0"), Point("2 0 0"), Point("2 2 0"), Point("1 2 0"), Point("0 2 0")]);
        for (var t = 0; t < 4; t++)
            MeshMeasures.TriangleAreaMm2(read.Mesh, t).Should().BePositive();
    }

    [Fact]
    public void A_pentagram_is_told_to_be_folded()
    {
        var corners = Enumerable.Range(0, 5).Select(i => new Vec3(Math.Cos(2 * i * Math.Tau / 5), Math.Sin(2 * i * Math.Tau / 5), 0));
        Cut([.. corners]).Findings.Should().Contain(f => f.Code == FindingCodes.PolygonsFolded);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_polygon_too_large_to_cut_is_refused_unless_it_is_convex()
    {
        const int n = PolygonTriangulation.MostCorners + 2;
        Vec3 OnCircle(int i) => new(1e4 * Math.Cos(i * Math.Tau / n), 1e4 * Math.Sin(i * Math.Tau / n), 0);
        Cut([.. Enumerable.Range(0, n).Select(OnCircle)]).Mesh.TriangleCount.Should().Be(n - 2);
        FluentActions.Invoking(() => Cut([.. Enumerable.Range(0, n).Select(i => OnCircle(i) * (i % 2 == 0 ? 1 : 0.9))]))
            .Should().Throw<BadInputException>().WithMessage("*corners that are not convex*");
    }

    private static Vec3 Point(string text)
    {
        var n = text.Split(' ').Select(w => double.Parse(w, System.Globalization.CultureInfo.InvariantCulture)).ToArray();
        return new(n[0], n[1], n[2]);
    }

    private static MeshReadResult Cut(Vec3[] corners)
    {
        var text = new StringBuilder($"OFF\n{corners.Length} 1 0\n");
        foreach (var c in corners)
            text.AppendLine(System.Globalization.CultureInfo.InvariantCulture, $"{c.X:R} {c.Y:R} {c.Z:R}");
        text.Append(corners.Length).AppendJoin("", Enumerable.Range(0, corners.Length).Select(i => $" {i}"));
        return FormatSamples.Read(text.ToString());
    }

    private static List<(int From, int To)> OuterEdges(Mesh mesh)
    {
        var edges = EdgeTable.Build(mesh);
        var outer = new List<(int, int)>();
        for (var h = 0; h < mesh.Triangles.Length; h++)
            if (edges.Opposite[h] == EdgeTable.Boundary)
                outer.Add((mesh.Triangles[h], mesh.Triangles[EdgeTable.Next(h)]));
        return outer;
    }
}
