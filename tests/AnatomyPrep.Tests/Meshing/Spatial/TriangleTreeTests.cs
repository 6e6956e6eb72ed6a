using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Tests.Meshing.Spatial;

public class TriangleTreeTests
{
    private static readonly RunContext s_run = new(threads: 1);

    public static TheoryData<string> Shapes => ["soup", "flat", "sphere", "mixed sizes", "one", "coincident", "far origin"];

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Shapes))]
    public void Nearest_point_is_that_of_trying_every_triangle(string shape)
    {
        var mesh = Shape(shape);
        var tree = TriangleTree.Build(mesh, s_run);
        foreach (var p in Queries(mesh, 300))
        {
            var expected = NearestOfAll(mesh, p);
            var found = tree.Nearest(p);
            found.Triangle.Should().Be(expected.Triangle);
            found.DistanceMm.Should().Be(expected.DistanceMm);
            tree.Nearest(p, expected.DistanceMm * 0.999).Found.Should().Be(expected.DistanceMm == 0);
        }
    }

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Shapes))]
    public void Many_points_at_once_get_what_each_gets_alone(string shape)
    {
        var mesh = Shape(shape);
        var tree = TriangleTree.Build(mesh, s_run);
        Vec3[] points = [.. Queries(mesh, 3000), new(double.NaN, 0, 0), mesh.Vertex(0), mesh.Vertex(0)];
        var alone = points.Select(p => tree.Nearest(p)).ToArray();
        foreach (var threads in new[] { 1, 2, 16 })
            tree.Nearest(points, new RunContext(threads: threads)).SequenceEqual(alone).Should().BeTrue();
    }

    /// <summary>A point at distance d above a sphere's inscribed mesh: between d and d plus the depth of the flat faces.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Distance_to_a_sphere_is_right_within_the_depth_of_its_faces()
    {
        const double Radius = 50;
        var mesh = TestMeshes.Icosphere(5, Radius);
        var tree = TriangleTree.Build(mesh, s_run);

        // Longest edge e of the faces: a face lies at most R − √(R² − e²/3) under the sphere (its circumradius is at most e/√3).
        double edge = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            edge = Math.Max(edge, Math.Max(Vec3.Distance(mesh.Vertex(a), mesh.Vertex(b)), Math.Max(Vec3.Distance(mesh.Vertex(b), mesh.Vertex(c)), Vec3.Distance(mesh.Vertex(c), mesh.Vertex(a)))));
        }

        var depth = Radius - Math.Sqrt((Radius * Radius) - (edge * edge / 3));
        double worst = 0;
        foreach (var direction in Directions(500))
        {
            foreach (var r in new[] { 10.0, 49, 51, 90 })
            {
                var off = tree.Nearest(direction * r).DistanceMm - Math.Abs(r - Radius);
                off.Should().BeInRange(-depth - 1e-5, depth + 1e-5);
                worst = Math.Max(worst, Math.Abs(off) / depth);
            }
        }

        worst.Should().BeInRange(0.5, 1.001, "a bound that is never approached is a wrong bound");
    }

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Shapes))]
    public void Triangles_near_a_box_are_those_whose_boxes_meet_it(string shape)
    {
        var mesh = Shape(shape);
        var tree = TriangleTree.Build(mesh, s_run);
        var found = new List<int>();
        var random = new Random(8);
        var queries = Queries(mesh, 100).ToArray();
        for (var i = 0; i < queries.Length; i++)
        {
            var box = Box3.Empty.Including(queries[i]).Including(queries[i] + (new Vec3(random.NextDouble(), random.NextDouble(), random.NextDouble()) * (i % 4)));
            found.Clear();
            tree.TrianglesNear(box, found);
            var sure = Enumerable.Range(0, mesh.TriangleCount).Where(t => BoxOf(mesh, t).Overlaps(box));
            var possible = Enumerable.Range(0, mesh.TriangleCount).Where(t => BoxOf(mesh, t).Overlaps(box.Grown(1e-3)));
            found.Should().OnlyHaveUniqueItems().And.BeSubsetOf(possible);
            sure.Except(found).Should().BeEmpty();
        }
    }

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Shapes))]
    public void Rays_hit_what_trying_every_triangle_hits(string shape)
    {
        var mesh = Shape(shape);
        var tree = TriangleTree.Build(mesh, s_run);
        var directions = Directions(200).ToArray();
        var hits = new List<RayHit>();
        var i = 0;
        foreach (var from in Queries(mesh, 200))
        {
            var direction = i % 5 == 0 ? Axis(i / 5) : i % 5 == 1 ? (mesh.Vertex(i % mesh.VertexCount) - from).Normalized() : directions[i];
            i++;
            if (direction == Vec3.Zero)
                continue;
            var expected = HitsOfAll(mesh, from, direction, 0.1, 40);
            tree.AllHits(from, direction, 0.1, 40, hits);
            hits.Should().Equal(expected);
            tree.FirstHit(from, direction, 0.1, 40, out var first).Should().Be(expected.Count > 0);
            if (expected.Count > 0)
                first.Should().Be(expected[0]);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Ray_through_a_cube_enters_and_leaves_at_its_faces()
    {
        var tree = TriangleTree.Build(TestMeshes.Cube(2), s_run);
        var hits = new List<RayHit>();
        tree.AllHits(new Vec3(-3, 1, 1), new Vec3(1, 0, 0), 0, 100, hits);
        hits.Select(h => (h.DistanceMm, h.Entering)).Should().Equal((3.0, true), (5.0, false));
        tree.FirstHit(new Vec3(1, 1, 1), new Vec3(0, 0, -7), 0, 100, out var hit).Should().BeTrue();
        (hit.DistanceMm, hit.Entering).Should().Be((1.0, false));
        tree.FirstHit(new Vec3(1, 1, 1), new Vec3(0, 0, -7), 0, 0.5, out _).Should().BeFalse();
    }

    /// <summary>
    /// Rays aimed at vertices, along edges, in planes of faces: on a closed surface entering and leaving must take turns, whatever
    /// is met. Integer coordinates make all of these hits exact.
    /// </summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void Entering_and_leaving_take_turns_also_through_corners_and_along_edges()
    {
        var mesh = TestMeshes.Join(
            TestMeshes.Box(new Vec3(0, 0, 0), new Vec3(4, 4, 4)),
            TestMeshes.Box(new Vec3(8, 0, 0), new Vec3(12, 4, 4)),
            TestMeshes.Torus(3, 1, 8, 8).Moved(Affine3.Translate(new Vec3(20, 2, 2))));
        var tree = TriangleTree.Build(mesh, s_run);
        var hits = new List<RayHit>();
        var through = 0;
        for (var y = -2; y <= 6; y++)
        {
            for (var z = -2; z <= 6; z++)
            {
                foreach (var direction in new Vec3[] { new(1, 0, 0), new(2, 1, 0), new(1, 1, 1), new(1, 0, -1) })
                {
                    tree.AllHits(new Vec3(-10, y, z), direction, 0, 1000, hits);
                    (hits.Count % 2).Should().Be(0);
                    hits.Count(h => h.Entering).Should().Be(hits.Count / 2);
                    for (var i = 1; i < hits.Count; i++)
                        if (hits[i].DistanceMm > hits[i - 1].DistanceMm + 1e-9)
                            hits.Take(i).Sum(h => h.Entering ? 1 : -1).Should().BeInRange(0, 1);
                    through += hits.Count;
                }
            }
        }

        through.Should().BePositive();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Parity_tells_inside_for_points_in_line_with_corners_edges_and_faces()
    {
        var mesh = TestMeshes.Join(TestMeshes.Box(new Vec3(0, 0, 0), new Vec3(4, 4, 4)), TestMeshes.Box(new Vec3(1, 1, 1), new Vec3(3, 3, 3)).Turned());
        var tree = TriangleTree.Build(mesh, s_run);
        for (var x = -2.0; x <= 6; x += 0.5)
            for (var y = -2.0; y <= 6; y += 0.5)
                for (var z = -2.0; z <= 6; z += 0.5)
                {
                    bool In(double low, double high) => x > low && x < high && y > low && y < high && z > low && z < high;
                    bool On(double low, double high) => x >= low && x <= high && y >= low && y <= high && z >= low && z <= high && !In(low, high);
                    if (!On(0, 4) && !On(1, 3))
                        tree.IsInsideByParity(new Vec3(x, y, z)).Should().Be(In(0, 4) && !In(1, 3));
                }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Tree_is_the_same_on_any_number_of_threads()
    {
        var mesh = TestMeshes.Torus(40, 15, 300, 150);
        var expected = TriangleTree.Build(mesh, s_run).Order.ToArray();
        expected.Order().Should().Equal(Enumerable.Range(0, mesh.TriangleCount));
        foreach (var threads in new[] { 2, 3, 16 })
            TriangleTree.Build(mesh, new RunContext(threads: threads)).Order.ToArray().Should().Equal(expected);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Memory_is_44_bytes_a_triangle()
    {
        var mesh = TestMeshes.Torus(40, 15, 300, 150);
        ((double)TriangleTree.Build(mesh, s_run).Bytes / mesh.TriangleCount).Should().BeLessThan(44);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Empty_mesh_is_searched_without_a_find()
    {
        var tree = TriangleTree.Build(Mesh.Empty, s_run);
        tree.Nearest(Vec3.Zero).Found.Should().BeFalse();
        tree.FirstHit(Vec3.Zero, new Vec3(1, 0, 0), 0, 10, out _).Should().BeFalse();
        tree.IsInsideByParity(Vec3.Zero).Should().BeFalse();
        var found = new List<int>();
        tree.TrianglesNear(new Box3(Vec3.Zero, Vec3.Zero), found);
        found.Should().BeEmpty();
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(float.NaN)]
    [InlineData(float.PositiveInfinity)]
    [InlineData(-1e30f)]
    public void Corner_that_is_nowhere_is_refused_by_triangle(float bad)
    {
        var mesh = new Mesh(Vec3.Zero, [0, 0, 0, 1, 0, 0, 0, 1, 0, 0, bad, 0], [0, 1, 2, 0, 1, 3]);
        var build = () => TriangleTree.Build(mesh, s_run);
        build.Should().Throw<BadInputException>().Which.Value.Should().Contain("triangle 1");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Outliers_and_giant_triangles_leave_searches_quick()
    {
        // One corner a kilometre away and forty triangles as large as the scene: the tree must still tell most triangles apart.
        var sphere = TestMeshes.Icosphere(5, 100);
        var giants = Enumerable.Range(0, 40).Select(i => TestMeshes.Of(
            [new(-150, -150, -150 + i), new(150, -150, -150 + i), new(0, i == 7 ? 1e6 : 150, -150 + i)], [0, 1, 2]));
        var tree = TriangleTree.Build(TestMeshes.Join([sphere, .. giants]), s_run);
        var found = new List<int>();
        foreach (var p in Directions(200))
        {
            found.Clear();
            tree.TrianglesNear(new Box3(p * 100, p * 100).Grown(1), found);
            found.Count.Should().BeLessThan(80);
        }

        // Neighbours on the curve stay neighbours in space in spite of the outlier: mean step below 5 triangle sizes.
        double steps = 0;
        var order = tree.Order.ToArray();
        for (var i = 1; i < sphere.TriangleCount; i++)
            steps += Vec3.Distance(BoxOf(tree.Mesh, order[i]).Center, BoxOf(tree.Mesh, order[i - 1]).Center);
        (steps / sphere.TriangleCount).Should().BeLessThan(5 * Math.Sqrt(4 * Math.PI * 1e4 / sphere.TriangleCount));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Cancelled_build_says_so()
    {
        using var source = new CancellationTokenSource();
        source.Cancel();
        var build = () => TriangleTree.Build(TestMeshes.Icosphere(3), new RunContext(threads: 1, cancellation: source.Token));
        build.Should().Throw<OperationCanceledException>();
    }

    internal static Mesh Soup(int triangles, double size, int seed, double extent = 10)
    {
        var random = new Random(seed);
        Vec3 Point(double scale) => new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * scale;
        var points = new List<Vec3>();
        for (var t = 0; t < triangles; t++)
        {
            var center = Point(extent);
            points.AddRange([center + Point(size), center + Point(size), center + Point(size)]);
        }

        return TestMeshes.Of([.. points], [.. Enumerable.Range(0, 3 * triangles)]);
    }

    private static Mesh Shape(string name) => name switch
    {
        "soup" => Soup(700, 2, 1),
        "flat" => TestMeshes.GridSheet(20, 15, 10, 8),
        "sphere" => TestMeshes.Icosphere(3, 6, new Vec3(1, 2, 3)),
        "mixed sizes" => TestMeshes.Join(Soup(300, 0.1, 2), Soup(30, 9, 3), TestMeshes.Icosphere(2, 4), Soup(5, 0, 4)),
        "one" => Soup(1, 5, 5),
        "coincident" => TestMeshes.Join([.. Enumerable.Repeat(TestMeshes.Cube(4), 20)]),
        "far origin" => TestMeshes.Icosphere(2, 5, new Vec3(300.1, -200.7, 1000.3)),
        _ => throw new ArgumentOutOfRangeException(nameof(name)),
    };

    private static IEnumerable<Vec3> Queries(Mesh mesh, int count)
    {
        var random = new Random(count);
        var bounds = mesh.BoundsMm().Grown(2);
        for (var i = 0; i < count; i++)
        {
            var p = bounds.Min + new Vec3(random.NextDouble() * bounds.Size.X, random.NextDouble() * bounds.Size.Y, random.NextDouble() * bounds.Size.Z);
            yield return (i % 6) switch
            {
                0 => mesh.Vertex(i % mesh.VertexCount),
                1 => mesh.Vertex(i % mesh.VertexCount) + new Vec3(1e-9, 0, 0),
                2 => p + new Vec3(500, -300, 20),
                _ => p,
            };
        }
    }

    internal static IEnumerable<Vec3> Directions(int count)
    {
        // Fibonacci spiral.
        for (var i = 0; i < count; i++)
        {
            double z = 1 - (((2 * i) + 1.0) / count), r = Math.Sqrt(1 - (z * z)), angle = i * Math.PI * (3 - Math.Sqrt(5));
            yield return new(r * Math.Cos(angle), r * Math.Sin(angle), z);
        }
    }

    private static Vec3 Axis(int i) => (i % 6) switch
    {
        0 => new(1, 0, 0),
        1 => new(-1, 0, 0),
        2 => new(0, 1, 0),
        3 => new(0, -1, 0),
        4 => new(0, 0, 1),
        _ => new(0, 0, -1),
    };

    private static SurfacePoint NearestOfAll(Mesh mesh, Vec3 pMm)
    {
        var p = pMm - mesh.OriginMm;
        var best = SurfacePoint.None;
        var bestSquared = double.PositiveInfinity;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var q = PointTriangle.Nearest(p, mesh.Local(a), mesh.Local(b), mesh.Local(c), out var feature);
            if ((p - q).LengthSquared < bestSquared)
            {
                bestSquared = (p - q).LengthSquared;
                best = new(t, feature, q + mesh.OriginMm, Math.Sqrt(bestSquared));
            }
        }

        return best;
    }

    private static List<RayHit> HitsOfAll(Mesh mesh, Vec3 fromMm, Vec3 direction, double from, double to)
    {
        var ray = new RayTriangle(fromMm - mesh.OriginMm, direction / direction.Length);
        var hits = new List<RayHit>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (ray.Meets(mesh.Local(a), mesh.Local(b), mesh.Local(c), out var at, out var entering) && at >= from && at <= to)
                hits.Add(new(t, at, entering));
        }

        return [.. hits.OrderBy(h => h.DistanceMm).ThenBy(h => h.Triangle)];
    }

    private static Box3 BoxOf(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return Box3.Empty.Including(mesh.Vertex(a)).Including(mesh.Vertex(b)).Including(mesh.Vertex(c));
    }
}
