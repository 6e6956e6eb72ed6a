using System.Text.Json;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

public class MeshFactsTests
{
    private static readonly RunContext s_run = new(threads: 1);

    private static readonly JsonSerializerOptions s_camelCase = new() { PropertyNamingPolicy = JsonNamingPolicy.CamelCase };

    // Positions are float32: 2^-24 of the extent in each of three factors of the volume, two of the area, and some for the sums.
    private const double VolumeRounding = 4 * 5.97e-8;

    /// <summary>Platonic solids of edge 1: volume and area in closed form; V − E + F = 2 (Euler).</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(4, 0.117851130, 1.732050808)]
    [InlineData(6, 1, 6)]
    [InlineData(8, 0.471404521, 3.464101615)]
    [InlineData(12, 7.663118961, 20.645728807)]
    [InlineData(20, 2.181694991, 8.660254038)]
    public void Platonic_solids_have_their_volume_and_area(int faces, double volume, double area)
    {
        var facts = MeshFacts.Measure(TestMeshes.Platonic(faces), s_run);
        facts.Solid.Should().BeTrue();
        facts.EulerCharacteristic.Should().Be(2);
        facts.Genus.Should().Be(0);
        facts.VolumeMm3.Should().BeApproximately(volume, volume * 1e-6);
        facts.AreaMm2.Should().BeApproximately(area, area * 1e-6);
        facts.Places.Should().BeEmpty();
    }

    /// <summary>Ratios to the true sphere computed apart for the inscribed subdivided icosahedron (shared reference table, six digits).</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0, 12, 20, 0.761918, 0.605461)]
    [InlineData(2, 162, 320, 0.981178, 0.966161)]
    [InlineData(3, 642, 1280, 0.995235, 0.991394)]
    [InlineData(4, 2562, 5120, 0.998805, 0.997839)]
    [InlineData(5, 10242, 20480, 0.999701, 0.999459)]
    public void Icospheres_have_their_counts_and_ratios(int subdivisions, int vertices, int triangles, double areaRatio, double volumeRatio)
    {
        var facts = MeshFacts.Measure(TestMeshes.Icosphere(subdivisions, 10), s_run);
        (facts.Vertices, facts.Triangles, facts.Solid).Should().Be((vertices, triangles, true));
        (facts.AreaMm2 / 1256.637061).Should().BeApproximately(areaRatio, 1e-6);
        (facts.VolumeMm3 / 4188.790205).Should().BeApproximately(volumeRatio, 1e-6);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Torus_has_one_handle_and_a_pair_of_tori_two()
    {
        var torus = TestMeshes.Torus(30, 10, 60, 30);
        var facts = MeshFacts.Measure(torus, s_run);
        (facts.Solid, facts.Genus, facts.EulerCharacteristic).Should().Be((true, 1, 0));
        var two = MeshFacts.Measure(TestMeshes.Join(torus, torus.Moved(Affine3.Translate(new Vec3(100, 0, 0)))), s_run);
        (two.Solid, two.Genus, two.Components).Should().Be((true, 2, 2));
    }

    /// <summary>A hollow sphere is one solid of two parts, χ 4, volume of the wall; either part turned over makes it none.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Hollow_sphere_is_solid_when_its_inner_wall_faces_the_cavity()
    {
        Mesh outer = TestMeshes.Icosphere(4, 50), inner = TestMeshes.Icosphere(4, 45);
        var hollow = MeshFacts.Measure(TestMeshes.Join(outer, inner.Turned()), s_run);
        (hollow.Solid, hollow.Components, hollow.EulerCharacteristic, hollow.Genus).Should().Be((true, 2, 4, 0));
        hollow.VolumeMm3.Should().BeApproximately(0.997839 * 141895.268187, 0.997839 * 141895 * (1e-6 + VolumeRounding));
        var both = MeshFacts.Measure(TestMeshes.Join(outer, inner), s_run);
        (both.Solid, both.OutwardOrientation, both.InwardShells, both.ConsistentOrientation).Should().Be((false, false, 1, true));
        MeshFacts.Measure(TestMeshes.Join(outer.Turned(), inner), s_run).InwardShells.Should().Be(2);
        MeshFacts.Measure(outer.Turned(), s_run).OutwardOrientation.Should().BeFalse();
    }

    /// <summary>Shells in shells, every second one a cavity, beside others: parity of nesting, with rays through corners and edges.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Boxes_in_boxes_alternate_material_and_cavity()
    {
        var parts = new List<Mesh>();
        for (var i = 0; i < 7; i++)
        {
            var box = TestMeshes.Box(new Vec3(i, i, i), new Vec3(20 - i, 20 - i, 20 - i));
            parts.Add(i % 2 == 0 ? box : box.Turned());
            parts.Add(TestMeshes.Box(new Vec3(30 + (4 * i), i, i), new Vec3(32 + (4 * i), 20 - i, 20 - i)));
        }

        var facts = MeshFacts.Measure(TestMeshes.Join([.. parts]), s_run);
        (facts.Components, facts.InwardShells, facts.Solid, facts.TouchingPairs).Should().Be((14, 0, true, 0));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Cavity_that_touches_its_wall_in_corners_is_still_a_cavity()
    {
        // An octahedron with its corners on the inner faces of a box, and one on the box's corner.
        var octahedron = TestMeshes.Platonic(8).Moved(Affine3.Scale(Math.Sqrt(2))).Turned();
        var facts = MeshFacts.Measure(TestMeshes.Join(TestMeshes.Box(new Vec3(-1, -1, -1), new Vec3(1, 1, 1)), octahedron), s_run);
        facts.InwardShells.Should().Be(0);
        facts.SelfIntersections.Should().Be(0);
        facts.TouchingPairs.Should().BePositive();
        facts.Solid.Should().BeTrue("touching is reported, not forbidden");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Missing_triangle_leaves_one_loop_of_three_edges()
    {
        var facts = MeshFacts.Measure(TestMeshes.Icosphere(2).Without(17), s_run);
        (facts.Watertight, facts.Solid, facts.BoundaryEdges, facts.BoundaryLoops).Should().Be((false, false, 3, 1));
        facts.Genus.Should().BeNull();
        facts.NonManifoldVertices.Should().Be(0);
        facts.Places.Should().ContainSingle(p => p.Kind == "boundaryLoops");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Holes_that_meet_in_a_corner_are_two_loops_and_a_bad_vertex()
    {
        // Two triangles opposite each other at the middle vertex of a fan of eight.
        var sheet = TestMeshes.GridSheet(2, 2, 2, 2);
        var middle = Enumerable.Range(0, 8).Where(t => sheet.Triangles.Slice(3 * t, 3).Contains(4)).ToArray();
        var opened = sheet.Without(middle[3]).Without(middle[0]);
        var facts = MeshFacts.Measure(opened, s_run);
        facts.NonManifoldVertices.Should().BePositive();
        facts.Places.Should().Contain(p => p.Kind == "nonManifoldVertices" && p.PositionMm[0] == 1 && p.PositionMm[1] == 1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Turned_triangle_is_inconsistent_and_no_bad_vertex()
    {
        var mesh = TestMeshes.Icosphere(2);
        var triangles = mesh.Triangles.ToArray();
        (triangles[30], triangles[31]) = (triangles[31], triangles[30]);
        var facts = MeshFacts.Measure(new Mesh(Vec3.Zero, mesh.PositionArray, triangles), s_run);
        (facts.InconsistentEdges, facts.ConsistentOrientation, facts.OutwardOrientation, facts.Watertight).Should().Be((3, false, false, false));
        (facts.NonManifoldVertices, facts.NonManifoldEdges, facts.BoundaryEdges, facts.BoundaryLoops).Should().Be((0, 0, 0, 0));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Cubes_that_share_an_edge_or_a_corner_by_index_are_not_manifold_there()
    {
        var edge = MeshFacts.Measure(TestMeshes.Join(TestMeshes.Cube(2), TestMeshes.Box(new Vec3(2, 2, 0), new Vec3(4, 4, 2))).Welded(), s_run);
        (edge.NonManifoldEdges, edge.NonManifoldVertices, edge.Solid, edge.Components).Should().Be((1, 2, false, 1));
        edge.OutwardOrientation.Should().BeTrue("four triangles at an edge still part inside from outside");
        var corner = MeshFacts.Measure(TestMeshes.Join(TestMeshes.Cube(2), TestMeshes.Box(new Vec3(2, 2, 2), new Vec3(4, 4, 4))).Welded(), s_run);
        (corner.NonManifoldEdges, corner.NonManifoldVertices, corner.Watertight, corner.Solid).Should().Be((0, 1, true, false));
        corner.Genus.Should().BeNull();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Fin_on_a_closed_surface_is_a_surplus_triangle()
    {
        var cube = TestMeshes.Cube();
        var fin = new Mesh(Vec3.Zero, [.. cube.Positions, 2, 2, 0.5f], [.. cube.Triangles, 3, 7, 8]);
        var facts = MeshFacts.Measure(fin, s_run);
        (facts.NonManifoldEdges, facts.NonManifoldVertices, facts.BoundaryEdges, facts.BoundaryLoops).Should().Be((1, 2, 2, 1));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Degenerate_duplicate_and_isolated_are_counted_and_placed()
    {
        var cube = TestMeshes.Cube();
        float[] positions = [.. cube.Positions, 9, 9, 9, 0.5f, 0, 0, 8, 8, 8];
        int[] triangles = [.. cube.Triangles, 0, 0, 1, 0, 9, 1, cube.Triangles[3], cube.Triangles[4], cube.Triangles[5], 10, 10, 10];
        var facts = MeshFacts.Measure(new Mesh(Vec3.Zero, positions, triangles), s_run);
        (facts.Vertices, facts.Triangles, facts.DegenerateTriangles, facts.DuplicateTriangles, facts.IsolatedVertices).Should().Be((11, 16, 3, 1, 1));
        facts.Places.Where(p => p.Kind == "degenerateTriangles").Select(p => p.Triangle).Should().Equal(12, 15, 13);
        facts.Places.Where(p => p.Kind == "duplicateTriangles").Select(p => p.Triangle).Should().Equal(14);
        facts.Places.Single(p => p.Kind == "isolatedVertices").PositionMm.Should().Equal(9, 9, 9);
        facts.Solid.Should().BeFalse();

        // Vertex 8 is isolated and 10 only in a triangle that repeats it: 9 in use.
        facts.EulerCharacteristic.Should().Be(9 - 20 + 14);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Two_triangles_back_to_back_are_closed_but_no_solid()
    {
        var facts = MeshFacts.Measure(new Mesh(Vec3.Zero, [0, 0, 0, 1, 0, 0, 0, 1, 0], [0, 1, 2, 0, 2, 1]), s_run);
        (facts.Watertight, facts.DuplicateTriangles, facts.SelfIntersections, facts.Solid, facts.OutwardOrientation).Should().Be((true, 1, 1, false, false));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Empty_mesh_has_zero_of_everything_and_is_no_solid()
    {
        var facts = MeshFacts.Measure(Mesh.Empty, s_run);
        (facts.Triangles, facts.Components, facts.Watertight, facts.Solid, facts.VolumeMm3).Should().Be((0, 0, false, false, 0));
        facts.BoundsMm.Should().BeNull();
        var repeats = MeshFacts.Measure(new Mesh(Vec3.Zero, [1, 2, 3], [0, 0, 0]), s_run);
        (repeats.Triangles, repeats.DegenerateTriangles, repeats.IsolatedVertices, repeats.Solid).Should().Be((1, 1, 0, false));
    }

    /// <summary>
    /// data/PROVENANCE.md: vertices, triangles, pieces, boundary edges and loops counted by other programs. Volumes there are
    /// about the coordinate origin, which for closed meshes makes no difference; open ones are not compared.
    /// </summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("head-scan-lps.obj", 9223, 17684, 11, 750, 16, null, 145.7014)]
    [InlineData("face-model-parts.obj", 26719, 52220, 56, 1040, 23, null, 2621.149)]
    [InlineData("head.off", 1487, 2918, 1, 58, 3, null, 549.6918)]
    [InlineData("mask_cone.off", 1230, 2332, 2, 124, 2, null, 2.948973)]
    [InlineData("skull.obj", 49999, 100002, 1, 0, 0, 563.419638, 501.618591)]
    [InlineData("femur.off", 3897, 7798, 1, 0, 0, 0.02027399, 0.62470653)]
    [InlineData("bones.off", 2154, 4204, 26, 0, 0, 18.660117, 107.342)]
    [InlineData("elephant-with-holes.off", 2798, 4463, 1, 1353, 106, null, 1.016)]
    [InlineData("blobby_3cc.off", 1820, 3417, 3, 219, 4, null, null)]
    [InlineData("b9_mesh.off", 5951, 10174, 47, 1708, 76, null, null)]
    [InlineData("self_intersectA.obj", 8582, 17160, 1, 0, 0, 0.147953, 3.058107)]
    [InlineData("openscad-nonmanifold-crash.obj", 717, 1442, 2, 0, 0, 451.96, 1276.32)]
    public void Counts_are_those_of_the_data_sheet(
        string file, int vertices, int triangles, int components, int boundaryEdges, int loops, double? volume, double? area)
    {
        var facts = MeshFacts.Measure(TestMeshes.Shared(file), RunContext.Default);
        (facts.Vertices, facts.Triangles, facts.Components, facts.BoundaryEdges, facts.BoundaryLoops)
            .Should().Be((vertices, triangles, components, boundaryEdges, loops));
        if (volume is { } v)
            facts.VolumeMm3.Should().BeApproximately(v, v * 5e-6);
        if (area is { } a)
            facts.AreaMm2.Should().BeApproximately(a, a * 5e-6 + 5e-5);
    }

    /// <summary>data/PROVENANCE.md, column notes: what the meshes are known for.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void Known_good_meshes_are_solid_and_known_bad_ones_are_not()
    {
        MeshFacts Of(string name, bool weld = false) =>
            MeshFacts.Measure(weld ? TestMeshes.Shared(name).Welded() : TestMeshes.Shared(name), RunContext.Default);
        foreach (var good in new[] { "skull.obj", "femur.off" })
        {
            var facts = Of(good);
            (facts.Solid, facts.Genus, facts.EulerCharacteristic, facts.TouchingPairs).Should().Be((true, 2, -2, 0));
        }

        var head = Of("head.off");
        (head.OutwardOrientation, head.ConsistentOrientation, head.InwardShells, head.VolumeMm3 < 0).Should().Be((false, true, 1, true));
        var crosses = Of("self_intersectA.obj");
        (crosses.Watertight, crosses.OutwardOrientation, crosses.SelfIntersections, crosses.Solid).Should().Be((true, true, 338, false));
        var bones = Of("bones.off");
        (bones.Watertight, bones.OutwardOrientation, bones.SelfIntersections, bones.Solid).Should().Be((true, true, 366, false));
        var edges = Of("openscad-nonmanifold-crash.obj", weld: true);
        (edges.Components, edges.NonManifoldEdges).Should().Be((1, 18));
        var scan = Of("head-scan-lps.obj", weld: true);
        (scan.Vertices, scan.Components, scan.BoundaryEdges, scan.NonManifoldEdges, scan.DuplicateTriangles).Should().Be((8839, 1, 0, 4, 2));
        var sheet = Of("head-sheet.ply");
        sheet.DuplicateTriangles.Should().Be(60);
        sheet.InconsistentEdges.Should().BeInRange(1, 600, "200 triangles were turned, of at most three edges each");
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("skull.obj")]
    [InlineData("bones.off")]
    [InlineData("head.off")]
    [InlineData("head-scan-lps.obj")]
    [InlineData("openscad-nonmanifold-crash.obj")]
    [InlineData("elephant-with-holes.off")]
    [InlineData("b9_mesh.off")]
    public void An_independent_script_counts_the_same_in_the_stl_file(string file)
    {
        using var folder = new TestFolder();
        var mesh = TestMeshes.Shared(file).Welded();
        TestMeshes.WriteStl(mesh, folder["mesh.stl"]);
        var theirs = JsonDocument.Parse(CompiledTool.MustRun("/usr/bin/python3", SharedData.File("reference/meshfacts.py"), folder["mesh.stl"])).RootElement;
        var facts = MeshFacts.Measure(mesh, RunContext.Default);
        int Whole(string name) => theirs.GetProperty(name).GetInt32();
        (facts.BoundaryEdges, facts.NonManifoldEdges, facts.InconsistentEdges).Should().Be((Whole("boundaryEdges"), Whole("nonManifoldEdges"), Whole("inconsistentEdges")));
        facts.AreaMm2.Should().BeApproximately(theirs.GetProperty("areaMm2").GetDouble(), 1e-9 * facts.AreaMm2);
        if (facts.BoundaryEdges == 0)
            facts.VolumeMm3.Should().BeApproximately(theirs.GetProperty("volumeMm3").GetDouble(), 1e-9 * facts.AreaMm2 * 100);

        // The script drops triangles that repeat a corner from its counts but keeps their vertices, each as a piece.
        if (Whole("degenerate") == 0)
            (facts.Components, facts.EulerCharacteristic).Should().Be((Whole("components"), Whole("euler")));
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Facts_are_the_same_on_any_number_of_threads_and_in_any_order_of_triangles()
    {
        var mesh = TestMeshes.Join(TestMeshes.Torus(30, 12, 120, 60), TestMeshes.Icosphere(4, 15, new Vec3(30, 3, 0)), TestMeshes.GridSheet(30, 30, 90, 80));
        string Json(Mesh m, int threads) => JsonSerializer.Serialize(MeshFacts.Measure(m, new RunContext(threads: threads)));
        var expected = Json(mesh, 1);
        foreach (var threads in new[] { 2, 3, 16 })
            Json(mesh, threads).Should().Be(expected);

        var random = new Random(4);
        var order = Enumerable.Range(0, mesh.TriangleCount).OrderBy(_ => random.Next()).ToArray();
        var shuffled = new Mesh(mesh.OriginMm, mesh.PositionArray, [.. order.SelectMany(t => mesh.Triangles.Slice(3 * t, 3).ToArray())]);
        MeshFacts a = MeshFacts.Measure(mesh, s_run), b = MeshFacts.Measure(shuffled, s_run);
        var near = a.VolumeMm3 * 1e-12;
        b.VolumeMm3.Should().BeApproximately(a.VolumeMm3, near);
        (b with { VolumeMm3 = 0, AreaMm2 = 0, Places = [], BoundsMm = null }).Should().Be(a with { VolumeMm3 = 0, AreaMm2 = 0, Places = [], BoundsMm = null });
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Names_in_json_are_those_of_the_command()
    {
        var json = JsonSerializer.SerializeToElement(MeshFacts.Measure(TestMeshes.Cube(), s_run), s_camelCase);
        foreach (var name in new[]
        {
            "vertices", "triangles", "components", "boundaryLoops", "nonManifoldEdges", "nonManifoldVertices", "selfIntersections",
            "consistentOrientation", "outwardOrientation", "watertight", "solid", "genus", "volumeMm3", "areaMm2", "boundsMm",
        })
            json.TryGetProperty(name, out _).Should().BeTrue(name);
        json.GetProperty("boundsMm").GetRawText().Should().Be("[[0,0,0],[1,1,1]]");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Cancelled_measuring_says_so()
    {
        using var source = new CancellationTokenSource();
        source.Cancel();
        var measure = () => MeshFacts.Measure(TestMeshes.Icosphere(3), new RunContext(threads: 1, cancellation: source.Token));
        measure.Should().Throw<OperationCanceledException>();
    }
}
