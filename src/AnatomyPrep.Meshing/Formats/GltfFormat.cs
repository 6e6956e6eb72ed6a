using System.Buffers.Binary;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>glTF 2.0 in one binary file (GLB), for pages and viewers; written only.</summary>
/// <remarks>
/// Source: Khronos Group, "glTF 2.0 Specification", version 2.0.1 (ISO/IEC 12113:2022), from memory; no extensions.
/// Positions are float32 in millimetres, LPS, exactly as in the other files; the root node scales by 0.001 into the metres of the
///   format and turns by −90° about x, so that up is +y and the face looks along +z, as the specification asks.
/// Colours by origin (or the solid's own) are vertex colours; a vertex where two origins meet is written once for each, so that a
///   colour ends at the edge. Triangles keep their order. They are linear, 16 bits a channel, as the format wants them.
/// Memory: the file, and 4 bytes a vertex and origin. Same bytes always: one thread.
/// </remarks>
public static class GltfFormat
{
    private const string Step = "write glTF";
    private const int HeaderBytes = 12;
    private const int ChunkHeaderBytes = 8;
    private const int PositionBytes = 12;
    private const int ColourBytes = 8;
    private const int PieceElements = 1 << 14;
    private const double MetresPerMm = 0.001;

    /// <summary>Writes a new file; on failure or cancel no file stays.</summary>
    /// <param name="label">What the file is; stands in the extras of its asset.</param>
    /// <exception cref="BadInputException">The place cannot be written to, or has no room.</exception>
    /// <exception cref="CheckFailedException">There is nothing to write, or the file would take 2 GiB or more.</exception>
    public static void Write(IReadOnlyList<ThreeMfSolid> solids, string path, string label, RunContext run) =>
        OutputFile.Write(path, 0, handle =>
        {
            using var stream = new FileStream(handle, FileAccess.Write, 1 << 16);
            Write(solids, stream, label, run);
        });

    /// <summary>As the other, to a stream, which need not be seekable and is left open.</summary>
    public static void Write(IReadOnlyList<ThreeMfSolid> solids, Stream stream, string label, RunContext run)
    {
        run.Report(Step, "vertices", 0);
        var split = solids.Select(s => SplitSolid.Of(s, run)).ToArray();
        if (split.Length == 0 || split.Any(s => s.Solid.Mesh.TriangleCount == 0))
            throw new CheckFailedException(Step, "triangles", "a model without any");
        var bufferBytes = split.Sum(s => s.Bytes);
        var json = Json(split, bufferBytes, label);
        var whole = HeaderBytes + (2 * ChunkHeaderBytes) + json.Length + bufferBytes;
        if (whole > int.MaxValue)
            throw new CheckFailedException(Step, "a file below 2 GiB", FormattableString.Invariant($"{whole} bytes; simplify the model first"));
        Numbers(stream, 0x46546C67, 2, (uint)whole, (uint)json.Length, 0x4E4F534A);
        stream.Write(json);
        Numbers(stream, (uint)bufferBytes, 0x004E4942);
        for (var s = 0; s < split.Length; s++)
        {
            run.Report(Step, "writing", (double)s / split.Length);
            split[s].WriteTo(stream, run);
        }

        run.Report(Step, "writing", 1);
    }

    /// <summary>Which vertex of the mesh each vertex of the file is: for numbers of vertices that go beside the file.</summary>
    public static IReadOnlyList<int> VerticesOf(ThreeMfSolid solid, RunContext run) => SplitSolid.Of(solid, run).Vertices;

    private static void Numbers(Stream stream, params ReadOnlySpan<uint> values)
    {
        Span<byte> bytes = stackalloc byte[4];
        foreach (var value in values)
        {
            BinaryPrimitives.WriteUInt32LittleEndian(bytes, value);
            stream.Write(bytes);
        }
    }

    private static byte[] Json(SplitSolid[] solids, long bufferBytes, string label)
    {
        using var memory = new MemoryStream();
        using (var json = new Utf8JsonWriter(memory))
        {
            json.WriteStartObject();
            json.WriteStartObject("asset");
            json.WriteString("version", "2.0");
            json.WriteString("generator", "AnatomyPrep");
            json.WriteStartObject("extras");
            json.WriteString("label", label);
            json.WriteString("positions", "millimetres, LPS; the root node makes them metres with y up");
            json.WriteEndObject();
            json.WriteEndObject();
            json.WriteNumber("scene", 0);
            Objects(json, "scenes", 1, _ => Whole(json, "nodes", 0));
            Nodes(json, solids);
            Meshes(json, solids);
            Materials(json);
            Accessors(json, solids);
            Views(json, solids);
            Objects(json, "buffers", 1, _ => json.WriteNumber("byteLength", bufferBytes));
            json.WriteEndObject();
        }

        // Chunks end on a multiple of four; the text is padded with blanks.
        while (memory.Length % 4 != 0)
            memory.WriteByte((byte)' ');
        return memory.ToArray();
    }

    private static void Nodes(Utf8JsonWriter json, SplitSolid[] solids) => Objects(json, "nodes", solids.Length + 1, n =>
    {
        if (n > 0)
        {
            json.WriteString("name", solids[n - 1].Solid.Name);
            json.WriteNumber("mesh", n - 1);
            return;
        }

        json.WriteString("name", "LPS millimetres");
        Whole(json, "children", [.. Enumerable.Range(1, solids.Length)]);
        Values(json, "rotation", -Math.Sqrt(0.5), 0, 0, Math.Sqrt(0.5));
        Values(json, "scale", MetresPerMm, MetresPerMm, MetresPerMm);
    });

    private static void Meshes(Utf8JsonWriter json, SplitSolid[] solids) => Objects(json, "meshes", solids.Length, s =>
    {
        json.WriteString("name", solids[s].Solid.Name);
        Objects(json, "primitives", 1, _ =>
        {
            json.WriteStartObject("attributes");
            json.WriteNumber("POSITION", 3 * s);
            json.WriteNumber("COLOR_0", (3 * s) + 1);
            json.WriteEndObject();
            json.WriteNumber("indices", (3 * s) + 2);
            json.WriteNumber("material", solids[s].Solid.IsSolid ? 0 : 1);
            json.WriteNumber("mode", 4);
        });
    });

    // The second one is for open sheets, whose back can be seen.
    private static void Materials(Utf8JsonWriter json) => Objects(json, "materials", 2, m =>
    {
        json.WriteString("name", m == 0 ? "solid" : "sheet");
        json.WriteStartObject("pbrMetallicRoughness");
        json.WriteNumber("metallicFactor", 0);
        json.WriteNumber("roughnessFactor", 0.8);
        json.WriteEndObject();
        json.WriteBoolean("doubleSided", m == 1);
    });

    private static void Accessors(Utf8JsonWriter json, SplitSolid[] solids) => Objects(json, "accessors", 3 * solids.Length, a =>
    {
        var solid = solids[a / 3];
        json.WriteNumber("bufferView", a);
        // 5126 float, 5123 unsigned short, 5125 unsigned int.
        json.WriteNumber("componentType", (a % 3) switch { 0 => 5126, 1 => 5123, _ => 5125 });
        json.WriteNumber("count", a % 3 == 2 ? 3 * solid.Solid.Mesh.TriangleCount : solid.VertexCount);
        json.WriteString("type", (a % 3) switch { 0 => "VEC3", 1 => "VEC4", _ => "SCALAR" });
        if (a % 3 == 1)
            json.WriteBoolean("normalized", true);
        if (a % 3 != 0)
            return;
        Bounds(json, "min", solid.Low);
        Bounds(json, "max", solid.High);
    });

    private static void Views(Utf8JsonWriter json, SplitSolid[] solids)
    {
        var lengths = solids.SelectMany(s => (long[])[(long)s.VertexCount * PositionBytes, (long)s.VertexCount * ColourBytes, 12L * s.Solid.Mesh.TriangleCount]).ToArray();
        long offset = 0;
        Objects(json, "bufferViews", lengths.Length, v =>
        {
            json.WriteNumber("buffer", 0);
            json.WriteNumber("byteOffset", offset);
            json.WriteNumber("byteLength", lengths[v]);
            // 34962 vertices, 34963 indices.
            json.WriteNumber("target", v % 3 == 2 ? 34963 : 34962);
            offset += lengths[v];
        });
    }

    private static void Objects(Utf8JsonWriter json, string name, int count, Action<int> content)
    {
        json.WriteStartArray(name);
        for (var i = 0; i < count; i++)
        {
            json.WriteStartObject();
            content(i);
            json.WriteEndObject();
        }

        json.WriteEndArray();
    }

    private static void Values(Utf8JsonWriter json, string name, params ReadOnlySpan<double> values)
    {
        json.WriteStartArray(name);
        foreach (var value in values)
            json.WriteNumberValue(value);
        json.WriteEndArray();
    }

    private static void Whole(Utf8JsonWriter json, string name, params ReadOnlySpan<int> values)
    {
        json.WriteStartArray(name);
        foreach (var value in values)
            json.WriteNumberValue(value);
        json.WriteEndArray();
    }

    // As float32, the shortest text that reads back as the same: the specification wants the very bounds of the data.
    private static void Bounds(Utf8JsonWriter json, string name, Vec3 corner)
    {
        json.WriteStartArray(name);
        for (var axis = 0; axis < 3; axis++)
            json.WriteNumberValue((float)corner[axis]);
        json.WriteEndArray();
    }

    /// <summary>A solid with its vertices written once for each origin that meets there.</summary>
    private sealed class SplitSolid(ThreeMfSolid solid, int[] corners, List<int> vertices, List<Origin> origins)
    {
        internal ThreeMfSolid Solid => solid;

        internal IReadOnlyList<int> Vertices => vertices;

        internal int VertexCount => vertices.Count;

        internal long Bytes => ((long)VertexCount * (PositionBytes + ColourBytes)) + (4L * corners.Length);

        internal Vec3 Low { get; private set; }

        internal Vec3 High { get; private set; }

        internal static SplitSolid Of(ThreeMfSolid solid, RunContext run)
        {
            var mesh = solid.Mesh.Rebased(Vec3.Zero);
            var slots = new int[OriginPalette.Count][];
            var corners = new int[mesh.Triangles.Length];
            List<int> vertices = [];
            List<Origin> origins = [];
            var (low, high) = (new Vec3(double.PositiveInfinity, double.PositiveInfinity, double.PositiveInfinity), new Vec3(double.NegativeInfinity, double.NegativeInfinity, double.NegativeInfinity));
            for (var t = 0; t < mesh.TriangleCount; t++)
            {
                if (t % PieceElements == 0)
                    run.ThrowIfCancelled();
                // A solid of one colour has no borders to split at.
                var origin = solid.Colour is null ? mesh.Origins[t] : Origin.Measured;
                // Zero is free, else the number in the file plus one.
                var slot = slots[(int)origin] ??= new int[mesh.VertexCount];
                for (var h = 3 * t; h < (3 * t) + 3; h++)
                {
                    var v = mesh.Triangles[h];
                    if (slot[v] == 0)
                    {
                        vertices.Add(v);
                        origins.Add(origin);
                        slot[v] = vertices.Count;
                        (low, high) = (Vec3.Min(low, mesh.Local(v)), Vec3.Max(high, mesh.Local(v)));
                    }

                    corners[h] = slot[v] - 1;
                }
            }

            return new(solid with { Mesh = mesh }, corners, vertices, origins) { Low = low, High = high };
        }

        internal void WriteTo(Stream stream, RunContext run)
        {
            Span<byte> bytes = stackalloc byte[PositionBytes];
            foreach (var v in vertices)
            {
                var p = solid.Mesh.Positions.Slice(3 * v, 3);
                for (var axis = 0; axis < 3; axis++)
                    BinaryPrimitives.WriteSingleLittleEndian(bytes[(4 * axis)..], p[axis]);
                stream.Write(bytes);
            }

            run.ThrowIfCancelled();
            var colours = Enum.GetValues<Origin>().Select(o => Colour(solid.Colour ?? OriginPalette.Color(o))).ToArray();
            foreach (var origin in origins)
                stream.Write(colours[(int)origin]);
            run.ThrowIfCancelled();
            foreach (var corner in corners)
            {
                BinaryPrimitives.WriteInt32LittleEndian(bytes, corner);
                stream.Write(bytes[..4]);
            }
        }

        private static byte[] Colour(Rgb colour)
        {
            var bytes = new byte[ColourBytes];
            BinaryPrimitives.WriteUInt16LittleEndian(bytes, Linear(colour.Red));
            BinaryPrimitives.WriteUInt16LittleEndian(bytes.AsSpan(2), Linear(colour.Green));
            BinaryPrimitives.WriteUInt16LittleEndian(bytes.AsSpan(4), Linear(colour.Blue));
            BinaryPrimitives.WriteUInt16LittleEndian(bytes.AsSpan(6), ushort.MaxValue);
            return bytes;
        }

        // IEC 61966-2-1, the curve of sRGB.
        private static ushort Linear(byte value)
        {
            var c = value / 255.0;
            return (ushort)Math.Round(65535 * (c <= 0.04045 ? c / 12.92 : Math.Pow((c + 0.055) / 1.055, 2.4)));
        }
    }
}
