using System.Buffers;
using System.Buffers.Binary;
using System.Runtime.InteropServices;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>PLY 1.0: text and both binary encodings are read, little-endian binary is written.</summary>
/// <remarks>
/// Format: G. Turk, "The PLY Polygon File Format", 1994. Read are x, y, z and nx, ny, nz of "vertex" and the list
///   "vertex_indices" or "vertex_index" of "face" and "tristrips" (-1 starts a new strip), all in any scalar type; elements
///   and properties of other names are passed over. "origin" of "face" is believed where the comment of our writer stands.
/// Memory: 12 bytes a vertex (24 for double, int and uint) and 12 of normals, 4 bytes a corner of a face (twice that, and
///   4 a face, unless all are triangles in a binary file). Counts the file has no room for are refused first.
/// Rows without lists, and faces that are all triangles, are read by several threads; the result is the same.
/// </remarks>
public static class PlyFormat
{
    private const string Step = "write PLY";
    private const int VertexBytes = 12;
    private const int FaceBytes = 17;
    private const int BlockBytes = 1 << 18;

    private static readonly string[] s_slots = ["x", "y", "z", "nx", "ny", "nz"];

    private static string OriginComment { get; } = "origin " + string.Join(
        ", ", Enum.GetValues<Origin>().Select(o => FormattableString.Invariant($"{(int)o} {OriginPalette.Name(o)}")));

    /// <summary>Bytes of a file with that header comment.</summary>
    public static long SizeBytes(Mesh mesh, string comment) =>
        Header(mesh, comment).Length + ((long)VertexBytes * mesh.VertexCount) + ((long)FaceBytes * mesh.TriangleCount);

    /// <summary>
    /// Writes a new file in patient millimetres: x, y, z float a vertex; vertex_indices, origin, red, green, blue a face.
    /// On failure or cancel no file stays.
    /// </summary>
    /// <param name="comment">Free text, without personal data; one comment line for each of its lines.</param>
    public static void Write(Mesh mesh, string path, string comment, RunContext run)
    {
        var header = Header(mesh, comment);
        var faces = header.Length + ((long)VertexBytes * mesh.VertexCount);
        OutputFile.Write(path, SizeBytes(mesh, comment), file =>
        {
            run.Report(Step, "vertices", 0);
            RandomAccess.Write(file, header, 0);
            RecordBlocks.Write(file, header.Length, mesh.VertexCount, VertexBytes, (block, first) => FillVertices(mesh, block, first), run);
            run.Report(Step, "triangles", 0);
            RecordBlocks.Write(file, faces, mesh.TriangleCount, FaceBytes, (block, first) => FillFaces(mesh, block, first), run);
        });
        run.Report(Step, "triangles", 1);
    }

    /// <summary>As the other, to a stream, which is left open.</summary>
    public static void Write(Mesh mesh, Stream stream, string comment, RunContext run)
    {
        run.Report(Step, "vertices", 0);
        stream.Write(Header(mesh, comment));
        RecordBlocks.Write(stream, mesh.VertexCount, VertexBytes, (block, first) => FillVertices(mesh, block, first), run);
        run.Report(Step, "triangles", 0);
        RecordBlocks.Write(stream, mesh.TriangleCount, FaceBytes, (block, first) => FillFaces(mesh, block, first), run);
        run.Report(Step, "triangles", 1);
    }

    /// <summary>True when the header announces at least one face.</summary>
    internal static bool HasFaces(ByteSource source) =>
        PlyHeader.Read(source).Elements.Any(e => e.Name is "face" or "tristrips" && e.Count > 0 && IndexList(e) is not null);

    internal static RawMesh Read(ByteSource source, RunContext run)
    {
        var data = ReadData(source, wantFaces: true, run);
        var findings = new List<Finding>();
        var vertices = data.VertexCount;
        if (data.ExtraBytes > 0)
            findings.Add(RawMesh.ExtraBytes(data.ExtraBytes));
        var (triangles, origins) = data.Triangles is { } ready
            ? (CheckedIndices(source, ready, vertices), data.Origins)
            : data.Faces.Triangulate(vertices, data.Position, findings, run);
        return data.Singles is { } singles
            ? new(FormatName(data.Encoding), singles, triangles, findings) { Origins = origins }
            : new(FormatName(data.Encoding), data.Doubles!, triangles, findings) { Origins = origins };
    }

    internal static RawPoints ReadPoints(ByteSource source, RunContext run)
    {
        var data = ReadData(source, wantFaces: false, run);
        return new(FormatName(data.Encoding), data.Doubles ?? Array.ConvertAll(data.Singles!, s => (double)s), data.Normals);
    }

    private static string FormatName(PlyEncoding encoding) => encoding switch
    {
        PlyEncoding.Text => "ply-text",
        PlyEncoding.LittleEndian => "ply-little-endian",
        _ => "ply-big-endian",
    };

    private static int[] CheckedIndices(ByteSource source, int[] triangles, int vertices)
    {
        if (triangles.Length == 0)
            throw RawMesh.NoTriangles(source);
        for (var h = 0; h < triangles.Length; h++)
            if ((uint)triangles[h] >= (uint)vertices)
                throw FaceList.IndexOutside(source, h / 3, triangles[h], vertices);
        return triangles;
    }

    private static Data ReadData(ByteSource source, bool wantFaces, RunContext run)
    {
        var header = PlyHeader.Read(source);
        var data = new Data(source, header);
        var text = header.Encoding == PlyEncoding.Text ? new TextScanner(source, run, header.DataStart, header.Lines) : null;
        var at = header.DataStart;
        foreach (var element in header.Elements)
        {
            if (element.Properties.Count == 0 || element.Count == 0)
                continue;
            RequireRoom(source, element, at, text is not null);
            if (element.Name is "vertex" or "face" or "tristrips")
                source.RequireMemory(run, 36 * element.Count);
            if (text is not null)
                ReadRows(element, new PlyTextValues(source, text), data, wantFaces, run);
            else if (!TryReadFixedRows(source, element, ref at, data, wantFaces, run))
            {
                var values = new PlyBinaryValues(source, run, at, header.Encoding == PlyEncoding.BigEndian);
                ReadRows(element, values, data, wantFaces, run);
                at = values.Position;
            }
        }

        if (data.VertexCount == 0)
            throw source.Bad("vertex count", "0", "Give a file that holds vertices with x, y and z.");
        data.ExtraBytes = text is null ? source.Length - at : text.Word().Length;
        return data;
    }

    // A text value takes a digit and a blank; the last one of the file may lack the blank.
    private static void RequireRoom(ByteSource source, PlyElement element, long at, bool text)
    {
        var room = text ? (source.Length - at + 1) / 2 : source.Length - at;
        var least = text ? element.Properties.Count : element.LeastRowBytes;
        if (element.Count > room / least || element.Count > Array.MaxLength / 6)
            throw source.Bad(
                $"element {TextScanner.Shown(Encoding.Latin1.GetBytes(element.Name))}",
                FormattableString.Invariant($"{element.Count} rows in a file of {source.Length} bytes"),
                "The file is cut short or its counts are wrong: get it again from where it came.");
    }

    private static PlyProperty? IndexList(PlyElement element) =>
        element.Properties.FirstOrDefault(p => p.IsList && p.Name is "vertex_indices" or "vertex_index");

    private static void ReadRows(PlyElement element, PlyValues values, Data data, bool wantFaces, RunContext run)
    {
        if (element.Name == "vertex" && data.TakeVertices(element))
            ReadVertices(element, values, data, run);
        else if (wantFaces && element.Name is "face" or "tristrips" && IndexList(element) is { } list)
            ReadFaces(element, list, values, data, run);
        else
            for (var row = 0L; row < element.Count; row++)
                foreach (var property in element.Properties)
                    values.Skip(property);
    }

    private static void ReadVertices(PlyElement element, PlyValues values, Data data, RunContext run)
    {
        var slots = element.Properties.Select(p => p.IsList ? -1 : Array.IndexOf(s_slots, p.Name)).ToArray();
        for (var row = 0; row < element.Count; row++)
        {
            if (row % 4096 == 0)
                run.ThrowIfCancelled();
            for (var p = 0; p < slots.Length; p++)
            {
                var property = element.Properties[p];
                if (slots[p] < 0)
                    values.Skip(property);
                else
                    data.Set(row, slots[p], values.Next(property.Type, property.Name));
            }
        }
    }

    private static void ReadFaces(PlyElement element, PlyProperty list, PlyValues values, Data data, RunContext run)
    {
        var corners = new List<int>();
        for (var row = 0L; row < element.Count; row++)
        {
            if (row % 4096 == 0)
                run.ThrowIfCancelled();
            corners.Clear();
            Origin? origin = null;
            foreach (var property in element.Properties)
            {
                if (property == list)
                    ReadIndices(property, values, corners);
                else if (data.HasOrigins && IsOrigin(property))
                    origin = OriginOf(values.Next(property.Type, "origin")) ?? throw values.Bad("origin", "not one of 0 to 4");
                else
                    values.Skip(property);
            }

            var face = CollectionsMarshal.AsSpan(corners);
            if (element.Name == "tristrips")
                AddStrips(face, data.Faces);
            else
                data.Faces.Add(face, data.HasOrigins ? origin ?? Origin.Measured : null);
        }
    }

    private static void ReadIndices(PlyProperty list, PlyValues values, List<int> corners)
    {
        for (var left = values.ListCount(list); left > 0; left--)
        {
            var index = values.Next(list.Type, list.Name);
            if (!(Math.Abs(index) <= int.MaxValue) || index != Math.Floor(index))
                throw values.Bad(list.Name, FormattableString.Invariant($"vertex {index}"));
            corners.Add((int)index);
        }
    }

    // Every corner after the second makes a triangle with the two before it, every other one turned to keep its side.
    private static void AddStrips(ReadOnlySpan<int> indices, FaceList faces)
    {
        var start = 0;
        for (var i = 0; i < indices.Length; i++)
        {
            if (indices[i] == -1)
                start = i + 1;
            else if (i - start >= 2)
                faces.Add((i - start) % 2 == 0 ? [indices[i - 2], indices[i - 1], indices[i]] : [indices[i - 1], indices[i - 2], indices[i]]);
        }
    }

    private static bool IsOrigin(PlyProperty property) => property is { Name: "origin", IsList: false };

    private static Origin? OriginOf(double value) => value is 0 or 1 or 2 or 3 or 4 ? (Origin)(byte)value : null;

    // Rows of one size each: vertices without lists, faces that are all triangles, and anything else without lists.
    private static bool TryReadFixedRows(ByteSource source, PlyElement element, ref long at, Data data, bool wantFaces, RunContext run)
    {
        if (!element.HasLists)
        {
            if (element.Name == "vertex" && data.TakeVertices(element))
                ReadVertexBlocks(source, element, at, data, run);
            at += element.Count * element.LeastRowBytes;
            return true;
        }

        if (!wantFaces || element.Name != "face" || !data.HasOneFaceElement
            || element.Properties.Count(p => p.IsList) != 1 || IndexList(element) is not { } list)
            return false;
        var rowBytes = element.LeastRowBytes + (3 * list.Type.Size());
        if (element.Count * rowBytes > source.Length - at || !ReadTriangleBlocks(source, element, list, at, data, run))
            return false;
        at += element.Count * rowBytes;
        return true;
    }

    private static void ReadVertexBlocks(ByteSource source, PlyElement element, long start, Data data, RunContext run)
    {
        var rowBytes = element.LeastRowBytes;
        var slots = element.Properties.Select(p => Array.IndexOf(s_slots, p.Name)).ToArray();
        var bigEndian = data.Encoding == PlyEncoding.BigEndian;
        Blocks(source, element, rowBytes, start, run, (rows, first) =>
        {
            for (var row = 0; row * rowBytes < rows.Length; row++)
            {
                var at = row * rowBytes;
                for (var p = 0; p < slots.Length; p++)
                {
                    var type = element.Properties[p].Type;
                    if (slots[p] >= 0)
                        data.Set(first + row, slots[p], type.Decode(rows[at..], bigEndian));
                    at += type.Size();
                }
            }
        });
    }

    // False when some face is not a triangle; nothing is kept then.
    private static bool ReadTriangleBlocks(ByteSource source, PlyElement element, PlyProperty list, long start, Data data, RunContext run)
    {
        var count = (int)element.Count;
        var rowBytes = element.LeastRowBytes + (3 * list.Type.Size());
        var before = element.Properties.TakeWhile(p => p != list).Sum(p => p.Type.Size());
        var originAt = OriginOffset(element, list, data.HasOrigins);
        var bigEndian = data.Encoding == PlyEncoding.BigEndian;
        var triangles = GC.AllocateUninitializedArray<int>(3 * count);
        var origins = data.HasOrigins ? new Origin[count] : null;
        var allTriangles = new bool[Partition.Pieces(count, RowsPerBlock(rowBytes))];
        Blocks(source, element, rowBytes, start, run, (rows, first) =>
        {
            for (var row = 0; row * rowBytes < rows.Length; row++)
            {
                var at = (row * rowBytes) + before;
                if (list.Count!.Value.Decode(rows[at..], bigEndian) != 3)
                    return;
                at += list.Count.Value.Size();
                for (var corner = 0; corner < 3; corner++, at += list.Type.Size())
                    triangles[(3 * (first + row)) + corner] = Index(list.Type, rows[at..], bigEndian);
                if (origins is not null && originAt is var (offset, type))
                {
                    if (OriginOf(type.Decode(rows[((row * rowBytes) + offset)..], bigEndian)) is not { } origin)
                        return;
                    origins[first + row] = origin;
                }
            }

            allTriangles[first / RowsPerBlock(rowBytes)] = true;
        });
        if (allTriangles.Contains(false))
            return false;
        (data.Triangles, data.Origins) = (triangles, origins);
        return true;
    }

    // -1, which no mesh accepts, for a number that is not a vertex.
    private static int Index(PlyScalar type, ReadOnlySpan<byte> bytes, bool bigEndian)
    {
        if (type == PlyScalar.Int32)
            return bigEndian ? BinaryPrimitives.ReadInt32BigEndian(bytes) : BinaryPrimitives.ReadInt32LittleEndian(bytes);
        var index = type.Decode(bytes, bigEndian);
        return index >= 0 && index <= int.MaxValue && index == Math.Floor(index) ? (int)index : -1;
    }

    private static (int Offset, PlyScalar Type)? OriginOffset(PlyElement element, PlyProperty list, bool wanted)
    {
        var offset = 0;
        foreach (var property in element.Properties)
        {
            if (wanted && IsOrigin(property))
                return (offset, property.Type);
            offset += property == list ? property.Count!.Value.Size() + (3 * property.Type.Size()) : property.Type.Size();
        }

        return null;
    }

    private static int RowsPerBlock(int rowBytes) => Math.Max(1, BlockBytes / rowBytes);

    private delegate void ReadBlock(ReadOnlySpan<byte> rows, int first);

    private static void Blocks(ByteSource source, PlyElement element, int rowBytes, long start, RunContext run, ReadBlock read) =>
        Partition.Ranges(run, (int)element.Count, RowsPerBlock(rowBytes), (_, from, to) =>
        {
            var buffer = ArrayPool<byte>.Shared.Rent((to - from) * rowBytes);
            try
            {
                var rows = buffer.AsSpan(0, (to - from) * rowBytes);
                source.ReadExactly(start + ((long)from * rowBytes), rows);
                read(rows, from);
            }
            finally
            {
                ArrayPool<byte>.Shared.Return(buffer);
            }
        });

    private static byte[] Header(Mesh mesh, string comment)
    {
        var header = new StringBuilder("ply\nformat binary_little_endian 1.0\n");
        foreach (var line in comment.ReplaceLineEndings("\n").Split('\n', StringSplitOptions.RemoveEmptyEntries))
            header.Append("comment ").Append(line).Append('\n');
        header.Append("comment ").Append(OriginComment).Append('\n');
        header.Append(FormattableString.Invariant($"element vertex {mesh.VertexCount}\nproperty float x\nproperty float y\nproperty float z\n"));
        header.Append(FormattableString.Invariant($"element face {mesh.TriangleCount}\nproperty list uchar int vertex_indices\n"));
        header.Append("property uchar origin\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n");
        return Encoding.UTF8.GetBytes(header.ToString());
    }

    private static void FillVertices(Mesh mesh, Span<byte> block, int first)
    {
        var source = mesh.Positions.Slice(3 * first, block.Length / 4);
        if (mesh.OriginMm == Vec3.Zero && BitConverter.IsLittleEndian)
        {
            MemoryMarshal.AsBytes(source).CopyTo(block);
            return;
        }

        for (var i = 0; i < source.Length; i++)
            BinaryPrimitives.WriteSingleLittleEndian(block[(4 * i)..], (float)(source[i] + mesh.OriginMm[i % 3]));
    }

    private static void FillFaces(Mesh mesh, Span<byte> block, int first)
    {
        var triangles = mesh.Triangles[(3 * first)..];
        for (int at = 0, t = 0; at < block.Length; at += FaceBytes, t++)
        {
            var face = block.Slice(at, FaceBytes);
            var origin = mesh.Origins[first + t];
            var color = OriginPalette.Color(origin);
            face[16] = color.Blue;
            face[0] = 3;
            BinaryPrimitives.WriteInt32LittleEndian(face[1..], triangles[3 * t]);
            BinaryPrimitives.WriteInt32LittleEndian(face[5..], triangles[(3 * t) + 1]);
            BinaryPrimitives.WriteInt32LittleEndian(face[9..], triangles[(3 * t) + 2]);
            face[13] = (byte)origin;
            face[14] = color.Red;
            face[15] = color.Green;
        }
    }

    // What has been read so far.
    private sealed class Data(ByteSource source, PlyHeader header)
    {
        internal PlyEncoding Encoding { get; } = header.Encoding;

        internal bool HasOrigins { get; } = header.Comments.Contains(OriginComment)
            && header.Elements.Any(e => e.Name == "face" && e.Properties.Any(IsOrigin));

        internal bool HasOneFaceElement { get; } = header.Elements.Count(e => e.Name is "face" or "tristrips") == 1;

        internal int VertexCount => (Singles?.Length ?? Doubles?.Length ?? 0) / 3;

        internal float[]? Singles { get; private set; }

        internal double[]? Doubles { get; private set; }

        internal float[]? Normals { get; private set; }

        internal int[]? Triangles { get; set; }

        internal Origin[]? Origins { get; set; }

        internal FaceList Faces { get; } = new(source);

        internal long ExtraBytes { get; set; }

        // Makes room for the rows of an element that has x, y and z; false when it has not, or is a second one.
        internal bool TakeVertices(PlyElement element)
        {
            PlyProperty? Find(string name) => element.Properties.FirstOrDefault(p => !p.IsList && p.Name == name);
            if (VertexCount > 0 || Find("x") is not { } x || Find("y") is not { } y || Find("z") is not { } z)
                return false;
            var length = checked((int)(3 * element.Count));
            if (x.Type.FitsSingle() && y.Type.FitsSingle() && z.Type.FitsSingle())
                Singles = new float[length];
            else
                Doubles = new double[length];
            if (Find("nx") is not null && Find("ny") is not null && Find("nz") is not null)
                Normals = new float[length];
            return true;
        }

        internal void Set(int row, int slot, double value)
        {
            if (slot >= 3)
            {
                if (Normals is not null)
                    Normals[(3 * row) + slot - 3] = (float)value;
            }
            else if (Singles is not null)
                Singles[(3 * row) + slot] = (float)value;
            else
                Doubles![(3 * row) + slot] = value;
        }

        internal Vec3 Position(int v) => Singles is not null
            ? new(Singles[3 * v], Singles[(3 * v) + 1], Singles[(3 * v) + 2])
            : new(Doubles![3 * v], Doubles[(3 * v) + 1], Doubles[(3 * v) + 2]);
    }
}
