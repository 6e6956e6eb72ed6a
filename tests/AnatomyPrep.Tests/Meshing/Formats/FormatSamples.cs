using System.Buffers.Binary;
using System.IO.Compression;
using System.Text;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.Tests.Meshing.Formats;

/// <summary>Small files of every format, written here by hand so that no reader is only tested against our own writer.</summary>
internal static class FormatSamples
{
    public static RunContext OneThread { get; } = new(threads: 1);

    /// <summary>Every format by name: a small valid file.</summary>
    public static IReadOnlyDictionary<string, byte[]> All { get; } = new Dictionary<string, byte[]>
    {
        ["stl-binary"] = StlBinary(),
        ["stl-text"] = Text(StlText),
        ["ply-text"] = Text(PlyHeaderOf("ascii") + PlyTextRows),
        ["ply-little-endian"] = PlyBinary(bigEndian: false),
        ["ply-big-endian"] = PlyBinary(bigEndian: true),
        ["obj"] = Text(Obj),
        ["off"] = Text(Off),
        ["3mf"] = ThreeMf(ThreeMfModel()),
    };

    public static TheoryData<string> Names => [.. All.Keys];

    public static IReadOnlyDictionary<string, byte[]> Points { get; } = new Dictionary<string, byte[]>
    {
        ["xyz"] = Text("# x y z nx ny nz\n0 0 0 0 0 1\n1.5 0 -2e0 1 0 0\n\n.25 7 8 0 -1 0\n"),
        ["ply-points"] = Text("ply\nformat ascii 1.0\nelement vertex 2\nproperty double x\nproperty float y\nproperty float z\nproperty float nx\nproperty float ny\nproperty float nz\nend_header\n1 2 3 0 0 1\n4 5 6 0 1 0\n"),
    };

    private const string StlText =
        """
        solid tetra
        facet normal 0 0 -1
        outer loop vertex 0 0 0
        vertex 0 1 0
        vertex 1 0 0
        endloop
        endfacet
        facet normal 0 -1 0
        outer loop vertex 0 0 0
        vertex 1 0 0
        vertex 0 0 1
        endloop
        endfacet
        facet normal -1 0 0
        outer loop vertex 0 0 0
        vertex 0 0 1
        vertex 0 1 0
        endloop
        endfacet
        facet normal nan nan nan
        outer loop vertex 1 0 0
        vertex 0 1 0
        vertex 0 0 1
        endloop
        endfacet
        endsolid tetra
        """;

    private const string PlyTextRows =
        """
        0 0 0 0 1
        1 7 0 0 2
        0 -3 1 0 0
        0 0 0 1 0
        3 0 2 1 9
        3 0 1 3 9
        3 0 3 2 9
        3 1 2 3 9
        """;

    private const string Obj =
        """
        # tetrahedron
        mtllib none.mtl
        v 0 0 0
        v 1.0 0 0
        v 0 1e0 0 0.5 0.5 0.5
        v 0 0 1
        vt 0 0
        vn 0 0 1
        f 1/1 3/1/1 2
        f -4//1 -3 -1
        f 1 \
          4 3
        f 2 3 4
        """;

    private const string Off =
        """
        OFF # tetrahedron
        4 4 6
        0 0 0
        1 0 0
        0 1 0
        0 0 1 # apex
        3 0 2 1
        3 0 1 3 255 0 0
        3 0 3 2
        3 1 2 3
        """;

    private const string ContentTypes =
        """
        <Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
        <Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
        <Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>
        """;

    private const string Relationships =
        """
        <Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
        <Relationship Target="/3D/model.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>
        """;

    /// <summary>Reads bytes of any format with one thread and default options.</summary>
    public static MeshReadResult Read(byte[] bytes, MeshReadOptions? options = null) =>
        MeshFile.Read(bytes, "sample", options ?? MeshReadOptions.Default, OneThread);

    public static MeshReadResult Read(string text, MeshReadOptions? options = null) => Read(Text(text), options);

    public static byte[] Text(string text) => Encoding.UTF8.GetBytes(text.ReplaceLineEndings("\n"));

    /// <summary>Volume 1/6, area (3 + sqrt 3)/2, outward.</summary>
    public static Mesh Tetrahedron() =>
        new(Vec3.Zero, [0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1], [0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3]);

    /// <summary>Torus about z: around × along quads, each cut in two; closed, genus 1, with every origin on it.</summary>
    public static Mesh Torus(int around, int along, double largeMm = 40, double smallMm = 15, Vec3 centerMm = default, Vec3 originMm = default)
    {
        var builder = new MeshBuilder(originMm);
        for (var i = 0; i < along; i++)
        {
            for (var j = 0; j < around; j++)
            {
                double a = Math.Tau * i / along, b = Math.Tau * j / around;
                var r = largeMm + (smallMm * Math.Cos(a));
                builder.AddVertex(centerMm + new Vec3(r * Math.Cos(b), r * Math.Sin(b), smallMm * Math.Sin(a)));
            }
        }

        for (var i = 0; i < along; i++)
        {
            for (var j = 0; j < around; j++)
            {
                int v = (i * around) + j, right = (i * around) + ((j + 1) % around);
                int up = (((i + 1) % along) * around) + j, both = (((i + 1) % along) * around) + ((j + 1) % around);
                var origin = (Origin)(i % 5);
                builder.AddTriangle(v, right, both, origin);
                builder.AddTriangle(v, both, up, origin);
            }
        }

        return builder.Build();
    }

    /// <summary>A binary STL with any header, count and records, true or not.</summary>
    public static byte[] StlBinary(string header = "sample", uint? count = null, Mesh? mesh = null, int extraBytes = 0)
    {
        mesh ??= Tetrahedron();
        var bytes = new byte[84 + (50 * mesh.TriangleCount) + extraBytes];
        Encoding.ASCII.GetBytes(header).CopyTo(bytes, 0);
        BinaryPrimitives.WriteUInt32LittleEndian(bytes.AsSpan(80), count ?? (uint)mesh.TriangleCount);
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var n = Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a)).Normalized();
            Vec3[] rows = [n, mesh.Local(a), mesh.Local(b), mesh.Local(c)];
            for (var i = 0; i < 12; i++)
                BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(84 + (50 * t) + (4 * i)), (float)rows[i / 3][i % 3]);
        }

        return bytes;
    }

    /// <summary>A 3MF package around a model part, with deflated or stored parts.</summary>
    public static byte[] ThreeMf(string model, string? relationships = null, params (string Name, string Text)[] more) =>
        ThreeMf(Text(model), relationships, more);

    public static byte[] ThreeMf(byte[] model, string? relationships = null, params (string Name, string Text)[] more)
    {
        using var memory = new MemoryStream();
        using (var zip = new ZipArchive(memory, ZipArchiveMode.Create, leaveOpen: true))
        {
            Add(zip, "[Content_Types].xml", Text(ContentTypes));
            Add(zip, "_rels/.rels", Text(relationships ?? Relationships));
            Add(zip, "3D/model.model", model);
            foreach (var (name, text) in more)
                Add(zip, name, Text(text));
        }

        return memory.ToArray();
    }

    /// <summary>A model part with the tetrahedron as object 1.</summary>
    public static string ThreeMfModel(string attributes = "unit=\"millimeter\"", string more = "", string build = "<item objectid=\"1\"/>", string before = "") =>
        $"""
        <?xml version="1.0" encoding="UTF-8"?>
        <model {attributes} xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" xmlns:x="urn:other">
        {before}<resources><object id="1" type="model" x:odd="1"><mesh>{TetrahedronXml}</mesh></object>{more}</resources><x:other><item objectid="9"/></x:other>
        <build>{build}</build></model>
        """;

    public const string TetrahedronXml =
        "<vertices><vertex x=\"0\" y=\"0\" z=\"0\"/><vertex x=\"1\" y=\"0\" z=\"0\"/><vertex x=\"0\" y=\" 1 \" z=\"0\"/><vertex x=\"0\" y=\"0\" z=\"1\"/></vertices>"
        + "<triangles><triangle v1=\"0\" v2=\"2\" v3=\"1\"/><triangle v1=\"0\" v2=\"1\" v3=\"3\"/><triangle v1=\"0\" v2=\"3\" v3=\"2\"/><triangle v1=\"1\" v2=\"2\" v3=\"3\"/></triangles>";

    // Doubles for x, an unknown element and unknown properties between, lists with ushort counts.
    private static string PlyHeaderOf(string encoding) =>
        $"""
        ply
        format {encoding} 1.0
        comment made by hand
        obj_info nothing
        element vertex 4
        property double x
        property short other
        property float y
        property float z
        property list uchar uchar marks
        element face 4
        property list ushort uint vertex_indices
        property char quality
        end_header

        """.ReplaceLineEndings("\n").Replace("property list uchar uchar marks\n", encoding == "ascii" ? "property uchar marks\n" : "property list uchar uchar marks\n", StringComparison.Ordinal);

    private static byte[] PlyBinary(bool bigEndian)
    {
        using var memory = new MemoryStream();
        memory.Write(Text(PlyHeaderOf(bigEndian ? "binary_big_endian" : "binary_little_endian")));
        void Put(byte[] littleEndian) => memory.Write(bigEndian ? [.. littleEndian.AsEnumerable().Reverse()] : littleEndian);
        (double X, float Y, float Z)[] vertices = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)];
        foreach (var (x, y, z) in vertices)
        {
            Put(BitConverter.GetBytes(x));
            Put(BitConverter.GetBytes((short)-7));
            Put(BitConverter.GetBytes(y));
            Put(BitConverter.GetBytes(z));
            memory.Write([2, 9, 9]);
        }

        foreach (uint[] face in (uint[][])[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
        {
            Put(BitConverter.GetBytes((ushort)3));
            foreach (var v in face)
                Put(BitConverter.GetBytes(v));
            memory.WriteByte(200);
        }

        return memory.ToArray();
    }

    private static void Add(ZipArchive zip, string name, byte[] bytes)
    {
        using var stream = zip.CreateEntry(name, CompressionLevel.Optimal).Open();
        stream.Write(bytes);
    }
}
