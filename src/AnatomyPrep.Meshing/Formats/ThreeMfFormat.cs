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
/// Written: one object in millimetres with its vertices in patient coordinates (float32, shortest text), a base material
///   for each triangle origin, and one item, moved by whole millimetres into the positive octant as the specification
///   recommends; the move stands in the metadata ap:ItemShiftMm, so that a reader can take it back. The package is written
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
    private const int ObjectId = 2;
    private const int PieceElements = 1 << 13;
    private const string ModelPart = "3D/3dmodel.model";

    private const string ContentTypes =
        """<?xml version="1.0" encoding="utf-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">"""
        + """<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>"""
        + """<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>""";

    private const string Relationships =
        $"""<?xml version="1.0" encoding="utf-8"?><Relationships xmlns="{RelationshipsNamespace}">"""
        + $"""<Relationship Target="/{ModelPart}" Id="model" Type="{StartPartType}"/></Relationships>""";

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
    public static void Write(Mesh mesh, Stream stream, ThreeMfDescription description, RunContext run)
    {
        var (head, tail) = Frame(mesh, description);
        var vertexPieces = Partition.Pieces(mesh.VertexCount, PieceElements);
        var trianglePieces = Partition.Pieces(mesh.TriangleCount, PieceElements);
        var pieces = new Piece[vertexPieces + trianglePieces + 3];
        run.Report(Step, "model", 0);
        Partition.For(run, pieces.Length, p =>
        {
            var t = p - vertexPieces - 2;
            pieces[p] = p == 0 ? Piece.Of(head)
                : p <= vertexPieces ? Vertices(mesh, (p - 1) * PieceElements)
                : t < 0 ? Piece.Of("</vertices><triangles>"u8)
                : t < trianglePieces ? Triangles(mesh, t * PieceElements)
                : Piece.Of(tail);
        });
        run.Report(Step, "package", 0.9);
        var zip = new ZipWriter(stream);
        Add(zip, "[Content_Types].xml", [Piece.Of(Encoding.UTF8.GetBytes(ContentTypes))]);
        Add(zip, "_rels/.rels", [Piece.Of(Encoding.UTF8.GetBytes(Relationships))]);
        Add(zip, ModelPart, pieces);
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

    // The model part up to its vertices, and from the end of its triangles.
    private static (byte[] Head, byte[] Tail) Frame(Mesh mesh, ThreeMfDescription description)
    {
        using var memory = new MemoryStream();
        using var xml = XmlWriter.Create(memory, new XmlWriterSettings { Encoding = new UTF8Encoding(encoderShouldEmitUTF8Identifier: false) });
        var shiftMm = ShiftMm(mesh);
        xml.WriteStartDocument();
        xml.WriteStartElement("model", CoreNamespace);
        xml.WriteAttributeString("unit", "millimeter");
        xml.WriteAttributeString("xml", "lang", null, "und");
        xml.WriteAttributeString("xmlns", "ap", null, OwnNamespace);
        WriteMetadata(xml, description, shiftMm);
        xml.WriteStartElement("resources", CoreNamespace);
        WriteMaterials(xml);
        xml.WriteStartElement("object", CoreNamespace);
        xml.WriteAttributeString("id", Number(ObjectId));
        xml.WriteAttributeString("type", description.IsSolid ? "model" : "surface");
        xml.WriteAttributeString("name", Clean(description.Title));
        xml.WriteAttributeString("pid", Number(MaterialsId));
        xml.WriteAttributeString("pindex", Number((int)Origin.Measured));
        xml.WriteStartElement("mesh", CoreNamespace);
        xml.WriteStartElement("vertices", CoreNamespace);
        xml.WriteString("");
        xml.Flush();
        var headLength = (int)memory.Length;
        // The writer closes vertices where in fact triangles end: the two are swapped in the text between.
        xml.WriteEndElement();
        xml.WriteEndElement();
        xml.WriteEndElement();
        xml.WriteEndElement();
        xml.WriteStartElement("build", CoreNamespace);
        xml.WriteStartElement("item", CoreNamespace);
        xml.WriteAttributeString("objectid", Number(ObjectId));
        xml.WriteAttributeString("transform", string.Create(CultureInfo.InvariantCulture, $"1 0 0 0 1 0 0 0 1 {shiftMm.X} {shiftMm.Y} {shiftMm.Z}"));
        xml.WriteEndElement();
        xml.WriteEndElement();
        xml.WriteEndElement();
        xml.Flush();
        var text = memory.ToArray();
        ReadOnlySpan<byte> closed = "</vertices>"u8;
        return (text[..headLength], [.. "</triangles>"u8, .. text.AsSpan(headLength + closed.Length)]);
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

    private static void WriteMaterials(XmlWriter xml)
    {
        xml.WriteStartElement("basematerials", CoreNamespace);
        xml.WriteAttributeString("id", Number(MaterialsId));
        foreach (var origin in Enum.GetValues<Origin>())
        {
            xml.WriteStartElement("base", CoreNamespace);
            xml.WriteAttributeString("name", OriginPalette.Name(origin));
            xml.WriteAttributeString("displaycolor", OriginPalette.Color(origin).ToHex());
            xml.WriteEndElement();
        }

        xml.WriteEndElement();
    }

    // Whole millimetres that bring the lowest corner to 0 or just above.
    private static Vec3 ShiftMm(Mesh mesh)
    {
        var low = mesh.BoundsMm().Min;
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

    private static Piece Triangles(Mesh mesh, int first)
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
                if (mesh.Origins[t] != Origin.Measured)
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
