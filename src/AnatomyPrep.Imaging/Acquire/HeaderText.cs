using System.Buffers.Binary;
using System.Globalization;
using System.Text;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Values of attributes, parsed strictly: what does not follow DICOM PS3.5 section 6.2 gives null, never a guess.</summary>
internal static class HeaderText
{
    /// <summary>UI: digits and points, at most 64.</summary>
    public static string? Uid(byte[]? value)
    {
        var text = Text(value);
        return text is { Length: > 0 and <= 64 } && text.All(c => c is >= '0' and <= '9' or '.') ? text : null;
    }

    /// <summary>AE: at most 16 characters; here only those that no title in use goes beyond.</summary>
    public static string? Title(byte[]? value)
    {
        var text = Text(value);
        return text is { Length: > 0 and <= 16 } && text.All(c => char.IsAsciiLetterOrDigit(c) || c is '_' or '-' or '.' or ' ') ? text : null;
    }

    /// <summary>DS: decimal numbers separated by backslashes, finite and below a million; null when any is not.</summary>
    public static double[]? Decimals(byte[]? value)
    {
        var text = Text(value);
        if (string.IsNullOrEmpty(text))
            return null;
        var parts = text.Split('\\');
        var numbers = new double[parts.Length];
        for (var i = 0; i < parts.Length; i++)
        {
            const NumberStyles ds = NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint | NumberStyles.AllowExponent
                | NumberStyles.AllowLeadingWhite | NumberStyles.AllowTrailingWhite;
            if (!double.TryParse(parts[i], ds, CultureInfo.InvariantCulture, out numbers[i]) || !(Math.Abs(numbers[i]) < 1e6))
                return null;
        }

        return numbers;
    }

    public static double? Decimal(byte[]? value) => Decimals(value) is [var one, ..] ? one : null;

    /// <summary>IS: one whole number.</summary>
    public static int? Integer(byte[]? value) =>
        int.TryParse(Text(value), NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out var number) ? number : null;

    /// <summary>US: 16 bits in the byte order of the data set.</summary>
    public static int? Unsigned(byte[]? value, bool bigEndian) => value is not { Length: 2 }
        ? null
        : bigEndian ? BinaryPrimitives.ReadUInt16BigEndian(value) : BinaryPrimitives.ReadUInt16LittleEndian(value);

    /// <summary>CS: capital letters, digits, space and underscore; several are separated by backslashes.</summary>
    public static string[] Codes(byte[]? value)
    {
        var text = Text(value);
        return string.IsNullOrEmpty(text) || text.Length > 256 ? [] : [.. text.Split('\\').Select(c => c.Trim()).Where(IsCode)];
    }

    public static string? Code(byte[]? value) => Codes(value) is [var one, ..] ? one : null;

    /// <summary>A short technical label (a kernel name); anything that could be a sentence or a name is left out.</summary>
    public static string? Label(byte[]? value)
    {
        var text = Text(value);
        return text is { Length: > 0 and <= 32 } && text.All(c => char.IsAsciiLetterOrDigit(c) || c is '+' or '-' or '_' or '.' or '/' or ' ' or '\\') ? text : null;
    }

    public static bool IsFilled(byte[]? value) => !string.IsNullOrEmpty(Text(value));

    /// <summary>A file ID of a DICOMDIR (PS3.10 section 8.2) as "FOLDER/FILE"; null for one that could lead anywhere else.</summary>
    public static string? FileId(byte[] value)
    {
        var parts = Text(value)!.Split('\\', StringSplitOptions.TrimEntries);
        return parts.Length <= 16 && parts.All(IsFileName) ? string.Join('/', parts) : null;
    }

    private static bool IsFileName(string part) =>
        part is { Length: > 0 and <= 64 } and not ("." or "..") && part.All(c => char.IsAsciiLetterOrDigit(c) || c is '_' or '-' or '.');

    /// <summary>Text for people, in the character set the file names, without anything a terminal would obey.</summary>
    public static string Person(byte[] value, byte[]? characterSet)
    {
        // UTF-8, else Latin-1, which shows the ASCII letters of every other set rightly.
        var encoding = Code(characterSet) == "ISO_IR 192" ? Encoding.UTF8 : Encoding.Latin1;
        var text = encoding.GetString(value.AsSpan(0, Math.Min(value.Length, 256))).Trim(' ', '\0');
        return string.Create(text.Length, text, (to, from) =>
        {
            for (var i = 0; i < to.Length; i++)
                to[i] = char.IsControl(from[i]) || char.GetUnicodeCategory(from[i]) == UnicodeCategory.Format ? '?' : from[i];
        });
    }

    private static bool IsCode(string c) => c is { Length: > 0 and <= 16 } && c.All(x => char.IsAsciiLetterUpper(x) || char.IsAsciiDigit(x) || x is ' ' or '_');

    /// <summary>Bytes as ASCII without the padding of either kind; null when absent.</summary>
    private static string? Text(byte[]? value) => value is null ? null : Encoding.ASCII.GetString(value).Trim(' ', '\0');
}
