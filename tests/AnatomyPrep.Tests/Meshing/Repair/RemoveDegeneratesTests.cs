using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class RemoveDegeneratesTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_needle_between_two_equal_vertices_is_collapsed()
    {
        var sphere = TestMeshes.Icosphere(3, 10);
        var result = RemoveDegenerates.Apply(SplitVertex(sphere, 100), new(), s_run);

        RepairMeshes.ShouldBeClosed(result.Mesh);
        result.Mesh.TriangleCount.Should().Be(sphere.TriangleCount);
        result.Effect.MaxDisplacementMm.Should().Be(0);
        RepairMeshes.TriangleBytes(result.Mesh).Should().BeEquivalentTo(RepairMeshes.TriangleBytes(sphere));
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.DegenerateRemoved);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_cap_is_turned_into_two_proper_triangles_and_no_edge_opens()
    {
        var cube = Cube();
        var capped = WithCap(cube, 0);

        var result = RemoveDegenerates.Apply(capped, new(), s_run);

        RepairMeshes.ShouldBeClosed(result.Mesh);
        result.Mesh.TriangleCount.Should().Be(cube.TriangleCount + 2);
        SmallestHeight(result.Mesh).Should().BeGreaterThan(0.1);
        MeshMeasures.SignedVolumeMm3(result.Mesh).Should().BeApproximately(1, 1e-12);
        MeshMeasures.AreaMm2(result.Mesh).Should().BeApproximately(6, 1e-12);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Triangles_that_name_a_vertex_twice_are_dropped_and_their_neighbours_meet()
    {
        var sphere = TestMeshes.Icosphere(1, 10);
        int[] extra = [0, 0, sphere.Triangles[1], 5, 5, 5];
        var mesh = new Mesh(Vec3.Zero, sphere.Positions.ToArray(), [.. sphere.Triangles.ToArray(), .. extra]);

        var result = RemoveDegenerates.Apply(mesh, new(), s_run);

        RepairMeshes.Hash(result.Mesh).Should().Be(RepairMeshes.Hash(sphere));
        result.Effect.Measures!["degenerateTrianglesLeft"].Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_piece_of_nothing_but_collapsed_triangles_goes_as_a_whole()
    {
        var line = RepairMeshes.FromPoints([new(20, 0, 0), new(21, 0, 0), new(22, 0, 0), new(23, 0, 0)], [(0, 1, 2), (0, 2, 1), (0, 3, 1), (0, 1, 3)]);
        var sphere = TestMeshes.Icosphere(1, 10);

        var result = RemoveDegenerates.Apply(TestMeshes.Join(sphere, line), new(), s_run);

        RepairMeshes.Hash(result.Mesh).Should().Be(RepairMeshes.Hash(sphere));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void What_cannot_be_removed_is_named()
    {
        // A flat triangle with two more sheets at each of its edges: every edit would tear one of them.
        var mesh = RepairMeshes.FromPoints(
            [new(0, 0, 0), new(2, 0, 0), new(1, 0, 0), new(1, 1, 0), new(1, 0, 1), new(1, -1, 0), new(1, 0, -1)],
            [(0, 1, 2), (1, 0, 3), (1, 0, 4), (0, 2, 5), (0, 2, 6), (2, 1, 5), (2, 1, 6)]);

        var result = RemoveDegenerates.Apply(mesh, new(), s_run);

        result.Findings.Should().Contain(f => f.Code == FindingCodes.DegenerateKept && f.Severity == Severity.Caution);
        result.Effect.Measures!["degenerateTrianglesLeft"].Should().Be(1);
        EdgeTable.Build(result.Mesh).BoundaryEdges.Should().Be(EdgeTable.Build(mesh).BoundaryEdges);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Spoilt_spheres_come_back_closed_with_their_volume_whatever_was_done_to_them() =>
        Gen.Select(Gen.Int[0, 10_000], Gen.Int[1, 40]).Sample(
            (seed, faults) =>
            {
                var random = new Random(seed);
                var mesh = TestMeshes.Icosphere(3, 50);
                for (var i = 0; i < faults; i++)
                    mesh = random.Next(2) == 0 ? SplitVertex(mesh, random.Next(600)) : WithCap(mesh, random.Next(mesh.TriangleCount));

                var result = RemoveDegenerates.Apply(mesh, new(), s_run);

                RepairMeshes.ShouldBeClosed(result.Mesh);
                RepairMeshes.Euler(result.Mesh).Should().Be(2);
                var limitMm = RemoveDegenerates.DefaultHeightMm(mesh);
                SmallestHeight(result.Mesh).Should().BeGreaterThan(limitMm);
                // Every edit moves the surface by at most the limit within the edited star; twice the area bounds them all.
                var bound = 2 * MeshMeasures.AreaMm2(mesh) * limitMm;
                result.Effect.VolumeAfterMm3!.Value.Should().BeApproximately(result.Effect.VolumeBeforeMm3!.Value, bound);
                result.Effect.MaxDisplacementMm.Should().BeLessThanOrEqualTo(limitMm);
                RemoveDegenerates.Apply(result.Mesh, new(limitMm), s_run).Mesh.Should().BeSameAs(result.Mesh);
            },
            iter: 60);

    [Fact]
    [Trait("Kind", "Property")]
    public void Soups_of_random_indices_are_repaired_twice_as_once() =>
        Gen.Int[0, 1_000_000].Sample(
            seed =>
            {
                // Few places on a small grid, so that equal points, lines and doubled triangles abound.
                var random = new Random(seed);
                var points = Enumerable.Range(0, 12).Select(_ => new Vec3(random.Next(3), random.Next(3), random.Next(2))).ToArray();
                var faces = Enumerable.Range(0, 30).Select(_ => (random.Next(12), random.Next(12), random.Next(12))).ToArray();
                var mesh = RepairMeshes.FromPoints(points, faces);

                var result = RemoveDegenerates.Apply(mesh, new(), s_run);

                result.Mesh.TriangleCount.Should().BeLessThanOrEqualTo(mesh.TriangleCount);
                RemoveDegenerates.Apply(result.Mesh, new(RemoveDegenerates.DefaultHeightMm(mesh)), s_run).Mesh.Should().BeSameAs(result.Mesh);
            },
            iter: 300);

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("head-scan-lps.obj", 6)]
    [InlineData("openscad-nonmanifold-crash.obj", 1)]
    public void Real_meshes_lose_their_degenerate_triangles_and_gain_no_border(string name, int atLeast)
    {
        // Counts of exactly zero area: PROVENANCE.md.
        var mesh = TestMeshes.Welded(TestMeshes.Shared(name));
        var before = EdgeTable.Build(mesh).BoundaryEdges;

        var result = RemoveDegenerates.Apply(mesh, new(), s_run);

        result.Effect.Measures!["degenerateTriangles"].Should().BeGreaterThanOrEqualTo(atLeast);
        result.Effect.Measures["degenerateTrianglesLeft"].Should().Be(0);
        EdgeTable.Build(result.Mesh).BoundaryEdges.Should().Be(before);
    }

    /// <summary>Doubles a vertex in place: two of its edges become needles.</summary>
    private static Mesh SplitVertex(Mesh mesh, int v)
    {
        var triangles = mesh.TriangleArray.ToList();
        var fan = Fan(mesh, v);
        if (fan.Count < 4)
            return mesh;
        var copy = mesh.VertexCount;
        for (var i = 0; i < 2; i++)
            triangles[fan[i]] = copy;
        // The two slits between the halves of the fan.
        var (first, last) = (fan[0], fan[1]);
        triangles.AddRange([v, triangles[EdgeTable.Next(first)], copy]);
        triangles.AddRange([copy, triangles[EdgeTable.Previous(last)], v]);
        return new(mesh.OriginMm, [.. mesh.Positions, .. mesh.Positions.Slice(3 * v, 3)], [.. triangles]);
    }

    /// <summary>Corners at a vertex in turn, each triangle sharing an edge with the next.</summary>
    private static List<int> Fan(Mesh mesh, int v)
    {
        var edges = EdgeTable.Build(mesh);
        var start = mesh.Triangles.IndexOf(v);
        var fan = new List<int>();
        var at = start;
        do
        {
            fan.Add(at);
            at = edges.Opposite[EdgeTable.Previous(at)];
        }
        while (at >= 0 && at != start);
        return fan;
    }

    /// <summary>Puts a vertex on the first edge of a triangle: the triangle is halved, its neighbour gets a cap of no height.</summary>
    private static Mesh WithCap(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        var m = (mesh.Local(a) + mesh.Local(b)) * 0.5;
        var triangles = mesh.TriangleArray.ToList();
        var middle = mesh.VertexCount;
        (triangles[3 * t], triangles[(3 * t) + 1], triangles[(3 * t) + 2]) = (a, middle, c);
        triangles.AddRange([middle, b, c, a, b, middle]);
        return new(mesh.OriginMm, [.. mesh.Positions, (float)m.X, (float)m.Y, (float)m.Z], [.. triangles]);
    }

    private static Mesh Cube() => RepairMeshes.FromPoints(
        [new(0, 0, 0), new(1, 0, 0), new(1, 1, 0), new(0, 1, 0), new(0, 0, 1), new(1, 0, 1), new(1, 1, 1), new(0, 1, 1)],
        [(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7), (0, 1, 5), (0, 5, 4), (1, 2, 6), (1, 6, 5), (2, 3, 7), (2, 7, 6), (3, 0, 4), (3, 4, 7)]);

    private static double SmallestHeight(Mesh mesh) => Enumerable.Range(0, mesh.TriangleCount).Min(t =>
    {
        var (a, b, c) = mesh.Triangle(t);
        return TriangleShape.HeightMm(mesh.Local(a), mesh.Local(b), mesh.Local(c));
    });
}
