using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

/// <summary>Real scans and models. Source of every number: PROVENANCE.md beside the files, measured with numpy and VTK.</summary>
[Trait("Kind", "Outside")]
[Trait("Needs", "Shared")]
public sealed class SharedMeshesTests
{
    /// <summary>Vertices, triangles, edges with one and with more than two triangles as the file has them, and area.</summary>
    [Theory]
    [InlineData("head-scan-lps.obj", 9223, 17684, 750, 145.7014)]
    [InlineData("head.off", 1487, 2918, 58, 549.6918)]
    [InlineData("mask_cone.off", 1230, 2332, 124, 2.948973)]
    [InlineData("skull.obj", 49999, 100002, 0, 501.618591)]
    [InlineData("femur.off", 3897, 7798, 0, 0.62470653)]
    [InlineData("bones.off", 2154, 4204, 0, 107.342)]
    [InlineData("elephant-with-holes.off", 2798, 4463, 1353, 1.016)]
    [InlineData("blobby_3cc.off", 1820, 3417, 219, null)]
    [InlineData("b9_mesh.off", 5951, 10174, 1708, null)]
    [InlineData("self_intersectA.obj", 8582, 17160, 0, 3.058107)]
    [InlineData("openscad-nonmanifold-crash.obj", 717, 1442, 0, 1276.32)]
    [InlineData("head-sheet.ply", 126475, 247656, null, null)]
    [InlineData("head-truth.ply", 187032, 373864, null, null)]
    public void Counts_and_area_are_those_published_beside_the_file(string file, int vertices, int triangles, int? boundary, double? area)
    {
        var mesh = Read(file).Mesh;
        (mesh.VertexCount, mesh.TriangleCount).Should().Be((vertices, triangles));
        if (boundary is { } edges)
            EdgeTable.Build(mesh).BoundaryEdges.Should().Be(edges);
        if (area is { } expected)
            MeshMeasures.AreaMm2(mesh).Should().BeApproximately(expected, Digits(expected));
    }

    [Theory]
    [InlineData("skull.obj", 563.419638)]
    [InlineData("femur.off", 0.02027399)]
    [InlineData("bones.off", 18.660117)]
    [InlineData("self_intersectA.obj", 0.147953)]
    [InlineData("openscad-nonmanifold-crash.obj", 451.96)]
    public void Volume_of_a_closed_mesh_is_that_published_beside_the_file(string file, double volume) =>
        MeshMeasures.SignedVolumeMm3(Read(file).Mesh).Should().BeApproximately(volume, Digits(volume));

    /// <summary>An open mesh has no volume of its own: the published sum is about the file's zero.</summary>
    [Theory]
    [InlineData("head.off", -1075.4057)]
    [InlineData("mask_cone.off", 0.128295)]
    [InlineData("elephant-with-holes.off", 0.038295)]
    [InlineData("blobby_3cc.off", 0.040935)]
    [InlineData("b9_mesh.off", -16071.06)]
    [InlineData("head-scan-lps.obj", 81.9048)]
    public void Signed_sum_of_an_open_mesh_about_zero_is_that_published_beside_the_file(string file, double volume)
    {
        var mesh = Read(file).Mesh;
        double sum = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            sum += Vec3.Dot(mesh.Vertex(a), Vec3.Cross(mesh.Vertex(b), mesh.Vertex(c))) / 6;
        }

        sum.Should().BeApproximately(volume, Digits(volume));
    }

    [Theory]
    [InlineData("head-scan-lps.obj", 8839, 0, 4, 6)]
    [InlineData("openscad-nonmanifold-crash.obj", null, null, 18, null)]
    [InlineData("mask_cone.off", 1200, 64, 0, null)]
    [InlineData("elephant-with-holes.off", 2733, null, 0, null)]
    [InlineData("face-model-parts.obj", null, 718, 104, null)]
    public void Welded_at_equal_positions_the_counts_are_those_published(string file, int? vertices, int? boundary, int nonManifold, int? degenerate)
    {
        var read = Read(file, new MeshReadOptions(Weld: Welding.Equal, DropDegenerate: true));
        var edges = EdgeTable.Build(read.Mesh);
        read.Mesh.VertexCount.Should().Be(vertices ?? read.Mesh.VertexCount);
        edges.BoundaryEdges.Should().Be(boundary ?? edges.BoundaryEdges);
        edges.NonManifoldEdges.Should().Be(nonManifold);
        read.DegenerateTriangles.Should().Be(degenerate ?? read.DegenerateTriangles);
    }

    [Fact]
    public void Quadrilaterals_of_the_face_model_become_two_triangles_each()
    {
        var read = Read("face-model-parts.obj");
        (read.Mesh.VertexCount, read.Mesh.TriangleCount).Should().Be((26719, 52220));
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.PolygonsCut).Which.Message.Should().StartWith("25836 ");
        // Which diagonal is taken changes a bent quadrilateral's area: 25,836 of them, 0.025 % together.
        MeshMeasures.AreaMm2(read.Mesh).Should().BeApproximately(2621.149, 1);
    }

    [Theory]
    [InlineData("kitten.xyz", "xyz", 5210, 0.326, 0.500, 0.296)]
    [InlineData("oni.ply", "ply-little-endian", 1435, 0.2944, 0.5, 0.3768)]
    [InlineData("head-points.ply", "ply-little-endian", 301500, null, null, null)]
    public void Points_and_bounds_are_those_published(string file, string format, int points, double? x, double? y, double? z)
    {
        var read = PointCloudFile.Read(SharedData.File("data/meshes/" + file), MeshReadOptions.Default, RunContext.Default);
        (read.Format, read.Cloud.Count, read.Cloud.HasNormals).Should().Be((format, points, true));
        var box = read.Cloud.BoundsMm();
        if (x is { } halfX)
            Math.Max(-box.Min.X, box.Max.X).Should().BeApproximately(halfX, 5.1e-4);
        if (y is { } halfY)
            Math.Max(-box.Min.Y, box.Max.Y).Should().BeApproximately(halfY, 5.1e-4);
        if (z is { } halfZ)
            Math.Max(-box.Min.Z, box.Max.Z).Should().BeApproximately(halfZ, 5.1e-4);
    }

    /// <summary>Scans in unknown units: a head of 8.6 must be asked about, one in millimetres not.</summary>
    [Fact]
    public void Only_the_head_in_odd_units_is_implausible()
    {
        Read("head-scan-lps.obj", new MeshReadOptions(Anatomy: "head")).Findings.Should().Contain(f => f.Code == FindingCodes.SizeImplausible && f.Message.Contains("inches"));
        Read("head-sheet.ply", new MeshReadOptions(Anatomy: "head")).Findings.Should().NotContain(f => f.Code == FindingCodes.SizeImplausible);
        Read("skull.obj", new MeshReadOptions(LengthUnit.Centimetre, "skull")).Findings.Should().BeEmpty();
    }

    [Theory]
    [InlineData("skull.obj")]
    [InlineData("head-sheet.ply")]
    [InlineData("femur.off")]
    public void Every_format_carries_the_same_solid(string file)
    {
        using var folder = new TestFolder();
        var mesh = Read(file).Mesh;
        StlFormat.Write(mesh, folder["m.stl"], "model", RunContext.Default);
        PlyFormat.Write(mesh, folder["m.ply"], "model", RunContext.Default);
        ThreeMfFormat.Write(mesh, folder["m.3mf"], new ThreeMfDescription("model", "", "", "", []), RunContext.Default);
        using (var stream = File.Create(folder["m.obj"]))
            ObjFormat.Write(mesh, stream, "model", RunContext.Default);
        foreach (var name in new[] { "m.ply", "m.3mf", "m.obj" })
        {
            var back = MeshFile.Read(folder[name], MeshReadOptions.Default, RunContext.Default).Mesh;
            back.Positions.SequenceEqual(mesh.Positions).Should().BeTrue(name);
            back.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue(name);
        }

        var stl = MeshFile.Read(folder["m.stl"], MeshReadOptions.Default, RunContext.Default).Mesh;
        stl.VertexCount.Should().Be(VertexWeld.Exact(mesh, RunContext.Default).Mesh.VertexCount);
        for (var h = 0; h < mesh.Triangles.Length; h++)
            if (stl.Local(stl.Triangles[h]) != mesh.Local(mesh.Triangles[h]))
                throw new InvalidOperationException($"{file}: corner {h} moved");
    }

    private static MeshReadResult Read(string file, MeshReadOptions? options = null) =>
        MeshFile.Read(SharedData.File("data/meshes/" + file), options ?? MeshReadOptions.Default, RunContext.Default);

    // Half of the last digit given, and as much again for positions rounded to float32.
    private static double Digits(double published)
    {
        var text = published.ToString(System.Globalization.CultureInfo.InvariantCulture);
        var point = text.IndexOf('.', StringComparison.Ordinal);
        return point < 0 ? 1 : Math.Pow(10, -(text.Length - point - 1));
    }
}
