using System.Globalization;
using System.IO.Compression;
using System.Text;
using System.Xml.Linq;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

/// <summary>Source of the rules: 3MF Core Specification 1.4.0, sections named at each test.</summary>
public sealed class ThreeMfFormatTests
{
    private static readonly XNamespace s_core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";

    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData("unit=\"micron\"", 0.001)]
    [InlineData("unit=\"millimeter\"", 1)]
    [InlineData("", 1)]
    [InlineData("unit=\"centimeter\"", 10)]
    [InlineData("unit=\"inch\"", 25.4)]
    [InlineData("unit=\"foot\"", 304.8)]
    [InlineData("unit=\"meter\"", 1000)]
    public void All_six_units_scale_vertices_and_moves_alike(string unit, double mm)
    {
        var read = FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(unit, build: "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 10 20 30\"/>")));
        read.Findings.Should().NotContain(f => f.Code == FindingCodes.UnitUnknown);
        read.Unit.MmPer().Should().Be(mm);
        var box = read.Mesh.BoundsMm();
        // float32 of 31 m is good to 1 micrometre; of smaller sizes to 6e-8 of it.
        Vec3.Distance(box.Min, new Vec3(10, 20, 30) * mm).Should().BeLessThan(60 * mm * 6e-8);
        Vec3.Distance(box.Max, new Vec3(11, 21, 31) * mm).Should().BeLessThan(60 * mm * 6e-8);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("furlong")]
    [InlineData("Millimeter")]
    public void A_unit_that_is_not_one_of_the_six_is_refused(string unit) =>
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel($"unit=\"{unit}\"")))).Should().Throw<BadInputException>().WithMessage("*unit*");

    /// <summary>The cube of the specification's Appendix B.2 by its numbers: volume 63,993.60016 (reference-values.md, section 4).</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void The_cube_of_the_specification_has_its_volume_and_is_closed()
    {
        var vertices = new StringBuilder("<vertices>");
        for (var i = 0; i < 8; i++)
            vertices.Append(CultureInfo.InvariantCulture, $"<vertex x=\"{((i & 1) == 0 ? 0 : 39.998)}\" y=\"{((i & 2) == 0 ? 0 : 40)}\" z=\"{((i & 4) == 0 ? 0 : 39.998)}\"/>");
        vertices.Append("</vertices><triangles>");
        foreach (var face in new[] { "0 2 3", "0 3 1", "4 5 7", "4 7 6", "0 1 5", "0 5 4", "2 6 7", "2 7 3", "0 4 6", "0 6 2", "1 3 7", "1 7 5" })
        {
            var v = face.Split(' ');
            vertices.Append($"<triangle v1=\"{v[0]}\" v2=\"{v[1]}\" v3=\"{v[2]}\"/>");
        }

        var model = FormatSamples.ThreeMfModel(more: $"<object id=\"8\" type=\"model\"><mesh>{vertices}</triangles></mesh></object>", build: "<item objectid=\"8\" transform=\"1 0 0 0 1 0 0 0 1 -19.999 -20 0\"/>");
        var mesh = FormatSamples.Read(FormatSamples.ThreeMf(model)).Mesh;
        // float32 of 40 is good to 2e-6, so the volume to three times 2e-6 / 40 of itself.
        MeshMeasures.SignedVolumeMm3(mesh).Should().BeApproximately(63_993.60016, 63_993.6 * 3 * 5e-8);
        var edges = EdgeTable.Build(mesh);
        (edges.BoundaryEdges, edges.NonManifoldEdges, edges.InconsistentEdges).Should().Be((0, 0, 0));
        mesh.BoundsMm().Center.X.Should().BeApproximately(0, 2e-6);
    }

    /// <summary>Section 3.3: a transform with a negative determinant must not change the sign of the volume.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void A_mirroring_transform_keeps_the_volume_positive_and_is_told()
    {
        var read = FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(build: "<item objectid=\"1\" transform=\"-2 0 0 0 1 0 0 0 1 5 0 0\"/>")));
        MeshMeasures.SignedVolumeMm3(read.Mesh).Should().BeApproximately(2.0 / 6, 1e-6);
        read.Mesh.BoundsMm().Max.X.Should().Be(5);
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.MirroredByFile).Which.Severity.Should().Be(Severity.Caution);
    }

    /// <summary>Section 3.3, row vectors: the item's transform comes after the component's.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Transforms_of_components_and_items_are_applied_from_the_inside_out()
    {
        // Component: x to y, y to z, z to x, then 1 along x. Item: twice as large, then 10 along y.
        const string assembly = "<object id=\"2\"><components><component objectid=\"1\" transform=\"0 1 0 0 0 1 1 0 0 1 0 0\"/><component objectid=\"1\"/></components></object>";
        var read = FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(more: assembly, build: "<item objectid=\"2\" transform=\"2 0 0 0 2 0 0 0 2 0 10 0\"/>")));
        read.Mesh.TriangleCount.Should().Be(8);
        read.Mesh.Vertex(0).Should().Be(new Vec3(2, 10, 0));
        read.Mesh.Vertex(1).Should().Be(new Vec3(2, 12, 0), "the point (1, 0, 0) of the object");
        read.Mesh.Vertex(5).Should().Be(new Vec3(2, 10, 0), "the second copy is only scaled and moved");
        MeshMeasures.SignedVolumeMm3(read.Mesh).Should().BeApproximately(16.0 / 6, 1e-6);
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.ObjectsJoined);
    }

    [Theory]
    [InlineData("support")]
    [InlineData("solidsupport")]
    [InlineData("other")]
    public void Supports_are_left_out_and_told(string type)
    {
        var read = FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(
            more: $"<object id=\"2\" type=\"{type}\"><mesh>{FormatSamples.TetrahedronXml}</mesh></object>", build: "<item objectid=\"2\"/><item objectid=\"1\"/>")));
        read.Mesh.TriangleCount.Should().Be(4);
        read.Findings.Should().ContainSingle(f => f.Code == FindingCodes.ObjectsSkipped);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("<item objectid=\"2\"/>", "", "*object 2, which is not there*")]
    [InlineData("<item/>", "", "*objectid*")]
    [InlineData("", "", "*triangle count: 0*")]
    [InlineData("<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 0 0\"/>", "", "*transform*")]
    [InlineData("<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 0 0 0 0\"/>", "", "*transform*inverse*")]
    [InlineData("<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 nan 0 0 0\"/>", "", "*transform*")]
    [InlineData("<item objectid=\"3\"/>", "<object id=\"3\"><components><component objectid=\"3\"/></components></object>", "*does not come before it*")]
    [InlineData("<item objectid=\"1\"/>", "<object id=\"1\"/>", "*id 1 twice*")]
    [InlineData("<item objectid=\"3\"/>", "<object id=\"3\"><mesh><vertices><vertex x=\"0\" y=\"0\"/></vertices></mesh></object>", "*vertex: without x, y and z*")]
    [InlineData("<item objectid=\"3\"/>", "<object id=\"3\"><mesh><vertices><vertex x=\"0\" y=\"0\" z=\"INF\"/></vertices></mesh></object>", "*z: 'INF'*")]
    [InlineData("<item objectid=\"3\"/>", "<object id=\"3\"><mesh><vertices><vertex x=\"0\" y=\"0\" z=\"0\"/></vertices><triangles><triangle v1=\"0\" v2=\"0\" v3=\"1\"/></triangles></mesh></object>", "*vertex 1 of 1*")]
    [InlineData("<item objectid=\"3\"/>", "<object id=\"3\"><mesh><triangles><triangle v1=\"-1\" v2=\"0\" v3=\"1\"/></triangles></mesh></object>", "*v1: '-1'*")]
    public void A_model_that_is_wrong_is_refused_with_what_is_wrong(string build, string more, string message) =>
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(more: more, build: build)))).Should().Throw<BadInputException>().WithMessage(message);

    /// <summary>Section 2.3.1: who does not support a required extension must not go on. Materials never change a shape.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData("xmlns:b=\"http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02\" requiredextensions=\"b\"", false)]
    [InlineData("requiredextensions=\"nothing\"", false)]
    [InlineData("xmlns:m=\"http://schemas.microsoft.com/3dmanufacturing/material/2015/02\" requiredextensions=\"m\"", true)]
    [InlineData("xmlns:b=\"http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02\"", true)]
    public void Required_extensions_are_known_or_refused(string attributes, bool known)
    {
        var read = FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(attributes))));
        if (known)
            read.Should().NotThrow();
        else
            read.Should().Throw<BadInputException>().WithMessage("*requiredextensions*");
    }

    /// <summary>Production Extension: components and items may name objects of another model part.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Objects_of_other_model_parts_are_found()
    {
        const string production = "unit=\"inch\" xmlns:p=\"http://schemas.microsoft.com/3dmanufacturing/production/2015/06\" requiredextensions=\"p\"";
        var other = FormatSamples.ThreeMfModel("unit=\"inch\"", build: "");
        var root = FormatSamples.ThreeMfModel(
            production, more: "<object id=\"2\"><components><component objectid=\"1\" p:path=\"/3D/Objects/a%20b.model\"/></components></object>", build: "<item objectid=\"2\"/>");
        var mesh = FormatSamples.Read(FormatSamples.ThreeMf(root, null, ("3D/Objects/a b.model", other))).Mesh;
        mesh.BoundsMm().Max.X.Should().Be(25.4f);
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(root))).Should().Throw<BadInputException>().WithMessage("*missing in the package*");
        var otherUnit = FormatSamples.ThreeMfModel("unit=\"foot\"", build: "");
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(root, null, ("3D/Objects/a b.model", otherUnit)))).Should().Throw<BadInputException>().WithMessage("*unit*");
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"/>", "*no 3D model*")]
    [InlineData("<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship TargetMode=\"External\" Target=\"file:///etc/hostname\" Id=\"r\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>", "*no 3D model*")]
    [InlineData("<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/../../etc/hostname\" Id=\"r\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>", "*missing in the package*")]
    [InlineData("<Relationships", "*not well-formed*")]
    public void A_package_without_a_model_of_its_own_is_refused(string relationships, string message) =>
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(), relationships))).Should().Throw<BadInputException>().WithMessage(message);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_changed_byte_inside_the_packed_model_is_found_by_the_checksum()
    {
        // Stored, so that a changed digit gives well-formed XML with another number: only the checksum can tell.
        using var memory = new MemoryStream();
        using (var from = new ZipArchive(new MemoryStream(FormatSamples.All["3mf"])))
        using (var to = new ZipArchive(memory, ZipArchiveMode.Create, leaveOpen: true))
        {
            foreach (var entry in from.Entries)
            {
                using var input = entry.Open();
                using var output = to.CreateEntry(entry.FullName, CompressionLevel.NoCompression).Open();
                input.CopyTo(output);
            }
        }

        var bytes = memory.ToArray();
        FormatSamples.Read(bytes).Mesh.TriangleCount.Should().Be(4);
        bytes[bytes.AsSpan().IndexOf("x=\"1\""u8) + 3] = (byte)'2';
        FluentActions.Invoking(() => FormatSamples.Read(bytes)).Should().Throw<BadInputException>().WithMessage("*damaged*");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_part_that_is_there_twice_is_refused() =>
        FluentActions.Invoking(() => FormatSamples.Read(FormatSamples.ThreeMf(FormatSamples.ThreeMfModel(), null, ("3d/MODEL.model", "<model/>"))))
            .Should().Throw<BadInputException>().WithMessage("*twice*");

    [Fact]
    [Trait("Kind", "Truth")]
    public void Positions_triangles_and_origins_survive_writing_and_reading()
    {
        var mesh = FormatSamples.Torus(150, 120, centerMm: new Vec3(-12.25, 30, 700));
        var read = FormatSamples.Read(Written(mesh));
        read.Mesh.Positions.SequenceEqual(mesh.Positions).Should().BeTrue();
        read.Mesh.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue();
        read.Mesh.Origins.SequenceEqual(mesh.Origins).Should().BeTrue();
        read.DeclaredUnit.Should().Be(LengthUnit.Millimetre);
        read.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.PatientPositionKept);
        read.Metadata["ap:Side"].Should().Be("left <&> \"links\"");
        read.Metadata["Title"].Should().Be("Torus é");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Another_move_than_ours_is_applied_as_it_stands()
    {
        var bytes = Written(FormatSamples.Torus(30, 20, centerMm: new Vec3(-12.25, 30, 700)));
        var model = ModelText(bytes).Replace("0 0 1 68 25 -685", "0 0 1 69 25 -685", StringComparison.Ordinal);
        model.Should().Contain("69 25 -685");
        FormatSamples.Read(FormatSamples.ThreeMf(model)).Mesh.BoundsMm().Min.X.Should().BeInRange(1, 2);
        FormatSamples.Read(FormatSamples.ThreeMf(ModelText(bytes))).Mesh.BoundsMm().Min.X.Should().BeInRange(-68, -67);
    }

    /// <summary>Sections 2.3.2, 3.1, 3.4.1, 4, 5: no DTD, positive octant, names, default material, counter-clockwise ids.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void The_written_model_keeps_the_rules_of_the_specification()
    {
        var mesh = FormatSamples.Torus(30, 20, centerMm: new Vec3(-12.25, 30, 700));
        var model = XDocument.Parse(ModelText(Written(mesh))).Root!;
        model.Attribute("unit")!.Value.Should().Be("millimeter");
        model.Elements().Select(e => e.Name.LocalName).SkipWhile(n => n == "metadata").Should().Equal("resources", "build");
        var names = model.Elements(s_core + "metadata").Select(m => m.Attribute("name")!.Value).ToList();
        names.Should().OnlyHaveUniqueItems().And.Contain(["Title", "Designer", "Description", "Application", "ap:Side", "ap:ItemShiftMm"]);
        names.Where(n => !n.StartsWith("ap:", StringComparison.Ordinal)).Should().BeSubsetOf(["Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating", "CreationDate", "ModificationDate", "Application"]);
        var resources = model.Element(s_core + "resources")!;
        resources.Element(s_core + "basematerials")!.Elements().Select(b => (b.Attribute("name")!.Value, b.Attribute("displaycolor")!.Value))
            .Should().Equal(Enum.GetValues<Origin>().Select(o => (OriginPalette.Name(o), OriginPalette.Color(o).ToHex())));
        var item = resources.Element(s_core + "object")!;
        (item.Attribute("type")!.Value, item.Attribute("pid")!.Value, item.Attribute("pindex")!.Value).Should().Be(("model", "1", "0"));
        var vertices = item.Descendants(s_core + "vertex").ToList();
        vertices.Count.Should().Be(mesh.VertexCount);
        var move = model.Descendants(s_core + "item").Single().Attribute("transform")!.Value.Split(' ').Select(w => double.Parse(w, CultureInfo.InvariantCulture)).ToArray();
        move[..9].Should().Equal(1, 0, 0, 0, 1, 0, 0, 0, 1);
        foreach (var (axis, shift) in new[] { ("x", move[9]), ("y", move[10]), ("z", move[11]) })
            vertices.Min(v => double.Parse(v.Attribute(axis)!.Value, CultureInfo.InvariantCulture) + shift).Should().BeInRange(0, 1);
        var triangles = item.Descendants(s_core + "triangle").ToList();
        for (var t = 0; t < triangles.Count; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            (triangles[t].Attribute("v1")!.Value, triangles[t].Attribute("v2")!.Value, triangles[t].Attribute("v3")!.Value).Should().Be(($"{a}", $"{b}", $"{c}"));
            triangles[t].Attribute("p1")?.Value.Should().Be($"{(int)mesh.Origins[t]}");
            (triangles[t].Attribute("p1") is null).Should().Be(mesh.Origins[t] == Origin.Measured);
        }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Stream_path_and_thread_counts_give_the_same_bytes()
    {
        using var folder = new TestFolder();
        var mesh = FormatSamples.Torus(200, 100);
        var expected = Written(mesh);
        foreach (var threads in new[] { 1, 2, 3, 16 })
        {
            ThreeMfFormat.Write(mesh, folder["m.3mf"], Description, new RunContext(threads: threads));
            File.ReadAllBytes(folder["m.3mf"]).AsSpan().SequenceEqual(expected).Should().BeTrue();
        }

        using var zip = new ZipArchive(new MemoryStream(expected));
        zip.Entries.Select(e => e.FullName).Should().Equal("[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model");
        zip.Entries.Select(e => e.LastWriteTime.DateTime).Should().AllBeEquivalentTo(new DateTime(1980, 1, 1));
    }

    [Fact]
    public void An_open_surface_is_not_written_as_a_solid() =>
        ModelText(Written(FormatSamples.Tetrahedron(), Description with { IsSolid = false })).Should().Contain("type=\"surface\"");

    [Theory]
    [InlineData("two words")]
    [InlineData("1st")]
    [InlineData("")]
    [InlineData("ItemShiftMm")]
    [InlineData("a:b")]
    public void Names_that_XML_or_we_have_no_room_for_are_our_callers_mistake(string name) =>
        FluentActions.Invoking(() => Written(FormatSamples.Tetrahedron(), Description with { Own = [new(name, "")] })).Should().Throw<ArgumentException>();

    [Fact]
    public void Characters_XML_cannot_hold_become_blanks() =>
        FormatSamples.Read(Written(FormatSamples.Tetrahedron(), Description with { Title = "a\0b\u001Fc\uD800d" })).Metadata["Title"].Should().Be("a b c\uFFFDd");

    private static ThreeMfDescription Description { get; } =
        new("Torus é", "nobody", "A torus for tests", "AnatomyPrep", [new("Side", "left <&> \"links\""), new("Purpose", "education"), new("RecordSha256", new string('0', 64))]);

    private static byte[] Written(Mesh mesh, ThreeMfDescription? description = null)
    {
        using var memory = new MemoryStream();
        ThreeMfFormat.Write(mesh, memory, description ?? Description, FormatSamples.OneThread);
        return memory.ToArray();
    }

    private static string ModelText(byte[] package)
    {
        using var zip = new ZipArchive(new MemoryStream(package));
        using var reader = new StreamReader(zip.GetEntry("3D/3dmodel.model")!.Open());
        return reader.ReadToEnd();
    }

    /// <summary>Several solids: one object, one material and one item each, and no two resources with one id (section 4.1: unique within the model).</summary>
    [Fact]
    public void Several_solids_are_objects_with_names_and_colours_in_one_place()
    {
        ThreeMfSolid[] solids =
        [
            new(TestMeshes.Box(new(-5, 0, 0), new(5, 10, 10)), "bone & <marrow>", new Rgb(0xEC, 0xE0, 0xC8)),
            new(TestMeshes.Box(new(5, 0, 0), new(15, 10, 10)), "by origin", null),
            new(TestMeshes.Box(new(15, -3, 0), new(16, 10, 10)), "skin", new Rgb(0xD5, 0x5E, 0)),
        ];
        using var memory = new MemoryStream();
        ThreeMfFormat.Write(solids, memory, new("set", "", "", "", []), RunContext.Default);
        using var zip = new ZipArchive(memory, ZipArchiveMode.Read, leaveOpen: true);
        using var part = zip.GetEntry("3D/3dmodel.model")!.Open();
        var model = XDocument.Load(part);
        var objects = model.Descendants(s_core + "object").ToArray();
        objects.Select(o => (string)o.Attribute("name")!).Should().Equal("bone & <marrow>", "by origin", "skin");
        var ids = model.Descendants().Where(e => e.Name.LocalName is "object" or "basematerials").Select(e => (string)e.Attribute("id")!).ToArray();
        ids.Should().OnlyHaveUniqueItems();
        string ColourOf(XElement o) => (string)model.Descendants(s_core + "basematerials").Single(m => (string)m.Attribute("id")! == (string)o.Attribute("pid")!).Elements().First().Attribute("displaycolor")!;
        (ColourOf(objects[0]), ColourOf(objects[2])).Should().Be(("#ECE0C8", "#D55E00"));
        model.Descendants(s_core + "item").Select(i => (string)i.Attribute("objectid")!).Should().Equal(objects.Select(o => (string)o.Attribute("id")!));
        model.Descendants(s_core + "item").Select(i => (string)i.Attribute("transform")!).Distinct().Should().Equal("1 0 0 0 1 0 0 0 1 5 3 0");
        var read = FormatSamples.Read(memory.ToArray());
        MeshMeasures.SignedVolumeMm3(read.Mesh).Should().BeApproximately(1000 + 1000 + 130, 1e-3);
    }

    /// <summary>Parts that belong together: components of one object, which is the only item; and back as they were, in the patient's place.</summary>
    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void Parts_survive_writing_and_reading_as_assembly_and_one_by_one(bool isAssembly)
    {
        var torus = FormatSamples.Torus(30, 20, centerMm: new Vec3(-12.25, 30, 700));
        ThreeMfSolid[] solids = [new(torus, "torus", null), new(TestMeshes.Box(new(40.125, 0, 650), new(55, 10, 660)), "box", new Rgb(1, 2, 3))];
        using var memory = new MemoryStream();
        ThreeMfFormat.Write(solids, memory, new("set", "", "", "", [], IsAssembly: isAssembly), RunContext.Default);
        var model = XDocument.Parse(ModelText(memory.ToArray()));
        model.Descendants(s_core + "item").Should().HaveCount(isAssembly ? 1 : 2);
        var objects = model.Descendants(s_core + "object").Select(o => (string)o.Attribute("id")!).ToArray();
        if (isAssembly)
        {
            model.Descendants(s_core + "component").Select(c => (string)c.Attribute("objectid")!).Should().Equal(objects[..2]);
            ((string)model.Descendants(s_core + "item").Single().Attribute("objectid")!).Should().Be(objects[2]);
        }

        var read = FormatSamples.Read(memory.ToArray());
        var expected = MeshJoin.Join([solids[0].Mesh, solids[1].Mesh]);
        read.Mesh.TriangleArray.Should().Equal(expected.TriangleArray);
        for (var v = 0; v < expected.VertexCount; v++)
            Vec3.Distance(read.Mesh.Vertex(v), expected.Vertex(v)).Should().BeLessThan(1e-4, "float32 at 700 mm, twice");
        read.Mesh.Origins.ToArray().Should().Equal([.. torus.Origins.ToArray(), .. Enumerable.Repeat(Origin.Measured, solids[1].Mesh.TriangleCount)]);
        read.Findings.Should().Contain(f => f.Code == FindingCodes.PatientPositionKept);
    }

    [Fact]
    public void An_open_part_keeps_a_set_from_being_an_assembly()
    {
        ThreeMfSolid[] solids = [new(FormatSamples.Tetrahedron(), "a", null), new(FormatSamples.Tetrahedron(), "b", null, IsSolid: false)];
        using var memory = new MemoryStream();
        ThreeMfFormat.Write(solids, memory, new("set", "", "", "", [], IsAssembly: true), RunContext.Default);
        ModelText(memory.ToArray()).Should().NotContain("<components");
    }

    /// <summary>Open Packaging Conventions (ECMA-376 part 2): a thumbnail is found by its relationship from the package, and its type by its ending.</summary>
    [Fact]
    public void A_thumbnail_is_a_part_with_its_relationship_and_type()
    {
        byte[] png = [0x89, (byte)'P', (byte)'N', (byte)'G', 1, 2, 3];
        var written = Written(FormatSamples.Tetrahedron(), Description with { ThumbnailPng = png });
        using var zip = new ZipArchive(new MemoryStream(written));
        string Text(string part)
        {
            using var reader = new StreamReader(zip.GetEntry(part)!.Open());
            return reader.ReadToEnd();
        }

        XNamespace relationships = "http://schemas.openxmlformats.org/package/2006/relationships", types = "http://schemas.openxmlformats.org/package/2006/content-types";
        var thumbnail = XDocument.Parse(Text("_rels/.rels")).Root!.Elements(relationships + "Relationship")
            .Single(r => (string)r.Attribute("Type")! == "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail");
        var target = (string)thumbnail.Attribute("Target")!;
        XDocument.Parse(Text("[Content_Types].xml")).Root!.Elements(types + "Default").Single(d => (string)d.Attribute("Extension")! == "png").Attribute("ContentType")!.Value.Should().Be("image/png");
        using var part = zip.GetEntry(target.TrimStart('/'))!.Open();
        using var bytes = new MemoryStream();
        part.CopyTo(bytes);
        bytes.ToArray().Should().Equal(png);
        FormatSamples.Read(written).Mesh.TriangleCount.Should().Be(4);
    }
}
