using System.Globalization;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Decimal numbers in ASCII text to double, correctly rounded; always with a point, whatever the culture.</summary>
/// <remarks>
/// Method: W. D. Clinger, "How to Read Floating Point Numbers Accurately", PLDI 1990: where the digits fit 53 bits and the
///   power of ten is at most 22, both are exact in double and one multiplication or division rounds once. Anything longer
///   goes to the library's parser, which is correctly rounded too.
/// </remarks>
internal static class DecimalText
{
    private const long ExactInteger = 1L << 53;

    private static readonly double[] s_powersOfTen =
    [
        1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
    ];

    /// <summary>False for anything that is not a decimal number, "nan" and "inf" included; true with infinity for 1e999.</summary>
    internal static bool TryParse(ReadOnlySpan<byte> text, out double value)
    {
        value = 0;
        var at = 0;
        var negative = false;
        if (text.Length > 0 && (text[0] == '-' || text[0] == '+'))
            negative = text[at++] == '-';
        long digits = 0;
        int count = 0, exponent = 0;
        var exact = ReadDigits(text, ref at, ref digits, ref count);
        if (at < text.Length && text[at] == '.')
        {
            at++;
            var before = count;
            exact &= ReadDigits(text, ref at, ref digits, ref count);
            exponent = before - count;
        }

        if (count == 0 || !ReadExponent(text, ref at, ref exponent) || at != text.Length)
            return false;
        if (!exact || digits > ExactInteger || Math.Abs(exponent) > 22)
            return double.TryParse(text, NumberStyles.Float, CultureInfo.InvariantCulture, out value);
        value = exponent < 0 ? digits / s_powersOfTen[-exponent] : digits * s_powersOfTen[exponent];
        if (negative)
            value = -value;
        return true;
    }

    /// <summary>False for anything that is not a whole number in the range of <see cref="long"/>.</summary>
    internal static bool TryParse(ReadOnlySpan<byte> text, out long value) =>
        long.TryParse(text, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out value);

    // False when more digits came than a long holds; they are skipped then, but counted.
    private static bool ReadDigits(ReadOnlySpan<byte> text, ref int at, ref long digits, ref int count)
    {
        var exact = true;
        for (; at < text.Length && (uint)(text[at] - '0') <= 9; at++, count++)
        {
            if (digits < 100_000_000_000_000_000)
                digits = (digits * 10) + (text[at] - '0');
            else
                exact = false;
        }

        return exact;
    }

    private static bool ReadExponent(ReadOnlySpan<byte> text, ref int at, ref int exponent)
    {
        if (at == text.Length || (text[at] | 0x20) != 'e')
            return true;
        at++;
        var negative = at < text.Length && text[at] == '-';
        if (at < text.Length && (text[at] == '-' || text[at] == '+'))
            at++;
        var start = at;
        var written = 0;
        for (; at < text.Length && (uint)(text[at] - '0') <= 9; at++)
            written = Math.Min(100_000, (written * 10) + (text[at] - '0'));
        exponent += negative ? -written : written;
        return at > start;
    }
}
