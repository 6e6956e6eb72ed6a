namespace AnatomyPrep.Records.Envelopes;

/// <summary>Base64 that is read one way only.</summary>
/// <remarks>
/// RFC 4648, sections 4 and 5: the standard alphabet with padding, or the URL-safe one with or without. Refused are mixed
/// alphabets, white space, missing or surplus padding, and unused bits that are not zero (section 3.5), so that two texts
/// of one alphabet never stand for the same bytes.
/// </remarks>
internal static class StrictBase64
{
    /// <summary>The bytes, or null when the text is not strict base64.</summary>
    internal static byte[]? Decode(string text)
    {
        var standard = Standardize(text);
        if (standard is null)
            return null;
        var bytes = new byte[standard.Length / 4 * 3];
        return Convert.TryFromBase64String(standard, bytes, out var length) && Convert.ToBase64String(bytes, 0, length) == standard
            ? bytes[..length]
            : null;
    }

    private static string? Standardize(string text)
    {
        if (text.AsSpan().IndexOfAny('-', '_') < 0)
            return text;
        if (text.AsSpan().IndexOfAny('+', '/') >= 0)
            return null;
        var standard = text.Replace('-', '+').Replace('_', '/');
        return standard.Contains('=', StringComparison.Ordinal) ? standard : standard.PadRight((standard.Length + 3) / 4 * 4, '=');
    }
}
