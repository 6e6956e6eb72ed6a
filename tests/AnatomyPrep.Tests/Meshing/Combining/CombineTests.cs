using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Combining;

public sealed class CombineTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    public void Volumes_of_random_pairs_add_up_and_every_result_is_solid() => CheckRandomPairs(0, 40);

    [Fact]
    [Trait("Kind", "Slow")]
    public void Volumes_of_300_random_pairs_add_up_and_every_result_is_solid() => CheckRandomPairs(0, 300);

    [Fact]
    public void Volumes_of_degenerate_pairs_add_up_and_every_result_is_solid()
    {
        foreach (var (name, a, b) in DegeneratePairs().Where((_, i) => i % 3 == 0))
            RequireAddUp(name, a, b);
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public void Volumes_of_all_50_degenerate_pairs_add_up_and_every_result_is_solid()
    {
        var pairs = DegeneratePairs().ToList();
        pairs.Count.Should().BeGreaterThanOrEqualTo(50);
        foreach (var (name, a, b) in pairs)
            RequireAddUp(name, a, b);
    }

    [Fact]
    public void Volumes_of_shifted_cubes_are_exact()
    {
        // 10³ each, the overlap is 6·7·8; all coordinates are whole numbers, so nothing is rounded.
        var a = Solids.Box(new(0, 0, 0), new(10, 10, 10));
        var b = Solids.Box(new(4, 3, 2), new(14, 13, 12));
        MeshMeasures.SignedVolumeMm3(Combine.Union(a, b, s_run).Mesh).Should().BeApproximately(2000 - 336, 1e-9);
        MeshMeasures.SignedVolumeMm3(Combine.Intersection(a, b, s_run).Mesh).Should().BeApproximately(336, 1e-9);
        MeshMeasures.SignedVolumeMm3(Combine.Difference(a, b, s_run).Mesh).Should().BeApproximately(664, 1e-9);
    }

    [Fact]
    public void Two_equal_spheres_meet_in_a_lens_of_known_volume()
    {
        // Spheres of radius R at distance d meet in π (4R + d)(2R − d)² / 12 (two caps of height R − d/2). A polyhedron with its
        // vertices on the sphere lies between the sphere of radius R and that of radius R − s, s = R (1 − cos(angle of an edge / 2
        // · 2/√3)); edges of the fourth subdivision see at most 4.7°, so s < 0.0012 R. The lens changes by at most its
        // area times s, and its area is below that of a sphere.
        const double R = 50, D = 40;
        var a = Solids.Icosphere(4, R);
        var b = Solids.Icosphere(4, R, new(D, 0, 0));
        var lens = Math.PI * ((4 * R) + D) * Math.Pow((2 * R) - D, 2) / 12;
        var found = MeshMeasures.SignedVolumeMm3(Combine.Intersection(a, b, s_run).Mesh);
        found.Should().BeLessThan(lens).And.BeGreaterThan(lens - (4 * Math.PI * R * R * 0.0012 * R));
    }

    [Fact]
    public void Triangles_away_from_the_cut_keep_their_bytes_and_their_order()
    {
        var a = Solids.Icosphere(4, 30);
        var b = Solids.Box(new(20, -10, -10), new(40, 10, 10), Origin.Added);
        var result = Combine.Union(a, b, s_run);
        var kept = Enumerable.Range(0, a.TriangleCount).Where(t => Far(a, t)).ToList();
        kept.Count.Should().BeGreaterThan(4000);
        var corners = Corners(result.Mesh);
        var places = kept.Select(t => corners[Key(a, t)]).ToList();
        places.Should().BeInAscendingOrder();
        result.Mesh.Positions[..3].ToArray().Should().Equal(a.Positions[..3].ToArray());

        static bool Far(Mesh mesh, int t)
        {
            var (i, j, k) = mesh.Triangle(t);
            return Math.Max(mesh.Vertex(i).X, Math.Max(mesh.Vertex(j).X, mesh.Vertex(k).X)) < 19;
        }

        static string Key(Mesh mesh, int t)
        {
            var (i, j, k) = mesh.Triangle(t);
            return $"{mesh.Local(i)}{mesh.Local(j)}{mesh.Local(k)}";
        }

        static Dictionary<string, int> Corners(Mesh mesh) => Enumerable.Range(0, mesh.TriangleCount)
            .SelectMany(t => Rotations(mesh, t).Select(key => (key, t)))
            .ToDictionary(p => p.key, p => p.t);

        static IEnumerable<string> Rotations(Mesh mesh, int t)
        {
            var (i, j, k) = mesh.Triangle(t);
            yield return $"{mesh.Local(i)}{mesh.Local(j)}{mesh.Local(k)}";
            yield return $"{mesh.Local(j)}{mesh.Local(k)}{mesh.Local(i)}";
            yield return $"{mesh.Local(k)}{mesh.Local(i)}{mesh.Local(j)}";
        }
    }

    [Fact]
    public void Triangles_along_the_cut_keep_the_origin_of_the_surface_they_lie_in()
    {
        var a = Solids.Box(new(0, 0, 0), new(10, 10, 10), Origin.Filled);
        var b = Solids.Box(new(5, 2, 2), new(15, 8, 8), Origin.Added);
        var union = Combine.Union(a, b, s_run).Mesh;
        // The first shows 600 − 36 mm², of the second five sides and one that is inside: 4 · 5 · 6 + 36.
        MeshMeasures.AreaByOriginMm2(union).Should().Equal(0, 600 - 36, 0, 0, 120 + 36);
        var hollowed = Combine.Difference(a, b, s_run).Mesh;
        MeshMeasures.AreaByOriginMm2(hollowed).Should().Equal(0, 600 - 36, 0, 0, 120 + 36);
    }

    [Fact]
    public void A_without_A_is_nothing_and_says_so()
    {
        var a = Solids.Icosphere(2, 10);
        var result = Combine.Difference(a, a, s_run);
        result.Mesh.TriangleCount.Should().Be(0);
        result.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.NothingLeft && f.Severity == Severity.Stop);
    }

    [Fact]
    public void A_with_A_is_A()
    {
        var a = Solids.Icosphere(3, 10);
        // A triangle may come from either copy, so only the order can differ.
        Places(Combine.Union(a, a, s_run).Mesh).Should().Equal(Places(a));
        Places(Combine.Intersection(a, a, s_run).Mesh).Should().Equal(Places(a));

        static IEnumerable<string> Places(Mesh mesh) => Enumerable.Range(0, mesh.TriangleCount)
            .Select(t => mesh.Triangle(t)).Select(t => $"{mesh.Local(t.A)}{mesh.Local(t.B)}{mesh.Local(t.C)}").Order(StringComparer.Ordinal);
    }

    [Fact]
    public void Solids_that_do_not_overlap_are_named()
    {
        var a = Solids.Icosphere(2, 10);
        var b = Solids.Icosphere(2, 10, new(50, 0, 0));
        Combine.Union(a, b, s_run).Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SolidsApart);
        var difference = Combine.Difference(a, b, s_run);
        difference.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SolidsApart);
        MeshAssert.SameBytes(difference.Mesh, a).Should().BeTrue();
        Combine.Intersection(a, b, s_run).Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.NothingLeft);
    }

    [Fact]
    public void A_solid_inside_another_leaves_a_void_when_taken_away()
    {
        var outer = Solids.Box(new(0, 0, 0), new(10, 10, 10));
        var inner = Solids.Box(new(3, 3, 3), new(5, 5, 5));
        var hollow = Combine.Difference(outer, inner, s_run);
        var facts = MeshFacts.Measure(hollow.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Components.Should().Be(2);
        facts.VolumeMm3.Should().BeApproximately(1000 - 8, 1e-9);
        hollow.Findings.Should().BeEmpty();
    }

    [Fact]
    public void Far_from_the_coordinate_origin_nothing_is_lost()
    {
        var far = new Vec3(1e6 + 0.3, -2e6, 5e5);
        var a = Solids.Icosphere(3, 10);
        var b = Solids.Icosphere(3, 10, new(6, 1, 2));
        var near = Combine.Union(a, b, s_run);
        var moved = Combine.Union(Shifted(a), Shifted(b), s_run);
        moved.Mesh.OriginMm.Should().Be(far);
        moved.Mesh.Positions.SequenceEqual(near.Mesh.Positions).Should().BeTrue();

        Mesh Shifted(Mesh mesh) => new(far, mesh.PositionArray, mesh.TriangleArray, mesh.OriginArray);
    }

    [Fact]
    public void Effect_says_what_was_added_and_kept()
    {
        var a = Solids.Box(new(0, 0, 0), new(10, 10, 10));
        var b = Solids.Box(new(5, 2, 2), new(15, 8, 8));
        var effect = Combine.Union(a, b, s_run).Effect;
        effect.VolumeBeforeMm3.Should().BeApproximately(1000, 1e-9);
        effect.VolumeAfterMm3.Should().BeApproximately(1180, 1e-9);
        effect.Measures!["volumeOtherMm3"].Should().BeApproximately(360, 1e-9);
        effect.Measures!["piecesAfter"].Should().Be(1);
        // The side at x = 10 goes (100 mm²) and comes back with a hole (64 mm²); 156 mm² of the second box come.
        effect.ChangedAreaMm2.Should().BeApproximately(100 + 64 + 156, 1e-9);
    }

    [Fact]
    public void Open_sheets_are_refused_with_the_reason_and_the_place()
    {
        var solid = Solids.Icosphere(2, 10);
        var sheet = Solids.Sheet(3, 3, 1);
        var act = () => Combine.Union(solid, sheet, s_run);
        act.Should().Throw<CheckFailedException>().Which.Message.Should().Contain("the other mesh").And.Contain("open surface").And.Contain("mm");
        act = () => Combine.Union(sheet, solid, s_run);
        act.Should().Throw<CheckFailedException>().Which.Message.Should().Contain("the model");
    }

    [Fact]
    public void Faulty_solids_are_refused_with_the_reason()
    {
        var solid = Solids.Icosphere(2, 10);
        Refused(Solids.InsideOut(solid)).Should().Contain("face inward");
        Refused(Solids.Merged(solid, Solids.Icosphere(2, 10, new(5, 0, 0)))).Should().Contain("crossing").And.Contain("unite-pieces");
        Refused(Solids.Merged(solid, solid)).Should().Contain("crossing");
        Refused(Mesh.Empty).Should().Contain("no triangles");

        string Refused(Mesh mesh)
        {
            var act = () => Combine.Difference(solid, mesh, s_run);
            return act.Should().Throw<CheckFailedException>().Which.Message;
        }
    }

    [Fact]
    public void A_coordinate_that_is_not_a_number_is_refused()
    {
        var solid = Solids.Icosphere(1, 10);
        var broken = Solids.Moved(solid, (v, p) => v == 5 ? new(double.NaN, 0, 0) : p);
        var act = () => Combine.Union(solid, broken, s_run);
        act.Should().Throw<BadInputException>();
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads_and_on_every_run()
    {
        var (a, b) = RandomPair(7);
        var first = Combine.Union(a, b, new RunContext(threads: 1)).Mesh;
        foreach (var threads in (int[])[1, 2, 3, 16])
            MeshAssert.SameBytes(Combine.Union(a, b, new RunContext(threads: threads)).Mesh, first).Should().BeTrue();
    }

    [Fact]
    public void A_cancelled_run_ends_with_nothing_but_cancellation()
    {
        using var cancelled = new CancellationTokenSource();
        cancelled.Cancel();
        var act = () => Combine.Union(Solids.Icosphere(2, 10), Solids.Icosphere(2, 9), new RunContext(cancellation: cancelled.Token));
        act.Should().Throw<OperationCanceledException>();
    }

    [Fact]
    public void A_budget_too_small_is_said_before_the_work()
    {
        var act = () => Combine.Union(Solids.Icosphere(3, 10), Solids.Icosphere(3, 9), new RunContext(memory: new MemoryBudget(1 << 20)));
        act.Should().Throw<BadInputException>().Which.Field.Should().Be("memory");
    }

    private static void CheckRandomPairs(int from, int to)
    {
        for (var i = from; i < to; i++)
        {
            var (a, b) = RandomPair(i);
            RequireAddUp($"pair {i}", a, b);
        }
    }

    /// <summary>|A ∪ B| + |A ∩ B| = |A| + |B| and |A \ B| = |A| − |A ∩ B|, each within 1e-6 of |A| + |B|.</summary>
    /// <remarks>
    /// Rounding a vertex of the cut to float32 moves it by at most 2⁻²⁵ of the largest coordinate, 60 mm here: 2e-6 mm. The volume changes
    /// by at most that times the area of the triangles along the cut, below 3000 mm² here: 0.006 mm³ of 10,000 mm³ and more.
    /// </remarks>
    private static void RequireAddUp(string name, Mesh a, Mesh b)
    {
        var union = VolumeOfSolid(Combine.Union(a, b, s_run), name + " union");
        var common = VolumeOfSolid(Combine.Intersection(a, b, s_run), name + " intersection");
        var rest = VolumeOfSolid(Combine.Difference(a, b, s_run), name + " difference");
        var (volumeA, volumeB) = (MeshMeasures.SignedVolumeMm3(a), MeshMeasures.SignedVolumeMm3(b));
        (union + common).Should().BeApproximately(volumeA + volumeB, 1e-6 * (volumeA + volumeB), name);
        (rest + common).Should().BeApproximately(volumeA, 1e-6 * (volumeA + volumeB), name);
    }

    private static double VolumeOfSolid(ShapeResult result, string name)
    {
        if (result.Mesh.TriangleCount == 0)
            return 0;
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Solid.Should().BeTrue("of {0}: {1} crossings, {2} flat", name, facts.SelfIntersections, facts.DegenerateTriangles);
        return facts.VolumeMm3;
    }

    private static (Mesh A, Mesh B) RandomPair(int seed)
    {
        var random = new Random(seed);
        return (Turned(Shape(random), random), Turned(Shape(random), random));
    }

    private static Mesh Shape(Random random) => random.Next(6) switch
    {
        0 => Solids.Icosphere(random.Next(4), 15 + (10 * random.NextDouble())),
        1 => Solids.Torus(20, 4 + (8 * random.NextDouble()), random.Next(5, 40), random.Next(4, 20)),
        2 => Solids.Box(new(-20, -15, -10), new(20, 15, 10 * random.NextDouble())),
        3 => Solids.GridBox(random.Next(2, 9), 35),
        // A thin plate and a needle: long triangles.
        4 => Solids.Box(new(-25, -25, -0.2), new(25, 25, 0.2)),
        _ => Solids.Box(new(-0.5, -0.5, -28), new(0.5, 0.5, 28)),
    };

    private static Mesh Turned(Mesh mesh, Random random)
    {
        Vec3 Any(double reach) => new(reach * ((2 * random.NextDouble()) - 1), reach * ((2 * random.NextDouble()) - 1), reach * ((2 * random.NextDouble()) - 1));
        var map = Affine3.Translate(Any(12)).After(Affine3.Rotate(Any(1), 6 * random.NextDouble()));
        return Solids.Moved(mesh, (_, p) => map.Map(p));
    }

    /// <summary>Coplanar, sharing edges, identical, nested and touching solids, straight and turned so that nothing is a round number.</summary>
    private static IEnumerable<(string Name, Mesh A, Mesh B)> DegeneratePairs()
    {
        var box = Solids.Box(new(0, 0, 0), new(20, 20, 20));
        var grid = Solids.GridBox(5, 20);
        var sphere = Solids.Icosphere(3, 10, new(10, 10, 10));
        (string, Mesh, Mesh)[] straight =
        [
            ("identical boxes", box, box),
            ("identical spheres", sphere, sphere),
            ("box and the same box in a grid", box, grid),
            ("one face in common, side by side", box, Box(20, 0, 0, 40, 20, 20)),
            ("part of a face in common, side by side", box, Box(20, 5, 5, 40, 15, 15)),
            ("overlapping with four faces in common", box, Box(10, 0, 0, 30, 20, 20)),
            ("overlapping with two faces in common", box, Box(10, 5, 0, 30, 15, 20)),
            ("inside with one face in common", box, Box(5, 5, 0, 15, 15, 10)),
            ("inside with a corner in common", box, Box(0, 0, 0, 10, 10, 10)),
            ("inside with an edge in common", box, Box(0, 0, 5, 10, 10, 15)),
            ("through, faces flush", box, Box(5, 5, 0, 15, 15, 20)),
            ("touching along an edge", box, Box(20, 20, 0, 40, 40, 20)),
            ("touching along part of an edge", box, Box(20, 20, 5, 40, 40, 15)),
            ("touching at a corner", box, Box(20, 20, 20, 40, 40, 40)),
            ("nested", box, Box(5, 5, 5, 15, 15, 15)),
            ("nested the other way round", Box(5, 5, 5, 15, 15, 15), box),
            ("sphere touching a face from within", box, sphere),
            ("sphere touching a face from outside", box, Solids.Icosphere(3, 10, new(30, 10, 10))),
            ("grid shifted by one cell", grid, Shifted(grid, 4, 0, 0)),
            ("grid shifted by half a cell", grid, Shifted(grid, 2, 2, 0)),
            ("grid against a turned grid on the same face", grid, Rotated(grid)),
            ("nearly identical, one step of float32 apart", box, Shifted(box, 2e-6, 0, 0)),
            ("nearly flush, 1e-5 apart", box, Shifted(box, 1e-5, 1e-5, 5)),
            ("nearly flush, 1e-4 apart", grid, Shifted(grid, 1e-4, -1e-4, 5)),
            ("sphere with itself turned a little", sphere, Moved(sphere, Affine3.Rotate(new(1, 2, 3), 1e-5))),
        ];
        var turn = Affine3.Translate(new(1.7, -2.3, 0.9)).After(Affine3.Rotate(new(0.3, 1.1, -0.7), 0.83));
        foreach (var (name, a, b) in straight)
        {
            yield return (name, a, b);
            yield return (name + ", turned", Moved(a, turn), Moved(b, turn));
        }

        static Mesh Box(double x0, double y0, double z0, double x1, double y1, double z1) => Solids.Box(new(x0, y0, z0), new(x1, y1, z1));
        static Mesh Shifted(Mesh mesh, double x, double y, double z) => Moved(mesh, Affine3.Translate(new(x, y, z)));
        static Mesh Moved(Mesh mesh, Affine3 map) => Solids.Moved(mesh, (_, p) => map.Map(p));
        static Mesh Rotated(Mesh mesh) => Moved(mesh, Affine3.Translate(new(10, 10, 0)).After(Affine3.Rotate(new(0, 0, 1), 0.5)).After(Affine3.Translate(new(-10, -10, 0))));
    }
}
