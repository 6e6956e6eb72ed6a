using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class CutTests
{
    private static readonly RunContext s_run = new();
    private static readonly Gen<Vec3> s_direction =
        Gen.Select(Gen.Double[-1, 1], Gen.Double[-1, 1], Gen.Double[-1, 1], (x, y, z) => new Vec3(x, y, z)).Where(v => v.Length > 0.1);

    /// <summary>
    /// Section of the inscribed icosphere: between that of the largest inner sphere (radius r·cos of half the widest facet, here
    /// taken from the mesh's own nearest facet) and that of the sphere.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0)]
    [InlineData(3.7)]
    [InlineData(-8)]
    public void Section_of_a_sphere_has_the_area_of_a_circle(double heightMm)
    {
        var sphere = Solids.Icosphere(4, 10);
        var inner = double.PositiveInfinity;
        for (var t = 0; t < sphere.TriangleCount; t++)
        {
            var (a, b, c) = sphere.Triangle(t);
            inner = Math.Min(inner, ((sphere.Local(a) + sphere.Local(b) + sphere.Local(c)) / 3).Length);
        }

        var cut = Cut.Apply(sphere, new(new(0, 0, heightMm), new(0.1, 0.2, 1)), s_run);

        MeshAssert.IsSolid(cut.Mesh);
        var distance = heightMm / new Vec3(0.1, 0.2, 1).Length;
        var section = cut.Effect.Measures!["sectionAreaMm2"];
        section.Should().BeInRange(Math.PI * ((inner * inner) - (distance * distance)) - 1e-3, Math.PI * (100 - (distance * distance)) + 1e-3);
        MeshMeasures.AreaByOriginMm2(cut.Mesh)[(int)Origin.Cut].Should().BeApproximately(section, 1e-6);
    }

    /// <summary>Horizontal section of the ring of two circles; the polygon of n corners has n/2·sin(2π/n) of r² per circle.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Section_of_a_torus_across_its_hole_is_a_ring()
    {
        const int ring = 96, tube = 48;
        var torus = Solids.Torus(30, 10, ring, tube);
        var cut = Cut.Apply(torus, new(Vec3.Zero, new(0, 0, 1)), s_run);

        // In z = 0 lie the vertices with tube angle 0 and π: circles of radius 40 and 20, polygons of 96 corners.
        var expected = ring / 2.0 * Math.Sin(2 * Math.PI / ring) * ((40 * 40) - (20 * 20));
        cut.Effect.Measures!["sectionAreaMm2"].Should().BeApproximately(expected, expected * 1e-6);
        MeshAssert.IsSolid(cut.Mesh);
        MeshAssert.Euler(cut.Mesh).Should().Be(0, "half a torus cut flat is still a ring");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Section_of_a_torus_along_its_axis_is_two_discs()
    {
        const int tube = 48;
        var torus = Solids.Torus(30, 10, 96, tube);
        var cut = Cut.Apply(torus, new(Vec3.Zero, new(0, 1, 0)), s_run);

        var disc = tube / 2.0 * Math.Sin(2 * Math.PI / tube) * 100;
        cut.Effect.Measures!["sectionAreaMm2"].Should().BeApproximately(2 * disc, disc * 1e-6);
        MeshAssert.IsSolid(cut.Mesh);
        MeshAssert.Euler(cut.Mesh).Should().Be(2);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Nested_shells_are_capped_as_rings_within_rings()
    {
        var (a, b, c) = (Solids.Icosphere(3, 20), Solids.InsideOut(Solids.Icosphere(3, 15)), Solids.Icosphere(3, 10));
        var nested = Solids.Merged(a, b, c);
        var plane = new CutParameters(new(0, 0, 1.3), new(0.3, -0.2, 1));
        var section = Cut.Apply(nested, plane, s_run);

        double Section(Mesh mesh) => Cut.Apply(mesh, plane, s_run).Effect.Measures!["sectionAreaMm2"];
        var expected = Section(a) - Section(Solids.InsideOut(b)) + Section(c);
        section.Effect.Measures!["sectionAreaMm2"].Should().BeApproximately(expected, 1e-4);
        MeshAssert.IsSolid(section.Mesh);
        EdgeTable.Build(section.Mesh).EdgeCount.Should().Be(section.Mesh.VertexCount + section.Mesh.TriangleCount - (2 * 1) - 2, "outer shell and void become one sphere, the core another");
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Volumes_of_both_sides_add_up_and_both_are_solid() =>
        Gen.Select(s_direction, Gen.Double[-0.9, 0.9], Gen.Int[0, 3]).Sample(
            (normal, share, kind) =>
            {
                var mesh = kind switch
                {
                    0 => Solids.Icosphere(2, 10),
                    1 => Solids.Torus(30, 10, 24, 12),
                    2 => Solids.GridBox(5, 10),
                    _ => Solids.Merged(Solids.Icosphere(2, 10), Solids.InsideOut(Solids.Icosphere(2, 8)), Solids.Icosphere(1, 3, new(14, 0, 0))),
                };
                var bounds = mesh.BoundsMm();
                var n = normal.Normalized();
                var reach = Math.Abs(n.X * bounds.Size.X / 2) + Math.Abs(n.Y * bounds.Size.Y / 2) + Math.Abs(n.Z * bounds.Size.Z / 2);
                CutParameters plane = new(bounds.Center + (n * (share * reach)), normal);
                if (!Crosses(mesh, plane))
                    return;
                var (front, back) = Cut.Split(mesh, plane, s_run);
                MeshAssert.IsSolid(front.Mesh);
                MeshAssert.IsSolid(back.Mesh);
                // New vertices are rounded to float32: at most half an ulp of 64 mm over the section's area, twice.
                var whole = MeshMeasures.SignedVolumeMm3(mesh);
                var slack = 4e-6 * (front.Effect.Measures!["sectionAreaMm2"] + MeshMeasures.AreaMm2(mesh));
                (front.Effect.VolumeAfterMm3 + back.Effect.VolumeAfterMm3).Should().BeApproximately(whole, slack);
            },
            iter: 200);

    /// <summary>Planes through vertices, along edges and in faces, where every rule is put to the test.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Planes_through_vertices_edges_and_faces_of_grids_give_solids() =>
        Gen.Select(Gen.Int[-2, 2], Gen.Int[-2, 2], Gen.Int[-2, 2], Gen.Int[0, 8], Gen.ULong).Sample(
            (x, y, z, k, cubes) =>
            {
                var normal = new Vec3(x, y, z);
                var mesh = Voxels((i, j, l) => (cubes >> ((16 * i) + (4 * j) + l) & 1) != 0);
                // Where cubes, or the gaps between them, meet in an edge or a point alone there is no solid to begin with.
                if (normal == Vec3.Zero || EdgeTable.Build(mesh).NonManifoldEdges > 0 || MeshAssert.NonManifoldVertices(mesh) > 0)
                    return;
                CutParameters plane = new(new Vec3(k / 2.0, 1, 2), normal);
                if (!Crosses(mesh, plane))
                    return;
                var (front, back) = Cut.Split(mesh, plane, s_run);
                MeshAssert.IsSolid(front.Mesh, plane.ToString());
                MeshAssert.IsSolid(back.Mesh, plane.ToString());
                (front.Effect.VolumeAfterMm3 + back.Effect.VolumeAfterMm3).Should().BeApproximately(MeshMeasures.SignedVolumeMm3(mesh), 1e-4);
            },
            iter: 3000);

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_cut_in_a_face_leaves_the_stem_of_a_mushroom()
    {
        // A plate on a stem, one solid: cut at the plate's underside.
        var mushroom = Voxels((i, j, k) => k == 3 || (i == 1 && j == 1));
        CutParameters plane = new(new(0, 0, 3), new(0, 0, 1));
        var (plate, stem) = Cut.Split(mushroom, plane, s_run);

        stem.Effect.VolumeAfterMm3.Should().BeApproximately(3, 1e-9);
        stem.Effect.Measures!["sectionAreaMm2"].Should().BeApproximately(1, 1e-9);
        plate.Effect.VolumeAfterMm3.Should().BeApproximately(16, 1e-9);
        plate.Effect.Measures!["sectionAreaMm2"].Should().BeApproximately(16, 1e-9, "the underside is made anew");
        MeshAssert.IsSolid(stem.Mesh);
        MeshAssert.IsSolid(plate.Mesh);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_ridge_that_only_touches_the_plane_is_left_alone()
    {
        // A roof upside down: its ridge lies in the plane, and a second body is really cut.
        var roof = Solids.Of(
            [new(0, 1, 0), new(4, 1, 0), new(0, 0, 2), new(4, 0, 2), new(0, 2, 2), new(4, 2, 2)],
            [0, 2, 4, 1, 5, 3, 0, 1, 3, 0, 3, 2, 0, 4, 5, 0, 5, 1, 2, 3, 5, 2, 5, 4]);
        MeshAssert.IsSolid(roof);
        var mesh = Solids.Merged(roof, Solids.Box(new(10, 0, -1), new(11, 1, 1)));
        var cut = Cut.Apply(mesh, new(Vec3.Zero, new(0, 0, 1)), s_run);

        MeshAssert.IsSolid(cut.Mesh);
        cut.Mesh.TriangleCount.Should().Be(8 + Cut.Apply(Solids.Box(new(10, 0, -1), new(11, 1, 1)), new(Vec3.Zero, new(0, 0, 1)), s_run).Mesh.TriangleCount);
        cut.Effect.Measures!["sectionAreaMm2"].Should().BeApproximately(1, 1e-9);
        cut.Effect.VolumeAfterMm3.Should().BeApproximately(8 + 1, 1e-9);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Kept_triangles_keep_their_bytes_and_origins()
    {
        var sphere = Solids.Icosphere(3, 10);
        var origins = new Origin[sphere.TriangleCount];
        for (var t = 0; t < origins.Length; t++)
            origins[t] = (Origin)(t % 5);
        var mesh = new Mesh(new(5, 6, 7), sphere.PositionArray, sphere.TriangleArray, origins);
        var cut = Cut.Apply(mesh, new(new(5, 6, 7.123), new(0, 0, 1)), s_run).Mesh;

        var triples = new Dictionary<(Vec3, Vec3, Vec3), Origin>();
        for (var t = 0; t < cut.TriangleCount; t++)
        {
            var (a, b, c) = cut.Triangle(t);
            triples[(cut.Local(a), cut.Local(b), cut.Local(c))] = cut.Origins[t];
        }

        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (mesh.Vertex(a).Z > 7.124 && mesh.Vertex(b).Z > 7.124 && mesh.Vertex(c).Z > 7.124)
                triples[(mesh.Local(a), mesh.Local(b), mesh.Local(c))].Should().Be(origins[t]);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_plane_that_misses_or_only_touches_is_refused()
    {
        var box = Solids.Box(Vec3.Zero, new(1, 1, 1));
        foreach (var z in (double[])[-1, 0, 1, 5])
        {
            var cut = () => Cut.Apply(box, new(new(0, 0, z), new(0, 0, 1)), s_run);
            cut.Should().Throw<CheckFailedException>().WithMessage("*passes through*");
        }

        var empty = () => Cut.Apply(Mesh.Empty, new(Vec3.Zero, new(0, 0, 1)), s_run);
        empty.Should().Throw<CheckFailedException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_normal_of_zero_is_a_wrong_plan()
    {
        var cut = () => Cut.Apply(Solids.Box(Vec3.Zero, new(1, 1, 1)), new(Vec3.Zero, Vec3.Zero), s_run);
        cut.Should().Throw<PlanException>();
        cut = () => Cut.Apply(Solids.Box(Vec3.Zero, new(1, 1, 1)), new(new(double.NaN, 0, 0), new(0, 0, 1)), s_run);
        cut.Should().Throw<PlanException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_open_surface_is_cut_open_but_not_capped()
    {
        var sheet = Solids.Sheet(10, 10, 1);
        CutParameters plane = new(new(4.5, 0, 0), new(1, 0.1, 0.3));
        var capped = () => Cut.Apply(sheet, plane, s_run);
        capped.Should().Throw<CheckFailedException>().WithMessage("*open border*");

        var (front, back) = Cut.Split(sheet, plane with { Cap = false }, s_run);
        MeshAssert.IsManifold(front.Mesh);
        MeshAssert.IsManifold(back.Mesh);
        (MeshMeasures.AreaMm2(front.Mesh) + MeshMeasures.AreaMm2(back.Mesh)).Should().BeApproximately(100, 1e-4);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Bodies_that_overlap_are_capped_one_by_one()
    {
        var a = Solids.Icosphere(3, 10);
        var b = Solids.Icosphere(3, 10, new(7, 0, 0));
        var hollow = Solids.InsideOut(Solids.Icosphere(3, 4, new(-2, 0, 0)));
        CutParameters plane = new(new(0, 0, 0.3), new(0.05, 0.02, 1));
        var cut = Cut.Apply(Solids.Merged(a, b, hollow), plane, s_run);

        MeshAssert.IsSolid(cut.Mesh);
        double Section(Mesh mesh) => Cut.Apply(mesh, plane, s_run).Effect.Measures!["sectionAreaMm2"];
        cut.Effect.Measures!["sectionAreaMm2"].Should().BeApproximately(Section(a) + Section(b) - Section(Solids.InsideOut(hollow)), 1e-4);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_surface_that_is_inside_out_stays_so()
    {
        var cut = Cut.Apply(Solids.InsideOut(Solids.Icosphere(3, 10)), new(new(0, 0, 2), new(0, 0, 1)), s_run);
        var right = Cut.Apply(Solids.Icosphere(3, 10), new(new(0, 0, 2), new(0, 0, 1)), s_run);
        EdgeTable.Build(cut.Mesh).BoundaryEdges.Should().Be(0);
        cut.Effect.VolumeAfterMm3.Should().BeApproximately(-right.Effect.VolumeAfterMm3!.Value, 1e-9);
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("skull.obj", 0.02)]
    [InlineData("femur.off", 0.3)]
    [InlineData("femur.off", 0.02)]
    public void Real_bones_are_cut_into_solids_that_add_up(string file, double z)
    {
        var mesh = Solids.Read(SharedData.File("data/meshes/" + file));
        var bounds = mesh.BoundsMm();
        CutParameters plane = new(bounds.Center + new Vec3(0, 0, z * bounds.Size.Z), new(0.2, 0.1, 1));
        var (front, back) = Cut.Split(mesh, plane, s_run);
        MeshAssert.IsSolid(front.Mesh);
        MeshAssert.IsSolid(back.Mesh);
        var whole = MeshMeasures.SignedVolumeMm3(mesh);
        (front.Effect.VolumeAfterMm3 + back.Effect.VolumeAfterMm3).Should().BeApproximately(whole, 1e-6 * whole);
    }

    private static bool Crosses(Mesh mesh, CutParameters plane)
    {
        var distances = Cut.Distances(mesh, plane.PointMm, plane.Normal.Normalized());
        return distances.Any(d => d > 0) && distances.Any(d => d < 0);
    }

    /// <summary>Unit cubes of a 4 × 4 × 4 block, faces between kept and left-out ones, vertices apart where fans are.</summary>
    private static Mesh Voxels(Func<int, int, int, bool> keep)
    {
        bool Kept(int i, int j, int k) => i is >= 0 and < 4 && j is >= 0 and < 4 && k is >= 0 and < 4 && keep(i, j, k);
        var builder = new MeshBuilder(Vec3.Zero);
        var index = new Dictionary<(Vec3, int), int>();
        var part = Parts(Kept);
        for (var i = 0; i < 4; i++)
            for (var j = 0; j < 4; j++)
                for (var k = 0; k < 4; k++)
                {
                    if (!Kept(i, j, k))
                        continue;
                    int At(int x, int y, int z)
                    {
                        var p = new Vec3(i + x, j + y, k + z);
                        var key = (p, part[(i, j, k, p)]);
                        if (!index.TryGetValue(key, out var v))
                            index.Add(key, v = builder.AddVertex(p));
                        return v;
                    }

                    void Quad(int a, int b, int c, int d)
                    {
                        builder.AddTriangle(a, b, c);
                        builder.AddTriangle(a, c, d);
                    }

                    if (!Kept(i, j, k - 1))
                        Quad(At(0, 0, 0), At(0, 1, 0), At(1, 1, 0), At(1, 0, 0));
                    if (!Kept(i, j, k + 1))
                        Quad(At(0, 0, 1), At(1, 0, 1), At(1, 1, 1), At(0, 1, 1));
                    if (!Kept(i, j - 1, k))
                        Quad(At(0, 0, 0), At(1, 0, 0), At(1, 0, 1), At(0, 0, 1));
                    if (!Kept(i, j + 1, k))
                        Quad(At(0, 1, 0), At(0, 1, 1), At(1, 1, 1), At(1, 1, 0));
                    if (!Kept(i - 1, j, k))
                        Quad(At(0, 0, 0), At(0, 0, 1), At(0, 1, 1), At(0, 1, 0));
                    if (!Kept(i + 1, j, k))
                        Quad(At(1, 0, 0), At(1, 1, 0), At(1, 1, 1), At(1, 0, 1));
                }

        return builder.Build();
    }

    /// <summary>At each corner, which kept cubes hang together through faces: cubes that meet there only in an edge or a point are apart.</summary>
    private static Dictionary<(int, int, int, Vec3), int> Parts(Func<int, int, int, bool> kept)
    {
        var parts = new Dictionary<(int, int, int, Vec3), int>();
        for (var x = 0; x <= 4; x++)
            for (var y = 0; y <= 4; y++)
                for (var z = 0; z <= 4; z++)
                {
                    var p = new Vec3(x, y, z);
                    var cubes = new List<(int X, int Y, int Z)>();
                    for (var i = x - 1; i <= x; i++)
                        for (var j = y - 1; j <= y; j++)
                            for (var k = z - 1; k <= z; k++)
                                if (kept(i, j, k))
                                    cubes.Add((i, j, k));
                    var label = Enumerable.Range(0, cubes.Count).ToArray();
                    for (var pass = 0; pass < cubes.Count; pass++)
                        for (var a = 0; a < cubes.Count; a++)
                            for (var b = 0; b < cubes.Count; b++)
                                if (Math.Abs(cubes[a].X - cubes[b].X) + Math.Abs(cubes[a].Y - cubes[b].Y) + Math.Abs(cubes[a].Z - cubes[b].Z) == 1)
                                    label[a] = label[b] = Math.Min(label[a], label[b]);
                    for (var a = 0; a < cubes.Count; a++)
                        parts[(cubes[a].X, cubes[a].Y, cubes[a].Z, p)] = label[a];
                }

        return parts;
    }
}
