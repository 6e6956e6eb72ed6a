using System.Buffers.Text;
using System.Globalization;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Numbers to ASCII text: the shortest that reads back as the same float32, always with a point.</summary>
/// <remarks>
/// Method: for the sizes models have, the fewest decimals d for which the whole number nearest to value · 10^d, divided by
///   10^d again, is the value; found by trying from seven digits on. With at most eight decimals the double quotient never
///   lies so close to the middle between two float32 that rounding twice could matter (2^-54 of it; whole numbers below
///   2^25 · 10^8 keep 2^-52 away). All else goes to the library's "R", which gives the same text, at three times the cost.
/// </remarks>
internal static class FloatText
{
    /// <summary>Room that is always enough for one number.</summary>
    internal const int MostBytes = 16;

    private const int MostDecimals = 8;

    private static readonly double[] s_powersOfTen = [1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8];

    internal static int Format(float value, Span<byte> into)
    {
        var magnitude = Math.Abs((double)value);
        if (magnitude is >= 0.01 and < 1e7 && TryDecimals(value, magnitude) is var (digits, decimals))
            return Put(value < 0, digits, decimals, into);
        // -0 and 0 are one place; "0" is what other readers expect.
        if (!(value == 0 ? 0f : value).TryFormat(into, out var written, "R", CultureInfo.InvariantCulture))
            throw new ArgumentException("Too little room for a number.", nameof(into));
        return written;
    }

    internal static int Format(int value, Span<byte> into)
    {
        if (!Utf8Formatter.TryFormat(value, into, out var written))
            throw new ArgumentException("Too little room for a number.", nameof(into));
        return written;
    }

    private static (int Digits, int Decimals)? TryDecimals(float value, double magnitude)
    {
        var single = Math.Abs(value);
        bool Fits(int decimals) => (float)(Math.Round(magnitude * s_powersOfTen[decimals]) / s_powersOfTen[decimals]) == single;
        var decimals = 6;
        for (var limit = 10.0; limit <= magnitude && decimals > 0; limit *= 10)
            decimals--;
        while (decimals <= MostDecimals && !Fits(decimals))
            decimals++;
        if (decimals > MostDecimals)
            return null;
        while (decimals > 0 && Fits(decimals - 1))
            decimals--;
        return ((int)Math.Round(magnitude * s_powersOfTen[decimals]), decimals);
    }

    // From the last digit to the first; a number below one gets its zero before the point.
    private static int Put(bool isNegative, int digits, int decimals, Span<byte> into)
    {
        var count = 1;
        for (var rest = digits; rest >= 10; rest /= 10)
            count++;
        count = Math.Max(count, decimals + 1);
        var start = isNegative ? 1 : 0;
        var length = start + count + (decimals > 0 ? 1 : 0);
        into[0] = (byte)'-';
        for (var at = length - 1; at >= start; at--)
        {
            if (decimals > 0 && at == length - 1 - decimals)
            {
                into[at] = (byte)'.';
                continue;
            }

            into[at] = (byte)('0' + (digits % 10));
            digits /= 10;
        }

        return length;
    }
}
