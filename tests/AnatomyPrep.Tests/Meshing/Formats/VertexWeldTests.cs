using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class VertexWeldTests
{
    // Few different numbers, so that equal positions, -0 beside 0, and near misses are common.
    private static readonly Gen<float> s_coordinate = Gen.Int[0, 6].Select(i => new[] { 0f, -0f, 1f, -1f, float.BitIncrement(1f), 1e-40f, 3.5e37f }[i]);

    private static readonly Gen<Mesh> s_soup =
        from corners in s_coordinate.Array[9, 900]
        let triangles = corners.Length / 9
        select new Mesh(Vec3.Zero, corners[..(9 * triangles)], [.. Enumerable.Range(0, 3 * triangles)]);

    [Fact]
    [Trait("Kind", "Property")]
    public void Exact_welding_joins_what_a_plain_dictionary_joins() => s_soup.Sample(
        mesh =>
        {
            var first = new Dictionary<Vec3, int>();
            var expected = new List<Vec3>();
            var number = new int[mesh.VertexCount];
            for (var v = 0; v < number.Length; v++)
            {
                if (!first.TryGetValue(mesh.Local(v), out number[v]))
                {
                    first[mesh.Local(v)] = number[v] = expected.Count;
                    expected.Add(mesh.Local(v));
                }
            }

            var welded = VertexWeld.Exact(mesh, FormatSamples.OneThread);
            welded.MergedVertices.Should().Be(mesh.VertexCount - expected.Count);
            welded.LargestMoveMm.Should().Be(0);
            Enumerable.Range(0, expected.Count).Select(welded.Mesh.Local).Should().Equal(expected);
            welded.Mesh.Triangles.ToArray().Should().Equal(mesh.Triangles.ToArray().Select(v => number[v]));
        },
        iter: 300,
        threads: 1);

    [Fact]
    [Trait("Kind", "Same")]
    public void Every_thread_count_welds_the_same()
    {
        // 600,000 corners of 100,000 positions: many partitions and pieces.
        var random = new Random(7);
        var positions = new float[1_800_000];
        for (var i = 0; i < positions.Length; i += 3)
        {
            var p = random.Next(100_000);
            (positions[i], positions[i + 1], positions[i + 2]) = (p % 50, p / 50 % 40, p / 2000);
        }

        var mesh = new Mesh(Vec3.Zero, positions, [.. Enumerable.Range(0, 600_000)]);
        var one = VertexWeld.Exact(mesh, new RunContext(threads: 1)).Mesh;
        one.VertexCount.Should().BeInRange(99_000, 100_000, "each of 100,000 positions is drawn six times on average, and missed with e^-6");
        foreach (var threads in new[] { 2, 3, 16 })
        {
            var other = VertexWeld.Exact(mesh, new RunContext(threads: threads)).Mesh;
            other.Positions.SequenceEqual(one.Positions).Should().BeTrue();
            other.Triangles.SequenceEqual(one.Triangles).Should().BeTrue();
        }
    }

    [Theory]
    [Trait("Kind", "Property")]
    [InlineData(0.05)]
    [InlineData(0.5)]
    [InlineData(3.0)]
    public void Within_a_tolerance_no_vertex_moves_farther_and_all_that_stay_are_farther_apart(double toleranceMm)
    {
        var random = new Random(11);
        var positions = new float[3 * 1500];
        for (var i = 0; i < positions.Length; i++)
            positions[i] = random.NextSingle() * 10;
        var mesh = new Mesh(new Vec3(5, 5, 5), positions, [.. Enumerable.Range(0, 1500)]);
        var welded = VertexWeld.Within(mesh, toleranceMm, FormatSamples.OneThread);
        double largest = 0, sum = 0;
        for (var h = 0; h < 1500; h++)
        {
            var move = Vec3.Distance(mesh.Local(h), welded.Mesh.Local(welded.Mesh.Triangles[h]));
            largest = Math.Max(largest, move);
            sum += move;
        }

        welded.LargestMoveMm.Should().Be(largest).And.BeLessThanOrEqualTo(toleranceMm);
        welded.MeanMoveMm.Should().BeApproximately(sum / Math.Max(1, welded.MergedVertices), 1e-12);
        for (var a = 0; a < welded.Mesh.VertexCount; a++)
            for (var b = 0; b < a; b++)
                if (!(Vec3.Distance(welded.Mesh.Local(a), welded.Mesh.Local(b)) > toleranceMm))
                    throw new InvalidOperationException($"{a} and {b} are within the tolerance");
        var again = VertexWeld.Within(welded.Mesh, toleranceMm, FormatSamples.OneThread);
        again.MergedVertices.Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Each_vertex_goes_to_the_nearest_that_was_kept_as_a_plain_search_finds_it()
    {
        var random = new Random(13);
        // On a grid of halves, so that ties are common: of equally near ones the earlier is taken.
        var positions = new float[3 * 900];
        for (var i = 0; i < positions.Length; i++)
            positions[i] = random.Next(-12, 12) / 2f;
        var mesh = new Mesh(Vec3.Zero, positions, [.. Enumerable.Range(0, 900)]);
        var kept = new List<Vec3>();
        var expected = new int[900];
        for (var v = 0; v < 900; v++)
        {
            var (best, nearest) = (1.0, -1);
            for (var k = 0; k < kept.Count; k++)
                if (Vec3.Distance(kept[k], mesh.Local(v)) is var d && (d < best || (d == best && nearest < 0)))
                    (best, nearest) = (d, k);
            expected[v] = nearest >= 0 ? nearest : kept.Count;
            if (nearest < 0)
                kept.Add(mesh.Local(v));
        }

        VertexWeld.Within(mesh, 1, FormatSamples.OneThread).Mesh.Triangles.ToArray().Should().Equal(expected);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Ten_thousand_vertices_in_one_place_cost_no_more_than_elsewhere()
    {
        var mesh = new Mesh(Vec3.Zero, new float[300_000], [.. Enumerable.Range(0, 99_999)]);
        VertexWeld.Within(mesh, 0.1, FormatSamples.OneThread).Mesh.VertexCount.Should().Be(1);
        VertexWeld.Exact(mesh, FormatSamples.OneThread).DegenerateTriangles.Should().Be(33_333);
    }

    [Fact]
    public void Degenerate_triangles_are_counted_and_kept_or_dropped_as_told()
    {
        var text = "v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0.001 0\nf 1 2 3\nf 1 2 4\nf 1 3 4\n";
        var kept = FormatSamples.Read(text, new MeshReadOptions(LengthUnit.Millimetre, Weld: Welding.Within, WeldToleranceMm: 0.01));
        (kept.Mesh.TriangleCount, kept.DegenerateTriangles, kept.WeldedVertices).Should().Be((3, 2, 1));
        kept.LargestWeldMoveMm.Should().BeApproximately(0.001, 1e-9);
        kept.Findings.Select(f => f.Code).Should().Equal("vertices-welded", "degenerate-present");
        var dropped = FormatSamples.Read(text, new MeshReadOptions(LengthUnit.Millimetre, Weld: Welding.Within, WeldToleranceMm: 0.01, DropDegenerate: true));
        (dropped.Mesh.TriangleCount, dropped.DegenerateTriangles).Should().Be((1, 2));
        dropped.Findings.Select(f => f.Code).Should().Equal("vertices-welded", "degenerate-removed");
    }

    [Theory]
    [InlineData(double.NaN)]
    [InlineData(-1)]
    [InlineData(1e-12)]
    [InlineData(double.PositiveInfinity)]
    public void A_tolerance_that_means_nothing_is_refused(double toleranceMm) =>
        FluentActions.Invoking(() => VertexWeld.Within(FormatSamples.Tetrahedron(), toleranceMm, FormatSamples.OneThread)).Should().Throw<ArgumentOutOfRangeException>();

    [Fact]
    public void Origins_stay_with_their_triangles()
    {
        var mesh = FormatSamples.Torus(20, 10);
        VertexWeld.Exact(mesh, FormatSamples.OneThread).Mesh.Origins.ToArray().Should().Equal(mesh.Origins.ToArray());
    }
}
