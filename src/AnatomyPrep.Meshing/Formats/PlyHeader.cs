using System.Buffers.Binary;
using System.Text;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Meshing.Formats;

internal enum PlyEncoding
{
    Text,
    LittleEndian,
    BigEndian,
}

internal enum PlyScalar
{
    Int8,
    UInt8,
    Int16,
    UInt16,
    Int32,
    UInt32,
    Float32,
    Float64,
}

/// <param name="Count">Type of the count before the values of a list; null for a single value.</param>
internal sealed record PlyProperty(string Name, PlyScalar Type, PlyScalar? Count)
{
    internal bool IsList => Count is not null;
}

internal sealed record PlyElement(string Name, long Count, IReadOnlyList<PlyProperty> Properties)
{
    /// <summary>Bytes of a binary row whose lists are all empty.</summary>
    internal int LeastRowBytes => Properties.Sum(p => (p.Count ?? p.Type).Size());

    internal bool HasLists => Properties.Any(p => p.IsList);
}

/// <summary>The text part at the beginning of a PLY file.</summary>
/// <param name="DataStart">First byte after the header.</param>
/// <param name="Lines">Lines of the header.</param>
internal sealed record PlyHeader(
    PlyEncoding Encoding, IReadOnlyList<PlyElement> Elements, IReadOnlyList<string> Comments, long DataStart, int Lines)
{
    private const int LongestHeader = 1 << 20;

    internal static bool Begins(ReadOnlySpan<byte> head) => head.Length >= 4 && head.StartsWith("ply"u8) && head[3] is (byte)'\n' or (byte)'\r' or (byte)' ';

    /// <exception cref="BadInputException">The header is not PLY's, or does not end within 1 MiB.</exception>
    internal static PlyHeader Read(ByteSource source)
    {
        var bytes = new byte[Math.Min(source.Length, LongestHeader)];
        source.ReadExactly(0, bytes);
        var (lines, dataStart) = Split(source, bytes);
        PlyEncoding? encoding = null;
        var elements = new List<(string Name, long Count, List<PlyProperty> Properties)>();
        var comments = new List<string>();
        for (var i = 1; i < lines.Count; i++)
        {
            var words = lines[i].Split([' ', '\t'], StringSplitOptions.RemoveEmptyEntries);
            switch (words.Length == 0 ? "" : words[0])
            {
                case "format" when words.Length == 3 && words[2] == "1.0":
                    encoding = EncodingOf(words[1]) ?? throw Wrong(source, i, lines[i]);
                    break;
                case "element" when words.Length == 3 && DecimalText.TryParse(System.Text.Encoding.ASCII.GetBytes(words[2]), out long count) && count >= 0:
                    elements.Add((words[1], count, []));
                    break;
                case "property" when elements.Count > 0:
                    elements[^1].Properties.Add(PropertyOf(words) ?? throw Wrong(source, i, lines[i]));
                    break;
                case "comment":
                    comments.Add(lines[i].Trim()["comment".Length..].Trim());
                    break;
                case "" or "obj_info":
                    break;
                default:
                    throw Wrong(source, i, lines[i]);
            }
        }

        if (encoding is not { } known)
            throw source.Bad("header", "no format line", "The file is not in the PLY format, version 1.0.");
        return new(known, [.. elements.Select(e => new PlyElement(e.Name, e.Count, e.Properties))], comments, dataStart, lines.Count + 1);
    }

    // Lines before end_header. How the first line ends tells how all do; otherwise CR and a first data byte of LF would be one.
    private static (List<string> Lines, int DataStart) Split(ByteSource source, ReadOnlySpan<byte> bytes)
    {
        var lineEnd = bytes.IndexOf("\r\n"u8) is > 0 and <= 16 ? "\r\n"u8 : bytes.IndexOf((byte)'\n') is > 0 and <= 16 ? "\n"u8 : "\r"u8;
        var lines = new List<string>();
        var start = 0;
        while (true)
        {
            var length = bytes[start..].IndexOf(lineEnd);
            if (length < 0)
                throw source.Bad("header", "no end_header line", "The file is cut short or not in the PLY format.");
            var line = System.Text.Encoding.Latin1.GetString(bytes.Slice(start, length));
            start += length + lineEnd.Length;
            if (line.Trim() == "end_header")
                return (lines, start);
            lines.Add(line);
        }
    }

    private static BadInputException Wrong(ByteSource source, int line, string text) => source.Bad(
        FormattableString.Invariant($"line {line + 1}, header"),
        $"'{TextScanner.Shown(System.Text.Encoding.Latin1.GetBytes(text.Trim()))}'",
        "The file is damaged or not in the PLY format, version 1.0.");

    private static PlyEncoding? EncodingOf(string word) => word switch
    {
        "ascii" => PlyEncoding.Text,
        "binary_little_endian" => PlyEncoding.LittleEndian,
        "binary_big_endian" => PlyEncoding.BigEndian,
        _ => null,
    };

    private static PlyProperty? PropertyOf(string[] words)
    {
        if (words.Length == 3 && ScalarOf(words[1]) is { } type)
            return new(words[2], type, null);
        if (words.Length == 5 && words[1] == "list" && ScalarOf(words[2]) is { } count && ScalarOf(words[3]) is { } item)
            return new(words[4], item, count);
        return null;
    }

    private static PlyScalar? ScalarOf(string word) => word switch
    {
        "char" or "int8" => PlyScalar.Int8,
        "uchar" or "uint8" => PlyScalar.UInt8,
        "short" or "int16" => PlyScalar.Int16,
        "ushort" or "uint16" => PlyScalar.UInt16,
        "int" or "int32" => PlyScalar.Int32,
        "uint" or "uint32" => PlyScalar.UInt32,
        "float" or "float32" => PlyScalar.Float32,
        "double" or "float64" => PlyScalar.Float64,
        _ => null,
    };
}

internal static class PlyScalars
{
    internal static int Size(this PlyScalar type) => type switch
    {
        PlyScalar.Int8 or PlyScalar.UInt8 => 1,
        PlyScalar.Int16 or PlyScalar.UInt16 => 2,
        PlyScalar.Float64 => 8,
        _ => 4,
    };

    /// <summary>True when float32 holds every value of the type.</summary>
    internal static bool FitsSingle(this PlyScalar type) => type is not (PlyScalar.Int32 or PlyScalar.UInt32 or PlyScalar.Float64);

    /// <summary>The value at the beginning of <paramref name="bytes"/>; double holds every value of every type.</summary>
    internal static double Decode(this PlyScalar type, ReadOnlySpan<byte> bytes, bool bigEndian) => type switch
    {
        PlyScalar.Int8 => (sbyte)bytes[0],
        PlyScalar.UInt8 => bytes[0],
        PlyScalar.Int16 => bigEndian ? BinaryPrimitives.ReadInt16BigEndian(bytes) : BinaryPrimitives.ReadInt16LittleEndian(bytes),
        PlyScalar.UInt16 => bigEndian ? BinaryPrimitives.ReadUInt16BigEndian(bytes) : BinaryPrimitives.ReadUInt16LittleEndian(bytes),
        PlyScalar.Int32 => bigEndian ? BinaryPrimitives.ReadInt32BigEndian(bytes) : BinaryPrimitives.ReadInt32LittleEndian(bytes),
        PlyScalar.UInt32 => bigEndian ? BinaryPrimitives.ReadUInt32BigEndian(bytes) : BinaryPrimitives.ReadUInt32LittleEndian(bytes),
        PlyScalar.Float32 => bigEndian ? BinaryPrimitives.ReadSingleBigEndian(bytes) : BinaryPrimitives.ReadSingleLittleEndian(bytes),
        _ => bigEndian ? BinaryPrimitives.ReadDoubleBigEndian(bytes) : BinaryPrimitives.ReadDoubleLittleEndian(bytes),
    };
}
