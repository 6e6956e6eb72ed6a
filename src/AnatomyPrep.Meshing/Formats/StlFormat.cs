using System.Buffers;
using System.Buffers.Binary;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>STL: binary and text are read, binary is written.</summary>
/// <remarks>
/// Format: 80 bytes of header, uint32 count, then 50 bytes a triangle: normal and three corners as float32, little endian,
///   and a uint16 that is 0. Or text: solid, facet normal, outer loop, vertex, endloop, endfacet, endsolid. Neither has a
///   unit or numbered vertices. Which of the two a file is, its size says: many binary headers begin with "solid".
/// Reading: stored normals are compared with the corners' order and otherwise not used; corners at equal positions become
///   one vertex, numbered by first appearance. Memory for binary: about the file's size for a connected surface, three
///   times that where no two corners meet; for text 220 bytes a triangle at most, which takes 100 bytes of text or more.
/// Writing: same bytes on any number of threads. Memory: see <see cref="RecordBlocks"/>.
/// </remarks>
public static class StlFormat
{
    private const int HeaderBytes = 80;
    private const int PreambleBytes = 84;
    private const int RecordBytes = 50;
    private const int LargestCount = 238_000_000;

    // Where no two corners meet: 12 of indices, and for each of three vertices 36 while equal ones are looked for, and 8.
    private const int LargestBytesPerTriangle = 144;
    private const string Step = "write STL";

    /// <summary>Bytes of a binary file of that many triangles.</summary>
    public static long SizeBytes(int triangles) => PreambleBytes + ((long)RecordBytes * triangles);

    /// <summary>Writes a new binary file in patient millimetres; on failure or cancel no file stays.</summary>
    /// <param name="header">Free text, without personal data; cut to 80 bytes of UTF-8 at a character's border.</param>
    public static void Write(Mesh mesh, string path, string header, RunContext run)
    {
        run.Report(Step, "triangles", 0);
        OutputFile.Write(path, SizeBytes(mesh.TriangleCount), file =>
        {
            RandomAccess.Write(file, Preamble(mesh, header), 0);
            RecordBlocks.Write(file, PreambleBytes, mesh.TriangleCount, RecordBytes, (block, first) => FillRecords(mesh, block, first), run);
        });
        run.Report(Step, "triangles", 1);
    }

    /// <summary>As the other, to a stream, which is left open.</summary>
    public static void Write(Mesh mesh, Stream stream, string header, RunContext run)
    {
        run.Report(Step, "triangles", 0);
        stream.Write(Preamble(mesh, header));
        RecordBlocks.Write(stream, mesh.TriangleCount, RecordBytes, (block, first) => FillRecords(mesh, block, first), run);
        run.Report(Step, "triangles", 1);
    }

    /// <summary>True when the size is exactly what the count at byte 80 asks for.</summary>
    internal static bool IsBinaryBySize(ByteSource source) => source.Length >= PreambleBytes && source.Length == SizeFromCount(source);

    /// <summary>Reads text or binary; the caller has found that it is STL at all.</summary>
    internal static RawMesh Read(ByteSource source, bool weld, RunContext run)
    {
        if (!IsBinaryBySize(source) && LooksLikeText(source))
            return ReadText(source, weld, run);
        return ReadBinary(source, weld, run);
    }

    /// <summary>Begins with the word solid and goes on as text, with a facet or the end of the solid near.</summary>
    internal static bool LooksLikeText(ByteSource source)
    {
        Span<byte> head = stackalloc byte[1024];
        head = head[..source.Read(0, head)];
        if (head.StartsWith("\uFEFF"u8))
            head = head[3..];
        head = head.TrimStart(" \t\r\n"u8);
        return head.Length >= 5 && Ascii.EqualsIgnoreCase(head[..5], "solid"u8) && !head.Contains((byte)0)
            && (ContainsIgnoreCase(head, "facet"u8) || ContainsIgnoreCase(head, "endsolid"u8) || source.Length < PreambleBytes);
    }

    private static bool ContainsIgnoreCase(ReadOnlySpan<byte> text, ReadOnlySpan<byte> word)
    {
        for (var at = 0; at + word.Length <= text.Length; at++)
            if (Ascii.EqualsIgnoreCase(text.Slice(at, word.Length), word))
                return true;
        return false;
    }

    private static long SizeFromCount(ByteSource source)
    {
        Span<byte> count = stackalloc byte[4];
        source.ReadExactly(HeaderBytes, count);
        return PreambleBytes + (RecordBytes * (long)BinaryPrimitives.ReadUInt32LittleEndian(count));
    }

    private static RawMesh ReadBinary(ByteSource source, bool weld, RunContext run)
    {
        if (source.Length < PreambleBytes)
            throw source.Truncated(PreambleBytes);
        var needed = SizeFromCount(source);
        var count = (needed - PreambleBytes) / RecordBytes;
        if (needed > source.Length)
            throw source.Bad(
                "triangle count",
                FormattableString.Invariant($"{count}, which needs {needed} bytes of {source.Length}"),
                "The file is cut short or its count is wrong: get it again from where it came.");
        if (count == 0)
            throw RawMesh.NoTriangles(source);
        if (count > LargestCount)
            throw source.Bad("triangle count", FormattableString.Invariant($"{count}"), $"Split the model: at most {LargestCount} triangles can be held.");
        source.RequireMemory(run, LargestBytesPerTriangle * count);
        var findings = HeaderFindings(source, needed);
        var (positions, triangles) = ReadRecords(source, (int)count, weld, findings, run);
        return new("stl-binary", positions, triangles, findings) { WeldedVertices = triangles.Length - (positions.Length / 3) };
    }

    private static List<Finding> HeaderFindings(ByteSource source, long needed)
    {
        var findings = new List<Finding>();
        Span<byte> start = stackalloc byte[5];
        source.ReadExactly(0, start);
        if (Ascii.EqualsIgnoreCase(start, "solid"u8))
            findings.Add(new(
                FindingCodes.HeaderMisleading, Severity.Note, "The header begins with 'solid' as a text file would, but the size says binary.",
                "None needed here; other programs may refuse the file, so write it again."));
        if (needed < source.Length)
            findings.Add(RawMesh.ExtraBytes(source.Length - needed));
        return findings;
    }

    private static (float[] Positions, int[] Triangles) ReadRecords(
        ByteSource source, int count, bool weld, List<Finding> findings, RunContext run)
    {
        var pieces = Partition.Pieces(count, TriangleSoup.PieceTriangles);
        var soup = weld ? new TriangleSoup(count) : null;
        var loose = weld ? [] : GC.AllocateUninitializedArray<float>(9 * count);
        var firstBad = new int[pieces];
        var turned = new int[pieces];
        Partition.Ranges(run, count, TriangleSoup.PieceTriangles, (piece, from, to) =>
        {
            var records = ArrayPool<byte>.Shared.Rent((to - from) * RecordBytes);
            var scratch = ArrayPool<float>.Shared.Rent((to - from) * 9);
            try
            {
                var bytes = records.AsSpan(0, (to - from) * RecordBytes);
                source.ReadExactly(PreambleBytes + ((long)from * RecordBytes), bytes);
                var corners = weld ? scratch.AsSpan(0, (to - from) * 9) : loose.AsSpan(9 * from, (to - from) * 9);
                turned[piece] = Decode(bytes, corners);
                firstBad[piece] = NonFinite.First(corners);
                if (firstBad[piece] < 0)
                    soup?.AddPiece(piece, corners);
            }
            finally
            {
                ArrayPool<byte>.Shared.Return(records);
                ArrayPool<float>.Shared.Return(scratch);
            }
        });
        ThrowIfNotFinite(source, firstBad);
        AddTurned(turned.Sum(), count, findings);
        return soup is null ? (loose, RawMesh.Successive(3 * count)) : soup.Build(run);
    }

    private static void ThrowIfNotFinite(ByteSource source, int[] firstBad)
    {
        for (var piece = 0; piece < firstBad.Length; piece++)
        {
            if (firstBad[piece] < 0)
                continue;
            var triangle = (piece * TriangleSoup.PieceTriangles) + (firstBad[piece] / 9);
            var corner = firstBad[piece] % 9 / 3;
            throw RawMesh.NotFinite(source, FormattableString.Invariant($"triangle {triangle}, corner {corner}"));
        }
    }

    // A stored normal that looks away from the side the corners' order says is the outside: worth telling, once.
    private static void AddTurned(int turned, int count, List<Finding> findings)
    {
        if (turned > 0)
            findings.Add(new(
                FindingCodes.NormalsDisagree, Severity.Caution,
                FormattableString.Invariant($"{turned} of {count} stored normals point against the order of their triangle's corners; the order was believed."),
                "Look whether the surface is inside out or mirrored before going on."));
    }

    // Copies the corners of each record and counts normals that point against their order. Nine floats of 12 to 48.
    private static int Decode(ReadOnlySpan<byte> records, Span<float> corners)
    {
        if (!BitConverter.IsLittleEndian)
            throw new PlatformNotSupportedException("STL is read on little-endian machines only.");
        var turned = 0;
        ref var from = ref MemoryMarshal.GetReference(records);
        ref var to = ref MemoryMarshal.GetReference(corners);
        for (var t = 0; t < corners.Length / 9; t++)
        {
            ref var record = ref Unsafe.Add(ref from, t * RecordBytes);
            ref var corner = ref Unsafe.Add(ref to, t * 9);
            Unsafe.CopyBlockUnaligned(ref Unsafe.As<float, byte>(ref corner), ref Unsafe.Add(ref record, 12), 36);
            turned += PointsAgainst(ref record, ref corner) ? 1 : 0;
        }

        return turned;
    }

    private static bool PointsAgainst(ref byte record, ref float corner)
    {
        float ax = corner, ay = Unsafe.Add(ref corner, 1), az = Unsafe.Add(ref corner, 2);
        float ux = Unsafe.Add(ref corner, 3) - ax, uy = Unsafe.Add(ref corner, 4) - ay, uz = Unsafe.Add(ref corner, 5) - az;
        float vx = Unsafe.Add(ref corner, 6) - ax, vy = Unsafe.Add(ref corner, 7) - ay, vz = Unsafe.Add(ref corner, 8) - az;
        float x = (uy * vz) - (uz * vy), y = (uz * vx) - (ux * vz), z = (ux * vy) - (uy * vx);
        var nx = Unsafe.ReadUnaligned<float>(ref record);
        var ny = Unsafe.ReadUnaligned<float>(ref Unsafe.Add(ref record, 4));
        var nz = Unsafe.ReadUnaligned<float>(ref Unsafe.Add(ref record, 8));
        var along = (x * nx) + (y * ny) + (z * nz);
        // Slivers have no reliable direction in float32: half the length of both is asked for before they count.
        return along < 0 && along * along > 0.25f * ((x * x) + (y * y) + (z * z)) * ((nx * nx) + (ny * ny) + (nz * nz));
    }

    private static RawMesh ReadText(ByteSource source, bool weld, RunContext run)
    {
        source.RequireMemory(run, 2 * source.Length);
        var text = new TextScanner(source, run);
        var corners = new List<float>();
        var turned = 0;
        Span<double> normal = stackalloc double[3];
        while (true)
        {
            var word = text.Word();
            if (word.IsEmpty)
                break;
            if (Ascii.EqualsIgnoreCase(word, "solid"u8) || Ascii.EqualsIgnoreCase(word, "endsolid"u8))
            {
                text.NextLine();
                continue;
            }

            Require(text, word, "facet"u8);
            ReadFacet(text, normal, corners);
            turned += PointsAgainst(normal, CollectionsMarshal.AsSpan(corners)[^9..]) ? 1 : 0;
            if (corners.Count > 9 * LargestCount)
                throw text.Bad("facet", "too many", $"Split the model: at most {LargestCount} triangles can be held.");
        }

        if (corners.Count == 0)
            throw RawMesh.NoTriangles(source);
        var findings = new List<Finding>();
        AddTurned(turned, corners.Count / 9, findings);
        var (positions, triangles) = weld ? Join(corners, run) : ([.. corners], RawMesh.Successive(corners.Count / 3));
        return new("stl-text", positions, triangles, findings) { WeldedVertices = triangles.Length - (positions.Length / 3) };
    }

    private static (float[] Positions, int[] Triangles) Join(List<float> corners, RunContext run)
    {
        var soup = new TriangleSoup(corners.Count / 9);
        Partition.Ranges(run, corners.Count / 9, TriangleSoup.PieceTriangles, (piece, from, to) =>
            soup.AddPiece(piece, CollectionsMarshal.AsSpan(corners)[(9 * from)..(9 * to)]));
        return soup.Build(run);
    }

    private static void ReadFacet(TextScanner text, Span<double> normal, List<float> corners)
    {
        Require(text, text.Word(), "normal"u8);
        // Flat facets often have "nan" here; a normal is only ever compared, so any word will do.
        for (var axis = 0; axis < 3; axis++)
            if (!DecimalText.TryParse(text.Word(), out normal[axis]))
                normal[axis] = double.NaN;
        Require(text, text.Word(), "outer"u8);
        Require(text, text.Word(), "loop"u8);
        for (var corner = 0; corner < 3; corner++)
        {
            Require(text, text.Word(), "vertex"u8);
            for (var axis = 0; axis < 3; axis++)
            {
                var coordinate = (float)text.Number("vertex");
                if (!float.IsFinite(coordinate))
                    throw text.Bad("vertex", "a number beyond float32", "Repair the line or export the file again.");
                corners.Add(coordinate);
            }
        }

        Require(text, text.Word(), "endloop"u8);
        Require(text, text.Word(), "endfacet"u8);
    }

    private static void Require(TextScanner text, ReadOnlySpan<byte> word, ReadOnlySpan<byte> expected)
    {
        if (!Ascii.EqualsIgnoreCase(word, expected))
            throw text.NotA($"word '{Encoding.ASCII.GetString(expected)}'", "facet", word);
    }

    private static bool PointsAgainst(ReadOnlySpan<double> normal, ReadOnlySpan<float> corners)
    {
        var a = new Vec3(corners[0], corners[1], corners[2]);
        var n = new Vec3(normal[0], normal[1], normal[2]);
        var own = Vec3.Cross(new Vec3(corners[3], corners[4], corners[5]) - a, new Vec3(corners[6], corners[7], corners[8]) - a);
        var along = Vec3.Dot(own, n);
        return along < 0 && along * along > 0.25 * own.LengthSquared * n.LengthSquared;
    }

    private static byte[] Preamble(Mesh mesh, string header)
    {
        var bytes = new byte[PreambleBytes];
        HeaderText(header).CopyTo(bytes, 0);
        BinaryPrimitives.WriteUInt32LittleEndian(bytes.AsSpan(HeaderBytes), (uint)mesh.TriangleCount);
        return bytes;
    }

    // Readers that go by the first word would take "solid" for a text file, blanks before it or not.
    private static byte[] HeaderText(string header)
    {
        var shown = new StringBuilder();
        foreach (var rune in header.EnumerateRunes())
            shown.Append(Rune.IsControl(rune) ? new Rune(' ') : rune);
        var text = shown.ToString().TrimStart();
        if (text.StartsWith("solid", StringComparison.OrdinalIgnoreCase))
            text = "binary " + text;
        var bytes = new byte[HeaderBytes];
        // Converts whole characters only, and stops when the next one does not fit.
        Encoding.UTF8.GetEncoder().Convert(text, bytes, flush: true, out _, out var used, out _);
        return bytes[..used];
    }

    private static unsafe void FillRecords(Mesh mesh, Span<byte> block, int first)
    {
        if (!BitConverter.IsLittleEndian)
            throw new PlatformNotSupportedException("STL is written on little-endian machines only.");
        var count = block.Length / RecordBytes;
        // A record is written sixteen bytes at a time and then reaches two bytes into the next, so the last is written number by number.
        var wide = Avx2.IsSupported ? count - 1 : 0;
        if (wide > 0)
            fixed (byte* to = block)
            fixed (float* positions = mesh.PositionArray)
            fixed (int* triangles = mesh.TriangleArray)
                FillWide(positions, triangles + (3L * first), mesh.OriginMm, to, wide);
        FillOneByOne(mesh, block[(wide * RecordBytes)..], first + wide);
    }

    /// <summary>The same operations as <see cref="FillOneByOne"/>, on x, y and z at once.</summary>
    private static unsafe void FillWide(float* positions, int* corners, Vec3 originMm, byte* to, int count)
    {
        var shift = Vector256.Create(originMm.X, originMm.Y, originMm.Z, 0);
        for (var end = to + ((long)count * RecordBytes); to < end; to += RecordBytes, corners += 3)
        {
            Vector128<float> a = Moved(positions + (3L * corners[0]), shift), b = Moved(positions + (3L * corners[1]), shift), c = Moved(positions + (3L * corners[2]), shift);
            Vector256<double> start = Avx.ConvertToVector256Double(a), u = Avx.ConvertToVector256Double(b) - start, v = Avx.ConvertToVector256Double(c) - start;
            var normal = (Turned(u) * TurnedTwice(v)) - (TurnedTwice(u) * Turned(v));
            var squares = normal * normal;
            var length = Math.Sqrt(squares[0] + squares[1] + squares[2]);
            normal *= length > 0 ? 1 / length : 0;
            Avx.ConvertToVector128Single(normal).Store((float*)to);
            a.Store((float*)(to + 12));
            b.Store((float*)(to + 24));
            c.Store((float*)(to + 36));
            *(ushort*)(to + 48) = 0;
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe Vector128<float> Moved(float* position, Vector256<double> shift) =>
        Avx.ConvertToVector128Single(Avx.ConvertToVector256Double(Vector128.Create(position[0], position[1], position[2], 0)) + shift);

    // y, z, x and z, x, y.
    private static Vector256<double> Turned(Vector256<double> v) => Avx2.Permute4x64(v, 0b11_00_10_01);

    private static Vector256<double> TurnedTwice(Vector256<double> v) => Avx2.Permute4x64(v, 0b11_01_00_10);

    // Normal of unit length from the corners as they are written; 0, 0, 0 for a triangle without area.
    private static void FillOneByOne(Mesh mesh, Span<byte> block, int first)
    {
        ReadOnlySpan<float> positions = mesh.Positions;
        var triangles = mesh.Triangles[(3 * first)..];
        var shift = mesh.OriginMm;
        for (int at = 0, h = 0; at < block.Length; at += RecordBytes, h += 3)
        {
            var record = MemoryMarshal.Cast<byte, float>(block.Slice(at, 48));
            var a = positions.Slice(3 * triangles[h], 3);
            var b = positions.Slice(3 * triangles[h + 1], 3);
            var c = positions.Slice(3 * triangles[h + 2], 3);
            float ax = (float)(a[0] + shift.X), ay = (float)(a[1] + shift.Y), az = (float)(a[2] + shift.Z);
            float bx = (float)(b[0] + shift.X), by = (float)(b[1] + shift.Y), bz = (float)(b[2] + shift.Z);
            float cx = (float)(c[0] + shift.X), cy = (float)(c[1] + shift.Y), cz = (float)(c[2] + shift.Z);
            double ux = (double)bx - ax, uy = (double)by - ay, uz = (double)bz - az;
            double vx = (double)cx - ax, vy = (double)cy - ay, vz = (double)cz - az;
            double x = (uy * vz) - (uz * vy), y = (uz * vx) - (ux * vz), z = (ux * vy) - (uy * vx);
            var length = Math.Sqrt((x * x) + (y * y) + (z * z));
            var scale = length > 0 ? 1 / length : 0;
            record[11] = cz;
            record[0] = (float)(x * scale);
            record[1] = (float)(y * scale);
            record[2] = (float)(z * scale);
            record[3] = ax;
            record[4] = ay;
            record[5] = az;
            record[6] = bx;
            record[7] = by;
            record[8] = bz;
            record[9] = cx;
            record[10] = cy;
            block[at + 48] = 0;
            block[at + 49] = 0;
        }
    }
}
