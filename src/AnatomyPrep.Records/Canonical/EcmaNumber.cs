using System.Globalization;

namespace AnatomyPrep.Records.Canonical;

/// <summary>The text ECMAScript gives a number, which RFC 8785 makes the canonical one.</summary>
/// <remarks>
/// Method: ECMA-262, Number::toString, radix 10. The runtime's round-trip format already finds the shortest digits that
///   read back as the same double; only their layout differs, so this lays digits and exponent out anew.
/// Rules: point at position n after the first digit; plain for -6 &lt; n &lt;= 21, else d.ddde±x; minus zero is 0.
/// Errors: NaN and infinities have no text (<see cref="ArgumentOutOfRangeException"/>).
/// </remarks>
internal static class EcmaNumber
{
    private const int LargestPlainPoint = 21;
    private const int SmallestPlainPoint = -5;

    internal static string Text(double value)
    {
        if (!double.IsFinite(value))
            throw new ArgumentOutOfRangeException(nameof(value), value, "JSON has no text for this number.");
        if (value == 0)
            return "0";
        var (digits, point) = Shortest(Math.Abs(value));
        var sign = value < 0 ? "-" : "";
        if (point is < SmallestPlainPoint or > LargestPlainPoint)
            return sign + Exponential(digits, point - 1);
        if (point <= 0)
            return sign + "0." + new string('0', -point) + digits;
        return digits.Length <= point
            ? sign + digits + new string('0', point - digits.Length)
            : sign + digits[..point] + "." + digits[point..];
    }

    private static string Exponential(string digits, int exponent)
    {
        var mantissa = digits.Length == 1 ? digits : digits[..1] + "." + digits[1..];
        return mantissa + (exponent < 0 ? "e-" : "e+") + Math.Abs(exponent).ToString(CultureInfo.InvariantCulture);
    }

    /// <summary>Digits without leading or trailing zeros, and how many of them stand before the point.</summary>
    private static (string Digits, int Point) Shortest(double magnitude)
    {
        var text = magnitude.ToString("R", CultureInfo.InvariantCulture);
        var mark = text.IndexOf('E', StringComparison.Ordinal);
        var mantissa = mark < 0 ? text : text[..mark];
        var exponent = mark < 0 ? 0 : int.Parse(text.AsSpan(mark + 1), NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture);
        var dot = mantissa.IndexOf('.', StringComparison.Ordinal);
        var point = (dot < 0 ? mantissa.Length : dot) + exponent;
        var all = mantissa.Replace(".", "", StringComparison.Ordinal);
        var digits = all.TrimStart('0');
        return (digits.TrimEnd('0'), point - (all.Length - digits.Length));
    }
}
