using System.Runtime.CompilerServices;

namespace AnatomyPrep.Core.Geometry;

/// <summary>Sums of doubles that stand for one exact number.</summary>
/// <remarks>
/// Method: J. R. Shewchuk, "Adaptive Precision Floating-Point Arithmetic and Fast Robust Geometric Predicates",
///   Discrete &amp; Computational Geometry 18 (1997): error-free sum and product, fast expansion sum, expansion scaling.
///   The product's error comes from a fused multiply-add, which is exact by IEEE 754.
/// Shapes: components in increasing magnitude, not overlapping, no zeros; length 0 stands for zero.
/// Exact while no product leaves the range of double: the caller keeps every factor within 2^±300 and takes at most three.
/// </remarks>
internal static class Expansion
{
    /// <summary>Writes a − b exactly (at most two components) and returns how many.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static int Difference(double a, double b, Span<double> into)
    {
        var high = a - b;
        var bVirtual = a - high;
        var aVirtual = high + bVirtual;
        return Store(high, (a - aVirtual) + (bVirtual - b), into);
    }

    /// <summary>Writes e + sign·f and returns the length; <paramref name="into"/> holds at least both lengths.</summary>
    internal static int Sum(ReadOnlySpan<double> e, ReadOnlySpan<double> f, double sign, Span<double> into)
    {
        int i = 0, j = 0, n = 0;
        double carry = 0;
        while (i < e.Length || j < f.Length)
        {
            var fromE = j == f.Length || (i < e.Length && Math.Abs(e[i]) <= Math.Abs(f[j]));
            var next = fromE ? e[i++] : sign * f[j++];
            carry = TwoSum(carry, next, out var error);
            if (error != 0)
                into[n++] = error;
        }

        if (carry != 0)
            into[n++] = carry;
        return n;
    }

    /// <summary>Writes e·b and returns the length; <paramref name="into"/> holds at least twice the length of e.</summary>
    internal static int Scale(ReadOnlySpan<double> e, double b, Span<double> into)
    {
        var n = 0;
        double carry = 0;
        foreach (var component in e)
        {
            var high = component * b;
            var low = Math.FusedMultiplyAdd(component, b, -high);
            var sum = TwoSum(carry, low, out var error);
            if (error != 0)
                into[n++] = error;
            carry = TwoSum(high, sum, out error);
            if (error != 0)
                into[n++] = error;
        }

        if (carry != 0)
            into[n++] = carry;
        return n;
    }

    /// <summary>Writes e·f for an f of at most two components; <paramref name="into"/> and <paramref name="scratch"/> hold 4·|e|.</summary>
    internal static int Product(ReadOnlySpan<double> e, ReadOnlySpan<double> f, Span<double> into, Span<double> scratch)
    {
        if (e.IsEmpty || f.IsEmpty)
            return 0;
        if (f.Length == 1)
            return Scale(e, f[0], into);
        var half = 2 * e.Length;
        var low = Scale(e, f[0], scratch[..half]);
        var high = Scale(e, f[1], scratch.Slice(half, half));
        return Sum(scratch[..low], scratch.Slice(half, high), 1, into);
    }

    internal static int Sign(ReadOnlySpan<double> e) => e.IsEmpty ? 0 : Math.Sign(e[^1]);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static double TwoSum(double a, double b, out double error)
    {
        var sum = a + b;
        var bVirtual = sum - a;
        var aVirtual = sum - bVirtual;
        error = (a - aVirtual) + (b - bVirtual);
        return sum;
    }

    private static int Store(double high, double low, Span<double> into)
    {
        var n = 0;
        if (low != 0)
            into[n++] = low;
        if (high != 0)
            into[n++] = high;
        return n;
    }
}
