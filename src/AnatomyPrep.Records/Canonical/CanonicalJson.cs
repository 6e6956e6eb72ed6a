using System.Buffers;
using System.Globalization;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;

namespace AnatomyPrep.Records.Canonical;

/// <summary>One byte sequence for one JSON value, and a reader that refuses whatever could be read two ways.</summary>
/// <remarks>
/// Method: RFC 8785 (JSON Canonicalization Scheme). Names sorted by UTF-16 code unit, numbers as ECMAScript writes them,
///   only the escapes JSON needs, UTF-8 without normalisation, no white space, no final line end.
/// Reading is stricter than RFC 8259, after RFC 7493 (I-JSON): refused are duplicate names, lone surrogates, invalid UTF-8,
///   numbers that IEEE double cannot hold (too large, or so small that they would become zero), comments, trailing commas,
///   bytes after the value, and nesting deeper than the limit.
/// Writing refuses an integer that would lose digits as a double: such a number is to be written as text.
/// Cost: O(n log n) in the number of names of an object. Memory: the nodes plus the output.
/// </remarks>
public static class CanonicalJson
{
    public const int DefaultMaxDepth = 64;

    private const string HexDigits = "0123456789abcdef";

    /// <summary>Throws on a lone surrogate instead of writing a replacement character for it.</summary>
    private static readonly UTF8Encoding s_strictUtf8 = new(encoderShouldEmitUTF8Identifier: false, throwOnInvalidBytes: true);

    /// <summary>The canonical bytes of a value; null stands for the JSON null.</summary>
    /// <exception cref="ArgumentException">A lone surrogate, a number without exact text, or a value that is no JSON type.</exception>
    public static byte[] Write(JsonNode? node)
    {
        var output = new ArrayBufferWriter<byte>();
        WriteNode(output, node);
        return output.WrittenSpan.ToArray();
    }

    /// <summary>The canonical form of JSON text, read strictly.</summary>
    /// <exception cref="StrictJsonException">The text is refused.</exception>
    public static byte[] Canonicalize(ReadOnlySpan<byte> utf8, int maxDepth = DefaultMaxDepth) => Write(Parse(utf8, maxDepth));

    /// <summary>True when the bytes are JSON in exactly the canonical form.</summary>
    public static bool IsCanonical(ReadOnlySpan<byte> utf8, int maxDepth = DefaultMaxDepth) => CanonicalCheck.IsCanonical(utf8, maxDepth);

    /// <summary>Reads exactly one JSON value. Numbers come as double. Safe on untrusted input.</summary>
    /// <exception cref="StrictJsonException">The text is refused; says why and where.</exception>
    public static JsonNode? Parse(ReadOnlySpan<byte> utf8, int maxDepth = DefaultMaxDepth)
    {
        var reader = new Utf8JsonReader(utf8, new JsonReaderOptions
        {
            MaxDepth = maxDepth,
            CommentHandling = JsonCommentHandling.Disallow,
            AllowTrailingCommas = false,
        });
        try
        {
            reader.Read();
            var node = ReadNode(ref reader);
            // Anything but white space after the value makes this throw.
            reader.Read();
            return node;
        }
        catch (JsonException e)
        {
            throw new StrictJsonException("not well-formed JSON", reader.BytesConsumed, e);
        }
        catch (InvalidOperationException e)
        {
            throw new StrictJsonException("text that is not valid Unicode", reader.TokenStartIndex, e);
        }
    }

    private static JsonNode? ReadNode(ref Utf8JsonReader reader) => reader.TokenType switch
    {
        JsonTokenType.StartObject => ReadObject(ref reader),
        JsonTokenType.StartArray => ReadArray(ref reader),
        JsonTokenType.String => JsonValue.Create(reader.GetString()),
        JsonTokenType.Number => JsonValue.Create(ReadNumber(ref reader)),
        JsonTokenType.True => JsonValue.Create(true),
        JsonTokenType.False => JsonValue.Create(false),
        _ => null,
    };

    private static JsonObject ReadObject(ref Utf8JsonReader reader)
    {
        var result = new JsonObject();
        while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
        {
            var at = reader.TokenStartIndex;
            var name = reader.GetString()!;
            reader.Read();
            if (!result.TryAdd(name, ReadNode(ref reader)))
                throw new StrictJsonException("a name that occurs twice", at);
        }

        return result;
    }

    private static JsonArray ReadArray(ref Utf8JsonReader reader)
    {
        var result = new JsonArray();
        while (reader.Read() && reader.TokenType != JsonTokenType.EndArray)
            result.Add(ReadNode(ref reader));
        return result;
    }

    private static double ReadNumber(ref Utf8JsonReader reader)
    {
        var text = reader.ValueSpan;
        var value = double.Parse(text, NumberStyles.Float, CultureInfo.InvariantCulture);
        if (!double.IsFinite(value) || (value == 0 && HasNonZeroDigit(text)))
            throw new StrictJsonException("a number outside the range of IEEE double", reader.TokenStartIndex);
        return value;
    }

    private static bool HasNonZeroDigit(ReadOnlySpan<byte> number)
    {
        var exponent = number.IndexOfAny((byte)'e', (byte)'E');
        return (exponent < 0 ? number : number[..exponent]).IndexOfAnyInRange((byte)'1', (byte)'9') >= 0;
    }

    private static void WriteNode(ArrayBufferWriter<byte> output, JsonNode? node)
    {
        switch (node)
        {
            case null:
                output.Write("null"u8);
                break;
            case JsonObject fields:
                WriteObject(output, fields);
                break;
            case JsonArray items:
                WriteArray(output, items);
                break;
            case JsonValue value:
                WriteValue(output, value);
                break;
        }
    }

    private static void WriteObject(ArrayBufferWriter<byte> output, JsonObject fields)
    {
        var sorted = fields.ToArray();
        Array.Sort(sorted, static (a, b) => string.CompareOrdinal(a.Key, b.Key));
        output.Write("{"u8);
        for (var i = 0; i < sorted.Length; i++)
        {
            if (i > 0)
                output.Write(","u8);
            WriteString(output, sorted[i].Key);
            output.Write(":"u8);
            WriteNode(output, sorted[i].Value);
        }

        output.Write("}"u8);
    }

    private static void WriteArray(ArrayBufferWriter<byte> output, JsonArray items)
    {
        output.Write("["u8);
        for (var i = 0; i < items.Count; i++)
        {
            if (i > 0)
                output.Write(","u8);
            WriteNode(output, items[i]);
        }

        output.Write("]"u8);
    }

    private static void WriteValue(ArrayBufferWriter<byte> output, JsonValue value)
    {
        switch (value.GetValueKind())
        {
            case JsonValueKind.True:
                output.Write("true"u8);
                break;
            case JsonValueKind.False:
                output.Write("false"u8);
                break;
            case JsonValueKind.Number:
                output.Write(s_strictUtf8.GetBytes(NumberText(value)));
                break;
            case JsonValueKind.String when value.TryGetValue<string>(out var text):
                WriteString(output, text);
                break;
            default:
                throw new ArgumentException($"A value of type {value.GetValueKind()} without plain text cannot be written.", nameof(value));
        }
    }

    /// <summary>Goes by way of the JSON text, so that it does not matter in which .NET type the node holds its number.</summary>
    private static string NumberText(JsonValue value)
    {
        var text = value.ToJsonString();
        var number = double.Parse(text, NumberStyles.Float, CultureInfo.InvariantCulture);
        var canonical = EcmaNumber.Text(number);
        var isInteger = text.AsSpan().IndexOfAny('.', 'e', 'E') < 0;
        if (isInteger && number != 0 && canonical != text)
            throw new ArgumentException($"The integer {text} would lose digits as a JSON number: write it as text.", nameof(value));
        return canonical;
    }

    private static void WriteString(ArrayBufferWriter<byte> output, string text)
    {
        output.Write("\""u8);
        var rest = text.AsSpan();
        while (true)
        {
            var plain = LengthWithoutEscapes(rest);
            WriteUtf8(output, rest[..plain]);
            if (plain == rest.Length)
                break;
            WriteEscape(output, rest[plain]);
            rest = rest[(plain + 1)..];
        }

        output.Write("\""u8);
    }

    private static int LengthWithoutEscapes(ReadOnlySpan<char> text)
    {
        for (var i = 0; i < text.Length; i++)
            if (text[i] is < ' ' or '"' or '\\')
                return i;
        return text.Length;
    }

    private static void WriteUtf8(ArrayBufferWriter<byte> output, ReadOnlySpan<char> text)
    {
        var space = output.GetSpan(s_strictUtf8.GetMaxByteCount(text.Length));
        output.Advance(s_strictUtf8.GetBytes(text, space));
    }

    private static void WriteEscape(ArrayBufferWriter<byte> output, char c)
    {
        switch (c)
        {
            case '"': output.Write("\\\""u8); break;
            case '\\': output.Write("\\\\"u8); break;
            case '\b': output.Write("\\b"u8); break;
            case '\t': output.Write("\\t"u8); break;
            case '\n': output.Write("\\n"u8); break;
            case '\f': output.Write("\\f"u8); break;
            case '\r': output.Write("\\r"u8); break;
            default:
                output.Write("\\u00"u8);
                output.Write([(byte)HexDigits[c >> 4], (byte)HexDigits[c & 15]]);
                break;
        }
    }
}
