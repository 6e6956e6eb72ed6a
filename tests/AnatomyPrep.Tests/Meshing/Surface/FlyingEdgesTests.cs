using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Tests.Meshing.Surface;

public sealed class FlyingEdgesTests
{
    // HU per voxel of distance. Rounding to whole HU moves a vertex by at most 0.5 / 1000 voxel.
    private const double SlopeHu = 1000;

    public static TheoryData<double, int, int, double, double> Spheres => new()
    {
        // Vertex and triangle counts and ratios to the exact sphere: computed independently for this project with a small
        // program of its own (linear interpolation of r - |p| on the integer grid, centre on a node).
        { 5.25, 534, 1064, 0.97834, 0.98863 },
        { 10.25, 1998, 3992, 0.99432, 0.99702 },
        { 20.25, 7830, 15656, 0.99854, 0.99924 },
    };

    [Theory]
    [MemberData(nameof(Spheres))]
    [Trait("Kind", "Truth")]
    public void Sphere_has_the_counts_volume_and_area_the_method_must_give(double radius, int vertices, int triangles, double volumeRatio, double areaRatio)
    {
        var size = (2 * (int)Math.Ceiling(radius)) + 7;
        using var volume = Grid.FromPatient(size, size, Grid.Map(size, size, size), p => SlopeHu * (radius - p.Length));
        var mesh = Surface(volume, new HuWindow(0, short.MaxValue)).Mesh;

        mesh.VertexCount.Should().Be(vertices);
        mesh.TriangleCount.Should().Be(triangles);
        // Area × half a rounding step bounds the change of volume; the printed ratios carry 5 digits.
        var roundingBound = (3 / radius * 0.5 / SlopeHu) + 1e-5;
        (MeshMeasures.SignedVolumeMm3(mesh) / (4.0 / 3 * Math.PI * Math.Pow(radius, 3))).Should().BeApproximately(volumeRatio, roundingBound);
        (MeshMeasures.AreaMm2(mesh) / (4 * Math.PI * radius * radius)).Should().BeApproximately(areaRatio, roundingBound);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Torus_has_the_counts_the_method_must_give_and_one_handle()
    {
        // Counts: computed independently, as above.
        using var volume = Grid.FromPatient(67, 67, Grid.Map(67, 67, 25), p =>
            SlopeHu * (8.2 - Math.Sqrt(Math.Pow(Math.Sqrt((p.X * p.X) + (p.Y * p.Y)) - 20.3, 2) + (p.Z * p.Z))));
        var mesh = Surface(volume, new HuWindow(0, short.MaxValue)).Mesh;

        mesh.VertexCount.Should().Be(9720);
        mesh.TriangleCount.Should().Be(19440);
        Euler(mesh).Should().Be(0);
        (MeshMeasures.SignedVolumeMm3(mesh) / (2 * Math.PI * Math.PI * 20.3 * 8.2 * 8.2))
            // The counts fix the vertices, not the diagonals: drawing the other ones moved this ratio by 2.0e-4 (both measured).
            .Should().BeApproximately(0.99692, 2.1e-4);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Shell_is_one_solid_with_an_inner_surface()
    {
        using var volume = Grid.FromPatient(39, 39, Grid.Map(39, 39, 39), p => SlopeHu * Math.Min(15.25 - p.Length, p.Length - 11.25));
        var mesh = Surface(volume, new HuWindow(0, short.MaxValue)).Mesh;

        mesh.VertexCount.Should().Be(6804);
        mesh.TriangleCount.Should().Be(13600);
        Euler(mesh).Should().Be(4);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Sphere_vertices_lie_within_the_interpolation_bound()
    {
        // h² / (8 (R - h)) from the second derivative of the distance along an edge, plus half a HU of rounding, plus
        // the clearance where a vertex was moved off a sample. Derivation: docs/methods/surface.md, eq. 1.
        const double radius = 9.6, h = 1.0;
        using var volume = Grid.FromPatient(27, 27, Grid.Map(27, 27, 27), p => SlopeHu * (radius - (p - new Vec3(0.31, -0.17, 0.23)).Length));
        var mesh = Surface(volume, new HuWindow(0, short.MaxValue)).Mesh;
        var bound = (h * h / (8 * (radius - h))) + (0.5 / SlopeHu) + FlyingEdges.ClearanceMm;

        var worst = Enumerable.Range(0, mesh.VertexCount).Max(v => Math.Abs((mesh.Vertex(v) - new Vec3(0.31, -0.17, 0.23)).Length - radius));
        worst.Should().BeInRange(0.5 * bound, bound);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Any_region_gives_a_closed_oriented_manifold()
    {
        for (var seed = 0; seed < 40; seed++)
        {
            // Values -1, 0 and 1 at level 0: ties everywhere, ambiguous faces everywhere, body open on every side.
            using var volume = Grid.Noise(9, 8, 7, seed);
            var mesh = Surface(volume, new HuWindow(0, short.MaxValue)).Mesh;

            var edges = EdgeTable.Build(mesh);
            (edges.BoundaryEdges, edges.NonManifoldEdges, edges.InconsistentEdges).Should().Be((0, 0, 0), "of seed {0}", seed);
            FansPerVertex(mesh, edges).Should().AllSatisfy(fans => fans.Should().Be(1));
            MeshMeasures.SignedVolumeMm3(mesh).Should().BePositive();
            DistinctPositions(mesh).Should().Be(mesh.VertexCount, "no two vertices may coincide, or a file without indices would weld them");
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Every_pattern_of_a_cell_is_closed_by_its_neighbours()
    {
        for (var pattern = 1; pattern < 256; pattern++)
        {
            var p = pattern;
            using var volume = Grid.FromIndex(4, 4, Grid.Map(4, 4, 4), (i, j, k) =>
                i is 1 or 2 && j is 1 or 2 && k is 1 or 2 && ((p >> ((i - 1) + (2 * (j - 1)) + (4 * (k - 1)))) & 1) != 0 ? (short)100 : (short)-100);
            var mesh = Surface(volume, new HuWindow(0, short.MaxValue)).Mesh;
            var edges = EdgeTable.Build(mesh);
            (edges.BoundaryEdges, edges.NonManifoldEdges, edges.InconsistentEdges).Should().Be((0, 0, 0), "of pattern {0}", pattern);
        }
    }

    [Fact]
    public void Body_that_leaves_the_images_is_closed_there_and_marked_cut()
    {
        using var volume = Grid.FromPatient(21, 21, Grid.Map(21, 21, 11), p => SlopeHu * (8.3 - Math.Sqrt((p.X * p.X) + (p.Y * p.Y))));
        var mesh = Surface(volume, new HuWindow(0, short.MaxValue)).Mesh;

        EdgeTable.Build(mesh).BoundaryEdges.Should().Be(0);
        var areas = MeshMeasures.AreaByOriginMm2(mesh);
        // Both caps: the area of the disc as the method sees it (chords inside the circle, within h²/8R of it), and the
        // side wall that is 10 mm high between the outermost slices.
        areas[(int)Origin.Cut].Should().BeInRange(2 * Math.PI * Math.Pow(8.3 - (1 / (8 * 7.3)) - 0.01, 2) * 0.98, 2 * Math.PI * Math.Pow(8.32, 2));
        areas[(int)Origin.Measured].Should().BeApproximately(2 * Math.PI * 8.3 * 10, 2 * Math.PI * 8.3 * 10 * 0.01);
        var bounds = mesh.BoundsMm();
        bounds.Min.Z.Should().BeApproximately(-5 - FlyingEdges.ClearanceMm, 1e-6);
        bounds.Max.Z.Should().BeApproximately(5 + FlyingEdges.ClearanceMm, 1e-6);
    }

    [Fact]
    public void Upper_level_places_the_surface_too()
    {
        // HU rises outward from 0 to 1000 per mm; a window from 2000 to 6000 is the shell from r 2 to r 6.
        using var volume = Grid.FromPatient(21, 21, Grid.Map(21, 21, 21), p => SlopeHu * p.Length);
        var mesh = Surface(volume, new HuWindow(2000, 6000)).Mesh;
        var radii = Enumerable.Range(0, mesh.VertexCount).Select(v => mesh.Vertex(v).Length).ToArray();
        radii.Should().OnlyContain(r => Math.Abs(r - 2) < 0.13 || Math.Abs(r - 6) < 0.03);
        Euler(mesh).Should().Be(4);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_no_byte()
    {
        using var volume = Grid.Noise(70, 33, 29, 5, -300, 300);
        var one = Surface(volume, new HuWindow(20, short.MaxValue), 1).Mesh;
        foreach (var threads in new[] { 2, 3, 16 })
        {
            var other = Surface(volume, new HuWindow(20, short.MaxValue), threads).Mesh;
            other.Positions.SequenceEqual(one.Positions).Should().BeTrue();
            other.Triangles.SequenceEqual(one.Triangles).Should().BeTrue();
            other.Origins.SequenceEqual(one.Origins).Should().BeTrue();
        }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Positions_from_terms_of_a_row_are_those_of_the_map()
    {
        // A level that is said to differ from place to place, and does not, sends every vertex through the map. Tilted, uneven slices.
        Vec3[] slices = [new(-31.7, 12.1, -5.3), new(-31.7, 12.4, -4.1), new(-31.6, 13.3, -1.9), new(-31.5, 13.7, 0.2), new(-31.5, 14.6, 3.3)];
        var map = new IndexToPatient(new Vec3(0.43, 0.02, 0.01), new Vec3(-0.02, 0.45, 0.03), slices);
        var random = new Random(11);
        using var volume = Grid.FromIndex(70, 9, map, (_, _, _) => (short)random.Next(-300, 300));
        var window = new HuWindow(-40, 170);
        var quick = Surface(volume, window);
        using var plain = Threshold.Apply(volume, window, RunContext.Default);
        using var levelled = new Region(70, 9, 5, window, new LevelField(70, 9, 5, 100, 100, [.. Enumerable.Repeat((short)-40, 8)]));
        for (var k = 0; k < 5; k++)
            for (var j = 0; j < 9; j++)
                plain.Row(j, k).CopyTo(levelled.Row(j, k));
        var slow = FlyingEdges.Extract(volume, levelled, RunContext.Default);

        quick.Mesh.TriangleCount.Should().BeGreaterThan(3000);
        quick.Mesh.Positions.SequenceEqual(slow.Mesh.Positions).Should().BeTrue();
        quick.Mesh.Origins.SequenceEqual(slow.Mesh.Origins).Should().BeTrue();
        quick.VerticesKeptClear.Should().Be(slow.VerticesKeptClear);
    }

    [Fact]
    public void Cancelled_before_it_ends()
    {
        using var volume = Grid.Noise(20, 20, 20, 1);
        using var region = Threshold.Apply(volume, new HuWindow(0, 1), RunContext.Default);
        using var stop = new CancellationTokenSource();
        stop.Cancel();
        var act = () => FlyingEdges.Extract(volume, region, new RunContext(cancellation: stop.Token));
        act.Should().Throw<OperationCanceledException>();
    }

    private static ExtractedSurface Surface(Volume volume, HuWindow window, int? threads = null)
    {
        var run = new RunContext(threads: threads);
        using var region = Threshold.Apply(volume, window, run);
        return FlyingEdges.Extract(volume, region, run);
    }

    private static int Euler(Mesh mesh) => mesh.VertexCount - EdgeTable.Build(mesh).EdgeCount + mesh.TriangleCount;

    private static int DistinctPositions(Mesh mesh) =>
        Enumerable.Range(0, mesh.VertexCount).Select(v => ((float)mesh.Vertex(v).X, (float)mesh.Vertex(v).Y, (float)mesh.Vertex(v).Z)).Distinct().Count();

    // Number of separate triangle fans around each vertex, walked over the edges.
    private static int[] FansPerVertex(Mesh mesh, EdgeTable edges)
    {
        var fans = new int[mesh.VertexCount];
        var visited = new bool[mesh.Triangles.Length];
        for (var h = 0; h < visited.Length; h++)
        {
            if (visited[h])
                continue;
            fans[mesh.Triangles[h]]++;
            for (var at = h; !visited[at]; at = EdgeTable.Next(edges.Opposite[at]))
                visited[at] = true;
        }

        return fans;
    }
}
