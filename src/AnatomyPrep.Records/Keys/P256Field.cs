using System.Buffers.Binary;
using System.Numerics;
using System.Runtime.CompilerServices;

namespace AnatomyPrep.Records.Keys;

/// <summary>256 bits, lowest first.</summary>
internal readonly record struct U256(ulong A0, ulong A1, ulong A2, ulong A3)
{
    internal bool IsZero => (A0 | A1 | A2 | A3) == 0;

    internal static U256 FromBigEndian(ReadOnlySpan<byte> bytes) => new(
        BinaryPrimitives.ReadUInt64BigEndian(bytes[24..]), BinaryPrimitives.ReadUInt64BigEndian(bytes[16..]),
        BinaryPrimitives.ReadUInt64BigEndian(bytes[8..]), BinaryPrimitives.ReadUInt64BigEndian(bytes));

    internal static U256 From(BigInteger value)
    {
        Span<byte> bytes = stackalloc byte[32];
        bytes.Clear();
        value.TryWriteBytes(bytes, out _, isUnsigned: true);
        return new(
            BinaryPrimitives.ReadUInt64LittleEndian(bytes), BinaryPrimitives.ReadUInt64LittleEndian(bytes[8..]),
            BinaryPrimitives.ReadUInt64LittleEndian(bytes[16..]), BinaryPrimitives.ReadUInt64LittleEndian(bytes[24..]));
    }

    /// <summary>Some bits from one on; those beyond the last are 0.</summary>
    /// <param name="count">At most 16.</param>
    internal int Bits(int first, int count)
    {
        var (word, shift) = (first >> 6, first & 63);
        var bits = Word(word) >> shift;
        if (shift + count > 64)
            bits |= Word(word + 1) << (64 - shift);
        return (int)(bits & ((1UL << count) - 1));
    }

    private ulong Word(int index) => index switch { 0 => A0, 1 => A1, 2 => A2, 3 => A3, _ => 0 };

    internal static bool Less(in U256 a, in U256 b)
    {
        Subtract(a, b, out var borrow);
        return borrow != 0;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static U256 Subtract(in U256 a, in U256 b, out ulong borrow)
    {
        borrow = 0;
        return new(Sub(a.A0, b.A0, ref borrow), Sub(a.A1, b.A1, ref borrow), Sub(a.A2, b.A2, ref borrow), Sub(a.A3, b.A3, ref borrow));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static U256 Add(in U256 a, in U256 b, out ulong carry)
    {
        carry = 0;
        return new(Plus(a.A0, b.A0, ref carry), Plus(a.A1, b.A1, ref carry), Plus(a.A2, b.A2, ref carry), Plus(a.A3, b.A3, ref carry));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static ulong Plus(ulong a, ulong b, ref ulong carry)
    {
        var sum = a + b;
        var first = sum < a ? 1UL : 0;
        var result = sum + carry;
        carry = first | (result < sum ? 1UL : 0);
        return result;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static ulong Sub(ulong a, ulong b, ref ulong borrow)
    {
        var difference = a - b;
        var first = a < b ? 1UL : 0;
        var result = difference - borrow;
        borrow = first | (difference < borrow ? 1UL : 0);
        return result;
    }

    /// <summary>a·b + add + carry; the upper half becomes the carry.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static ulong MultiplyAdd(ulong a, ulong b, ulong add, ref ulong carry)
    {
        var high = Math.BigMul(a, b, out ulong low);
        low += add;
        high += low < add ? 1UL : 0;
        low += carry;
        high += low < carry ? 1UL : 0;
        carry = high;
        return low;
    }
}

/// <summary>Numbers modulo the prime of P-256 and modulo the order of its group, in Montgomery form (x·2^256).</summary>
/// <remarks>
/// Method: Montgomery multiplication, word by word (Koç, Acar, Kaliski 1996, "CIOS"; from memory). The prime is -1 modulo 2^64, so each
///   word reduces by itself, with one multiplication. Constants: FIPS 186-4, D.1.2.3. Not in constant time: for public data only.
/// </remarks>
internal static class P256Field
{
    internal static readonly BigInteger Prime = BigInteger.Parse("0ffffffff00000001000000000000000000000000ffffffffffffffffffffffff", System.Globalization.NumberStyles.HexNumber, System.Globalization.CultureInfo.InvariantCulture);
    internal static readonly BigInteger Order = BigInteger.Parse("0ffffffff00000000ffffffffffffffffbce6faada7179e84f3b9cac2fc632551", System.Globalization.NumberStyles.HexNumber, System.Globalization.CultureInfo.InvariantCulture);

    internal static readonly U256 P = U256.From(Prime);
    internal static readonly U256 N = U256.From(Order);
    internal static readonly U256 OneP = U256.From(BigInteger.Pow(2, 256) % Prime);
    internal static readonly U256 OneN = U256.From(BigInteger.Pow(2, 256) % Order);

    private const ulong P3 = 0xffffffff00000001;
    private const ulong N0 = 0xf3b9cac2fc632551;
    private const ulong N1 = 0xbce6faada7179e84;
    private const ulong N2 = 0xffffffffffffffff;
    private const ulong N3 = 0xffffffff00000000;

    /// <summary>-1/n modulo 2^64.</summary>
    private const ulong NInverse = 0xccd1c8aaee00bc4f;

    private static readonly U256 s_inverseP = U256.From(Prime - 2);
    private static readonly U256 s_inverseN = U256.From(Order - 2);
    private static readonly U256 s_squareP = U256.From(BigInteger.Pow(2, 512) % Prime);
    private static readonly U256 s_squareN = U256.From(BigInteger.Pow(2, 512) % Order);

    internal static U256 ToP(in U256 x) => MultiplyP(x, s_squareP);

    internal static U256 ToN(in U256 x) => MultiplyN(x, s_squareN);

    /// <summary>Out of Montgomery form, modulo the prime.</summary>
    internal static U256 FromP(in U256 x) => MultiplyP(x, new(1, 0, 0, 0));

    internal static U256 AddP(in U256 a, in U256 b)
    {
        var sum = U256.Add(a, b, out var carry);
        return Reduced(sum, carry, P);
    }

    internal static U256 SubtractP(in U256 a, in U256 b)
    {
        var difference = U256.Subtract(a, b, out var borrow);
        return borrow == 0 ? difference : U256.Add(difference, P, out _);
    }

    internal static U256 MultiplyP(in U256 a, in U256 b)
    {
        ulong t0 = 0, t1 = 0, t2 = 0, t3 = 0, t4 = 0;
        RoundP(a, b.A0, ref t0, ref t1, ref t2, ref t3, ref t4);
        RoundP(a, b.A1, ref t0, ref t1, ref t2, ref t3, ref t4);
        RoundP(a, b.A2, ref t0, ref t1, ref t2, ref t3, ref t4);
        RoundP(a, b.A3, ref t0, ref t1, ref t2, ref t3, ref t4);
        return Reduced(new(t0, t1, t2, t3), t4, P);
    }

    internal static U256 MultiplyN(in U256 a, in U256 b)
    {
        ulong t0 = 0, t1 = 0, t2 = 0, t3 = 0, t4 = 0;
        RoundN(a, b.A0, ref t0, ref t1, ref t2, ref t3, ref t4);
        RoundN(a, b.A1, ref t0, ref t1, ref t2, ref t3, ref t4);
        RoundN(a, b.A2, ref t0, ref t1, ref t2, ref t3, ref t4);
        RoundN(a, b.A3, ref t0, ref t1, ref t2, ref t3, ref t4);
        return Reduced(new(t0, t1, t2, t3), t4, N);
    }

    /// <summary>x^(p-2): the inverse, by Fermat.</summary>
    internal static U256 InverseP(in U256 x) => Power(x, s_inverseP, OneP, static (a, b) => MultiplyP(a, b));

    internal static U256 InverseN(in U256 x) => Power(x, s_inverseN, OneN, static (a, b) => MultiplyN(a, b));

    /// <summary>The value with its carry, below twice the modulus, brought below it.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static U256 Reduced(in U256 value, ulong carry, in U256 modulus)
    {
        var less = U256.Subtract(value, modulus, out var borrow);
        return carry >= borrow ? less : value;
    }

    private static U256 Power(in U256 x, in U256 exponent, in U256 one, Func<U256, U256, U256> multiply)
    {
        var result = one;
        for (var bit = 255; bit >= 0; bit--)
        {
            result = multiply(result, result);
            if (exponent.Bits(bit, 1) == 1)
                result = multiply(result, x);
        }

        return result;
    }

    /// <summary>t = (t + a·word + m·p) / 2^64 with m = the lowest word of t + a·word; p = 2^256 - 2^224 + 2^192 + 2^96 - 1.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void RoundP(in U256 a, ulong word, ref ulong t0, ref ulong t1, ref ulong t2, ref ulong t3, ref ulong t4)
    {
        ulong carry = 0;
        var m = U256.MultiplyAdd(a.A0, word, t0, ref carry);
        var s1 = U256.MultiplyAdd(a.A1, word, t1, ref carry);
        var s2 = U256.MultiplyAdd(a.A2, word, t2, ref carry);
        var s3 = U256.MultiplyAdd(a.A3, word, t3, ref carry);
        var s4 = t4 + carry;
        var s5 = s4 < carry ? 1UL : 0;
        carry = 0;
        t0 = U256.Plus(s1, m << 32, ref carry);
        t1 = U256.Plus(s2, m >> 32, ref carry);
        t2 = U256.MultiplyAdd(m, P3, s3, ref carry);
        t3 = s4 + carry;
        t4 = s5 + (t3 < carry ? 1UL : 0);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void RoundN(in U256 a, ulong word, ref ulong t0, ref ulong t1, ref ulong t2, ref ulong t3, ref ulong t4)
    {
        ulong carry = 0;
        var s0 = U256.MultiplyAdd(a.A0, word, t0, ref carry);
        var s1 = U256.MultiplyAdd(a.A1, word, t1, ref carry);
        var s2 = U256.MultiplyAdd(a.A2, word, t2, ref carry);
        var s3 = U256.MultiplyAdd(a.A3, word, t3, ref carry);
        var s4 = t4 + carry;
        var s5 = s4 < carry ? 1UL : 0;
        var m = s0 * NInverse;
        carry = 0;
        U256.MultiplyAdd(m, N0, s0, ref carry);
        t0 = U256.MultiplyAdd(m, N1, s1, ref carry);
        t1 = U256.MultiplyAdd(m, N2, s2, ref carry);
        t2 = U256.MultiplyAdd(m, N3, s3, ref carry);
        t3 = s4 + carry;
        t4 = s5 + (t3 < carry ? 1UL : 0);
    }
}
