using System.Buffers;
using System.Globalization;
using System.Text;
using System.Xml;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>3MF, Core Specification 1.4: read by <see cref="ThreeMfReader"/>, written here.</summary>
/// <remarks>
/// Written: an object in millimetres with its vertices in patient coordinates (float32, shortest text), a base material
///   for each triangle origin or one of the object's own, and one item, moved by whole millimetres into the positive octant as the
///   specification recommends. Several solids are several objects, either an item each, moved alike, or components of one more object that is the
///   only item; the move stands in the metadata ap:ItemShiftMm, so that a reader can take it back. A thumbnail is a part of the package with the
///   relationship of section 3.4 of the specification (OPC's own for thumbnails). The package is written
///   with our own <see cref="ZipWriter"/> and <see cref="DeflateEncoder"/>: System.IO.Packaging stamps the time of
///   writing into the file, and the same model must give the same bytes.
/// Memory: the packed file, and about 1 MB a thread. Same bytes on any number of threads.
/// </remarks>
public static class ThreeMfFormat
{
    /// <summary>Namespace of our metadata, prefix ap.</summary>
    public const string OwnNamespace = "urn:anatomyprep:3mf:metadata";

    internal const string CoreNamespace = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
    internal const string StartPartType = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";
    internal const string RelationshipsNamespace = "http://schemas.openxmlformats.org/package/2006/relationships";
    internal const string ShiftName = "ItemShiftMm";

    private const string Step = "write 3MF";
    private const int MaterialsId = 1;
    private const int PieceElements = 1 << 13;
    private const string ModelPart = "3D/3dmodel.model";


    // The relationship says what it is; the name is free. assimp 5.2.5 frees memory twice on a PNG with "thumbnail" in its name.
    private const string ThumbnailPart = "Metadata/preview.png";
    private const string ThumbnailType = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail";

    // What a triangle element needs at most: three indices, and the material when it is not the default.
    private const int TriangleBytes = 96;
    private const int VertexBytes = 80;

    /// <summary>Writes a new file; on failure or cancel no file stays.</summary>
    public static void Write(Mesh mesh, string path, ThreeMfDescription description, RunContext run) =>
        OutputFile.Write(path, 0, handle =>
        {
            using var stream = new FileStream(handle, FileAccess.Write, 1);
            Write(mesh, stream, description, run);
        });

    /// <summary>As the other, to a stream, which need not be seekable and is left open.</summary>
    /// <exception cref="CheckFailedException">The model would take more than 4 GiB of XML.</exception>
    public static void Write(Mesh mesh, Stream stream, ThreeMfDescription description, RunContext run) =>
        Write([new(mesh, description.Title, null, description.IsSolid)], stream, description, run);

    /// <summary>Several solids as objects of one file, each with its name and colour; otherwise as the others.</summary>
    /// <exception cref="CheckFailedException">The model would take more than 4 GiB of XML.</exception>
    public static void Write(IReadOnlyList<ThreeMfSolid> solids, string path, ThreeMfDescription description, RunContext run) =>
        OutputFile.Write(path, 0, handle =>
        {
            using var stream = new FileStream(handle, FileAccess.Write, 1);
            Write(solids, stream, description, run);
        });

    /// <summary>As the other, to a stream, which need not be seekable and is left open.</summary>
    /// <exception cref="CheckFailedException">The model would take more than 4 GiB of XML.</exception>
    public static void Write(IReadOnlyList<ThreeMfSolid> solids, Stream stream, ThreeMfDescription description, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfZero(solids.Count);
        var texts = Frame(solids, description);
        var makers = new List<Func<Piece>>();
        for (var s = 0; s < solids.Count; s++)
        {
            var (mesh, beforeVertices, beforeTriangles) = (solids[s].Mesh, texts[2 * s], texts[(2 * s) + 1]);
            makers.Add(() => Piece.Of(beforeVertices));
            for (var first = 0; first < mesh.VertexCount; first += PieceElements)
                makers.Add(Maker(Vertices, mesh, first));
            makers.Add(() => Piece.Of(beforeTriangles));
            for (var first = 0; first < mesh.TriangleCount; first += PieceElements)
                makers.Add(Maker(solids[s].Colour is null ? Triangles : PlainTriangles, mesh, first));
        }

        makers.Add(() => Piece.Of(texts[^1]));
        var pieces = new Piece[makers.Count];
        run.Report(Step, "model", 0);
        Partition.For(run, pieces.Length, p => pieces[p] = makers[p]());
        run.Report(Step, "package", 0.9);
        var zip = new ZipWriter(stream);
        var thumbnail = description.ThumbnailPng;
        Add(zip, "[Content_Types].xml", [Piece.Of(Encoding.UTF8.GetBytes(ContentTypes(thumbnail is not null)))]);
        Add(zip, "_rels/.rels", [Piece.Of(Encoding.UTF8.GetBytes(Relationships(thumbnail is not null)))]);
        Add(zip, ModelPart, pieces);
        if (thumbnail is not null)
            Add(zip, ThumbnailPart, [Piece.Of(thumbnail)]);
        zip.Finish();
        run.Report(Step, "package", 1);
    }

    internal static RawMesh Read(ByteSource source, RunContext run) => ThreeMfReader.Read(source, run);

    private static void Add(ZipWriter zip, string name, Piece[] pieces)
    {
        uint crc = 0;
        long length = 0;
        foreach (var piece in pieces)
        {
            crc = Crc32.Join(crc, piece.Crc, piece.Length);
            length += piece.Length;
        }

        zip.Add(name, [.. pieces.Select(p => p.Packed)], crc, length);
    }

    private static string ContentTypes(bool hasThumbnail) =>
        """<?xml version="1.0" encoding="utf-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">"""
        + """<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>"""
        + """<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>"""
        + (hasThumbnail ? """<Default Extension="png" ContentType="image/png"/></Types>""" : "</Types>");

    private static string Relationships(bool hasThumbnail) =>
        $"""<?xml version="1.0" encoding="utf-8"?><Relationships xmlns="{RelationshipsNamespace}">"""
        + $"""<Relationship Target="/{ModelPart}" Id="model" Type="{StartPartType}"/>"""
        + (hasThumbnail ? $"""<Relationship Target="/{ThumbnailPart}" Id="thumbnail" Type="{ThumbnailType}"/></Relationships>""" : "</Relationships>");

    private static Func<Piece> Maker(Func<Mesh, int, Piece> make, Mesh mesh, int first) => () => make(mesh, first);

    // The model part without vertices and triangles, cut where they go: before the vertices of the first, before its triangles, and so on.
    private static byte[][] Frame(IReadOnlyList<ThreeMfSolid> solids, ThreeMfDescription description)
    {
        using var memory = new MemoryStream();
        using var xml = XmlWriter.Create(memory, new XmlWriterSettings { Encoding = new UTF8Encoding(encoderShouldEmitUTF8Identifier: false) });
        var shiftMm = ShiftMm(solids);
        var cuts = new List<int> { 0 };
        xml.WriteStartDocument();
        xml.WriteStartElement("model", CoreNamespace);
        xml.WriteAttributeString("unit", "millimeter");
        xml.WriteAttributeString("xml", "lang", null, "und");
        xml.WriteAttributeString("xmlns", "ap", null, OwnNamespace);
        WriteMetadata(xml, description, shiftMm);
        xml.WriteStartElement("resources", CoreNamespace);
        WriteMaterials(xml, solids);
        for (var s = 0; s < solids.Count; s++)
            WriteObject(xml, solids, s, () => Cut(xml, memory, cuts));
        // An assembly is of the type "model": an open surface cannot be a component of it, and then each is an item.
        var together = description.IsAssembly && solids.Count > 1 && solids.All(s => s.IsSolid);
        if (together)
            WriteAssembly(xml, solids, description.Title);
        xml.WriteEndElement();
        xml.WriteStartElement("build", CoreNamespace);
        for (var s = together ? solids.Count : 0; s < (together ? solids.Count + 1 : solids.Count); s++)
        {
            xml.WriteStartElement("item", CoreNamespace);
            xml.WriteAttributeString("objectid", Number(ObjectId(solids, s)));
            xml.WriteAttributeString("transform", string.Create(CultureInfo.InvariantCulture, $"1 0 0 0 1 0 0 0 1 {shiftMm.X} {shiftMm.Y} {shiftMm.Z}"));
            xml.WriteEndElement();
        }

        xml.WriteEndElement();
        xml.WriteEndElement();
        xml.Flush();
        var text = memory.ToArray();
        cuts.Add(text.Length);
        return [.. cuts.Zip(cuts.Skip(1), (from, to) => text[from..to])];
    }

    // The text so far ends with an open element that the caller's own bytes go into.
    private static void Cut(XmlWriter xml, MemoryStream memory, List<int> cuts)
    {
        xml.WriteString("");
        xml.Flush();
        cuts.Add((int)memory.Length);
    }

    // Materials by origin come first and are one group; those of the solids' own follow, one group a solid.
    private static int MaterialId(IReadOnlyList<ThreeMfSolid> solids, int solid) =>
        solids[solid].Colour is null ? MaterialsId : OwnMaterials(solids).IndexOf(solid) + (solids.Any(s => s.Colour is null) ? MaterialsId + 1 : MaterialsId);

    private static List<int> OwnMaterials(IReadOnlyList<ThreeMfSolid> solids) => [.. Enumerable.Range(0, solids.Count).Where(s => solids[s].Colour is not null)];

    private static int ObjectId(IReadOnlyList<ThreeMfSolid> solids, int solid) =>
        MaterialsId + OwnMaterials(solids).Count + (solids.Any(s => s.Colour is null) ? 1 : 0) + solid;

    private static void WriteObject(XmlWriter xml, IReadOnlyList<ThreeMfSolid> solids, int solid, Action cut)
    {
        xml.WriteStartElement("object", CoreNamespace);
        xml.WriteAttributeString("id", Number(ObjectId(solids, solid)));
        xml.WriteAttributeString("type", solids[solid].IsSolid ? "model" : "surface");
        xml.WriteAttributeString("name", Clean(solids[solid].Name));
        xml.WriteAttributeString("pid", Number(MaterialId(solids, solid)));
        xml.WriteAttributeString("pindex", Number((int)Origin.Measured));
        xml.WriteStartElement("mesh", CoreNamespace);
        xml.WriteStartElement("vertices", CoreNamespace);
        cut();
        xml.WriteEndElement();
        xml.WriteStartElement("triangles", CoreNamespace);
        cut();
        xml.WriteEndElement();
        xml.WriteEndElement();
        xml.WriteEndElement();
    }

    // Its number follows that of the last solid.
    private static void WriteAssembly(XmlWriter xml, IReadOnlyList<ThreeMfSolid> solids, string title)
    {
        xml.WriteStartElement("object", CoreNamespace);
        xml.WriteAttributeString("id", Number(ObjectId(solids, solids.Count)));
        xml.WriteAttributeString("type", "model");
        xml.WriteAttributeString("name", Clean(title));
        xml.WriteStartElement("components", CoreNamespace);
        for (var s = 0; s < solids.Count; s++)
        {
            xml.WriteStartElement("component", CoreNamespace);
            xml.WriteAttributeString("objectid", Number(ObjectId(solids, s)));
            xml.WriteEndElement();
        }

        xml.WriteEndElement();
        xml.WriteEndElement();
    }

    private static void WriteMetadata(XmlWriter xml, ThreeMfDescription description, Vec3 shiftMm)
    {
        void Write(string name, string value)
        {
            xml.WriteStartElement("metadata", CoreNamespace);
            xml.WriteAttributeString("name", name);
            // Asks other programs to keep what the specification does not know: side, purpose, the record's hash.
            if (name.StartsWith("ap:", StringComparison.Ordinal))
                xml.WriteAttributeString("preserve", "1");
            xml.WriteString(Clean(value));
            xml.WriteEndElement();
        }

        Write("Title", description.Title);
        Write("Designer", description.Designer);
        Write("Description", description.Description);
        Write("Application", description.Application);
        Write("ap:PatientAxes", "LPS");
        Write("ap:" + ShiftName, string.Create(CultureInfo.InvariantCulture, $"{shiftMm.X} {shiftMm.Y} {shiftMm.Z}"));
        var names = new HashSet<string> { "PatientAxes", ShiftName };
        foreach (var (name, value) in description.Own)
        {
            if (!names.Add(name) || name.Length == 0 || !char.IsAsciiLetter(name[0])
                || !name.All(c => char.IsAsciiLetterOrDigit(c) || c is '.' or '-' or '_'))
                throw new ArgumentException($"'{name}' is no name for metadata, or is there twice.", nameof(description));
            Write("ap:" + name, value);
        }
    }

    private static void WriteMaterials(XmlWriter xml, IReadOnlyList<ThreeMfSolid> solids)
    {
        if (solids.Any(s => s.Colour is null))
            WriteMaterials(xml, MaterialsId, Enum.GetValues<Origin>().Select(o => (OriginPalette.Name(o), OriginPalette.Color(o))));
        foreach (var s in OwnMaterials(solids))
            WriteMaterials(xml, MaterialId(solids, s), [(solids[s].Name, solids[s].Colour!.Value)]);
    }

    private static void WriteMaterials(XmlWriter xml, int id, IEnumerable<(string Name, Rgb Colour)> materials)
    {
        xml.WriteStartElement("basematerials", CoreNamespace);
        xml.WriteAttributeString("id", Number(id));
        foreach (var (name, colour) in materials)
        {
            xml.WriteStartElement("base", CoreNamespace);
            xml.WriteAttributeString("name", Clean(name));
            xml.WriteAttributeString("displaycolor", colour.ToHex());
            xml.WriteEndElement();
        }

        xml.WriteEndElement();
    }

    // Whole millimetres that bring the lowest corner to 0 or just above.
    private static Vec3 ShiftMm(IReadOnlyList<ThreeMfSolid> solids)
    {
        var lows = solids.Select(s => s.Mesh.BoundsMm().Min).ToArray();
        var low = new Vec3(lows.Min(l => l.X), lows.Min(l => l.Y), lows.Min(l => l.Z));
        double Shift(double lowest) => double.IsFinite(lowest) ? 0 - Math.Floor((float)lowest) : 0;
        return new(Shift(low.X), Shift(low.Y), Shift(low.Z));
    }

    private static string Number(int value) => value.ToString(CultureInfo.InvariantCulture);

    // Characters that XML has no way to write become blanks.
    private static string Clean(string text) => string.Concat(text.EnumerateRunes().Select(r =>
        r.Value is 9 or 10 or 13 || (r.Value >= 0x20 && r.Value is not (0xFFFE or 0xFFFF)) ? r.ToString() : " "));

    private static Piece Vertices(Mesh mesh, int first)
    {
        var count = Math.Min(PieceElements, mesh.VertexCount - first);
        return Piece.Of(count * VertexBytes, buffer =>
        {
            var at = 0;
            for (var v = first; v < first + count; v++)
            {
                var p = mesh.Vertex(v);
                Put("<vertex x=\""u8, buffer, ref at);
                at += FloatText.Format((float)p.X, buffer.AsSpan(at));
                Put("\" y=\""u8, buffer, ref at);
                at += FloatText.Format((float)p.Y, buffer.AsSpan(at));
                Put("\" z=\""u8, buffer, ref at);
                at += FloatText.Format((float)p.Z, buffer.AsSpan(at));
                Put("\"/>"u8, buffer, ref at);
            }

            return at;
        });
    }

    private static Piece Triangles(Mesh mesh, int first) => Triangles(mesh, first, withOrigins: true);

    private static Piece PlainTriangles(Mesh mesh, int first) => Triangles(mesh, first, withOrigins: false);

    private static Piece Triangles(Mesh mesh, int first, bool withOrigins)
    {
        var count = Math.Min(PieceElements, mesh.TriangleCount - first);
        return Piece.Of(count * TriangleBytes, buffer =>
        {
            var at = 0;
            for (var t = first; t < first + count; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                Put("<triangle v1=\""u8, buffer, ref at);
                at += FloatText.Format(a, buffer.AsSpan(at));
                Put("\" v2=\""u8, buffer, ref at);
                at += FloatText.Format(b, buffer.AsSpan(at));
                Put("\" v3=\""u8, buffer, ref at);
                at += FloatText.Format(c, buffer.AsSpan(at));
                if (withOrigins && mesh.Origins[t] != Origin.Measured)
                {
                    Put("\" pid=\"1\" p1=\""u8, buffer, ref at);
                    buffer[at++] = (byte)('0' + (int)mesh.Origins[t]);
                }

                Put("\"/>"u8, buffer, ref at);
            }

            return at;
        });
    }

    private static void Put(ReadOnlySpan<byte> text, byte[] buffer, ref int at)
    {
        text.CopyTo(buffer.AsSpan(at));
        at += text.Length;
    }

    // A stretch of the model part, packed.
    private readonly record struct Piece(byte[] Packed, uint Crc, int Length)
    {
        internal static Piece Of(ReadOnlySpan<byte> text) => new(new DeflateEncoder().Pack(text), Crc32.Append(0, text), text.Length);

        internal static Piece Of(int mostBytes, Func<byte[], int> fill)
        {
            var buffer = ArrayPool<byte>.Shared.Rent(mostBytes);
            try
            {
                return Of(buffer.AsSpan(0, fill(buffer)));
            }
            finally
            {
                ArrayPool<byte>.Shared.Return(buffer);
            }
        }
    }
}
