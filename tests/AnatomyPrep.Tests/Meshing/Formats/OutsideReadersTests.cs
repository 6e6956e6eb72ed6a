using System.Globalization;
using System.Text.Json;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

/// <summary>What general readers make of our files, and we of what they write: admesh, assimp, and the reference reader of 3MF.</summary>
[Trait("Kind", "Outside")]
public sealed class OutsideReadersTests
{
    // Volume of the polyhedron itself, so that readers are compared with the file and not with a torus.
    private static readonly CompiledTool s_check3mf = new("check3mf", File.ReadAllText(Path.Combine(Repository.Root, "tests/AnatomyPrep.Tests/Meshing/Formats/check3mf.cpp")), "-I/usr/include/lib3mf", "-l3MF");

    private static readonly Mesh s_torus = FormatSamples.Torus(60, 40, centerMm: new Vec3(-12.25, 30, 700));

    [Fact]
    public void Admesh_finds_a_closed_solid_with_our_normals_in_the_stl()
    {
        using var folder = new TestFolder();
        StlFormat.Write(s_torus, folder["torus.stl"], "solid torus é", RunContext.Default);
        var said = CompiledTool.MustRun("admesh", folder["torus.stl"]);
        said.Should().Contain("Binary STL file").And.MatchRegex(@"Number of facets\s*:\s*4800\s+4800");
        said.Should().MatchRegex(@"Total disconnected facets\s*:\s*0\s+0").And.MatchRegex(@"Degenerate facets\s*:\s*0");
        said.Should().MatchRegex(@"Number of parts\s*:\s*1").And.MatchRegex(@"Normals fixed\s*:\s*0").And.MatchRegex(@"Backwards edges\s*:\s*0");
        // It adds up in float32: 4,800 terms of up to the volume of the box in front of it, 1e-7 each.
        Number(said, "Volume").Should().BeApproximately(MeshMeasures.SignedVolumeMm3(s_torus), MeshMeasures.SignedVolumeMm3(s_torus) * 5e-4);
    }

    [Theory]
    [InlineData("stl")]
    [InlineData("ply")]
    [InlineData("obj")]
    [InlineData("3mf")]
    public void Assimp_reads_the_same_counts_and_writes_what_we_read_back(string format)
    {
        using var folder = new TestFolder();
        Write(s_torus, folder["torus." + format], format);
        var info = CompiledTool.MustRun("assimp", "info", folder["torus." + format]);
        Number(info, "Faces").Should().Be(4800);
        foreach (var (as_, read) in new[] { ("stlb", "stl-binary"), ("stl", "stl-text"), ("plyb", "ply-little-endian"), ("ply", "ply-text"), ("obj", "obj") })
        {
            CompiledTool.MustRun("assimp", "export", folder["torus." + format], folder["back"], "-f" + as_);
            var back = MeshFile.Read(folder["back"], new MeshReadOptions(Weld: Welding.Equal), RunContext.Default);
            back.Format.Should().Be(read);
            back.Mesh.TriangleCount.Should().Be(4800);
            // Text of six to nine digits: welding by equal numbers still closes it, and volumes agree to the digits.
            EdgeTable.Build(back.Mesh).BoundaryEdges.Should().Be(0, "{0} from {1}", as_, format);
            MeshMeasures.SignedVolumeMm3(back.Mesh).Should().BeApproximately(MeshMeasures.SignedVolumeMm3(s_torus), MeshMeasures.SignedVolumeMm3(s_torus) * 1e-4);
        }
    }

    [Fact]
    public void The_reference_reader_finds_a_valid_solid_in_the_3mf_without_a_warning()
    {
        using var folder = new TestFolder();
        Write(s_torus, folder["torus.3mf"], "3mf");
        var said = s_check3mf.Run(folder["torus.3mf"]).Split('\n');
        said.Should().Contain(["warnings 0", "unit 1", "vertices 2400", "triangles 4800", "type 1", "valid 1", "manifold 1", "move 68 25 -685"]);
        said.Should().Contain(["metadata:Title torus", "metadata:urn:anatomyprep:3mf:metadata:Side left", "metadata:urn:anatomyprep:3mf:metadata:ItemShiftMm 68 25 -685"]);
        for (var origin = 0; origin < 5; origin++)
            said.Should().Contain($"material:1/{origin} 960");
        // The checker adds up about 0, in double, from the float32 numbers of the file: 700 mm and 15 digits leave 1e-9.
        double.Parse(said.Single(l => l.StartsWith("volume ", StringComparison.Ordinal))[7..], CultureInfo.InvariantCulture)
            .Should().BeApproximately(MeshMeasures.SignedVolumeMm3(s_torus), 1e-3);
        // A hole must be seen, or "manifold" would say nothing.
        Write(new Mesh(Vec3.Zero, s_torus.PositionArray, s_torus.TriangleArray[3..]), folder["open.3mf"], "3mf");
        s_check3mf.Run(folder["open.3mf"]).Should().Contain("manifold 0");
    }

    /// <summary>Two parts as one assembly, with a thumbnail: lib3mf finds the structure, assimp the triangles, and both the volume.</summary>
    [Fact]
    public void An_assembly_of_two_parts_is_read_by_both_readers()
    {
        using var folder = new TestFolder();
        var box = TestMeshes.Box(new(60, 0, 650), new(75, 10, 660));
        var thumbnail = PreviewPicture.Thumbnail(s_torus, null, RunContext.Default);
        ThreeMfFormat.Write([new(s_torus, "torus", null), new(box, "box", new Rgb(0xD5, 0x5E, 0))], folder["set.3mf"], new("set", "", "", "AnatomyPrep", [], IsAssembly: true, ThumbnailPng: thumbnail), RunContext.Default);
        var said = s_check3mf.Run(folder["set.3mf"]).Split('\n');
        said.Should().Contain(["warnings 0", "components 2", "material:2/0 12"]);
        // lib3mf gives the part a name of its own.
        said.Should().ContainSingle(l => l.StartsWith("thumbnail ", StringComparison.Ordinal) && l.EndsWith(FormattableString.Invariant($" {thumbnail.Length}"), StringComparison.Ordinal));
        said.Count(l => l == "valid 1").Should().Be(2);
        said.Count(l => l == "manifold 1").Should().Be(2);
        said.Where(l => l.StartsWith("volume ", StringComparison.Ordinal)).Sum(l => double.Parse(l[7..], CultureInfo.InvariantCulture))
            .Should().BeApproximately(MeshMeasures.SignedVolumeMm3(s_torus) + 1500, 1e-3);

        CompiledTool.MustRun("assimp", "export", folder["set.3mf"], folder["back.stl"], "-fstlb");
        var back = MeshFile.Read(folder["back.stl"], new MeshReadOptions(LengthUnit.Millimetre, Weld: Welding.Equal), RunContext.Default).Mesh;
        back.TriangleCount.Should().Be(4812);
        MeshMeasures.SignedVolumeMm3(back).Should().BeApproximately(MeshMeasures.SignedVolumeMm3(s_torus) + 1500, 0.5);
    }

    [Fact]
    [Trait("Needs", "Shared")]
    public void Independent_mesh_facts_agree_with_ours()
    {
        using var folder = new TestFolder();
        StlFormat.Write(s_torus, folder["torus.stl"], "", RunContext.Default);
        using var facts = JsonDocument.Parse(CompiledTool.MustRun("/usr/bin/python3", SharedData.File("reference/meshfacts.py"), folder["torus.stl"]));
        int Count(string name) => facts.RootElement.GetProperty(name).GetInt32();
        (Count("triangles"), Count("vertices"), Count("degenerate"), Count("boundaryEdges"), Count("nonManifoldEdges"), Count("inconsistentEdges"), Count("components"), Count("euler"))
            .Should().Be((4800, 2400, 0, 0, 0, 0, 1, 0));
        facts.RootElement.GetProperty("volumeMm3").GetDouble().Should().BeApproximately(MeshMeasures.SignedVolumeMm3(s_torus), 1e-4);
        facts.RootElement.GetProperty("areaMm2").GetDouble().Should().BeApproximately(MeshMeasures.AreaMm2(s_torus), 1e-6);
    }

    private static void Write(Mesh mesh, string path, string format)
    {
        switch (format)
        {
            case "stl":
                StlFormat.Write(mesh, path, "torus", RunContext.Default);
                break;
            case "ply":
                PlyFormat.Write(mesh, path, "torus", RunContext.Default);
                break;
            case "3mf":
                ThreeMfFormat.Write(mesh, path, new ThreeMfDescription("torus", "nobody", "for tests", "AnatomyPrep", [new("Side", "left")]), RunContext.Default);
                break;
            default:
                using (var stream = File.Create(path))
                    ObjFormat.Write(mesh, stream, "torus", RunContext.Default);
                break;
        }
    }

    private static double Number(string said, string name) => double.Parse(
        System.Text.RegularExpressions.Regex.Match(said, name + @"\s*:\s*([0-9.,]+)").Groups[1].Value.Replace(",", "", StringComparison.Ordinal), CultureInfo.InvariantCulture);
}
