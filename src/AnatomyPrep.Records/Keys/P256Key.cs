using System.Security.Cryptography;
using static AnatomyPrep.Records.Keys.P256Field;

namespace AnatomyPrep.Records.Keys;

/// <summary>One signature to be checked, and whether it holds.</summary>
internal sealed record P256Item(P256Key Key, byte[] Data, byte[] DerSignature)
{
    internal bool Holds { get; set; }
}

/// <summary>A public key that checks many signatures: four times as fast as the system's general check, for a table of nearly a megabyte.</summary>
/// <remarks>
/// Method: ECDSA verification (FIPS 186-4, section 6.4) with fixed-base tables for the generator and the key: a scalar is cut into 26 signed digits of
///   10 bits, and digit i picks a multiple of 2^(10i) times the point, so a check is 52 additions and no doubling (Brickell, Gordon, McCurley, Wilson
///   1992; signed digits: Booth 1951; both from memory). A whole list is added in step, in plain coordinates: the divisions of one step cost one
///   inversion and three multiplications each (Montgomery's trick), an addition six multiplications in all.
/// It handles public data only and takes no care to run in constant time; signing and every single check stay with the system. Where an addition
///   meets two points with the same x, which nobody brings about without knowing the secret key, the signature counts as not holding here.
///   Whoever uses it asks the system again about what does not hold, and about a sample of what does (docs/decisions/0008).
/// Cost: 15 ms a key; then some 20 µs a signature in lists of hundreds, where the system takes 87. Safe for several threads.
/// </remarks>
internal sealed class P256Key
{
    private const int Bits = 10;
    private const int Windows = 26;
    private const int Multiples = 1 << (Bits - 1);
    private const int FieldBytes = 32;

    private static readonly Lazy<Affine[]> s_generator = new(() => TableOf(new(
        ToP(U256.FromBigEndian(Convert.FromHexString("6b17d1f2e12c4247f8bce6e563a440f277037d812deb33a0f4a13945d898c296"))),
        ToP(U256.FromBigEndian(Convert.FromHexString("4fe342e2fe1a7f9b8ee7eb4a7c0f9e162bce33576b315ececbb6406837bf51f5"))))));

    private readonly Affine[] _table;

    /// <param name="x">Big-endian, 32 bytes; a point of the curve, as the system's import has checked.</param>
    internal P256Key(ReadOnlySpan<byte> x, ReadOnlySpan<byte> y) => _table = TableOf(new(ToP(U256.FromBigEndian(x)), ToP(U256.FromBigEndian(y))));

    /// <summary>Sets <see cref="P256Item.Holds"/> of every item.</summary>
    internal static void Check(IReadOnlyList<P256Item> items)
    {
        var known = new List<(P256Item Item, U256 R, U256 S)>(items.Count);
        foreach (var item in items)
        {
            item.Holds = false;
            if (Read(item.DerSignature) is var (r, s))
                known.Add((item, r, ToN(s)));
        }

        // Products of all before each; walked back, the inverse of the whole gives each one's own.
        var before = new U256[known.Count];
        var product = OneN;
        for (var i = 0; i < known.Count; i++)
        {
            before[i] = product;
            product = MultiplyN(product, known[i].S);
        }

        var sums = new Sums(known.Count);
        var (ofGenerator, ofKey) = (new short[known.Count * Windows], new short[known.Count * Windows]);
        Span<byte> digest = stackalloc byte[SHA256.HashSizeInBytes];
        var inverse = InverseN(product);
        for (var i = known.Count - 1; i >= 0; i--)
        {
            // A plain number times one in Montgomery form gives a plain one.
            var w = MultiplyN(inverse, before[i]);
            inverse = MultiplyN(inverse, known[i].S);
            SHA256.HashData(known[i].Item.Data, digest);
            Cut(MultiplyN(Reduced(U256.FromBigEndian(digest)), w), ofGenerator.AsSpan(i * Windows, Windows));
            Cut(MultiplyN(known[i].R, w), ofKey.AsSpan(i * Windows, Windows));
        }

        for (var window = 0; window < Windows; window++)
        {
            for (var i = 0; i < known.Count; i++)
                sums.Plan(i, s_generator.Value, window, ofGenerator[(i * Windows) + window]);
            sums.Add();
            for (var i = 0; i < known.Count; i++)
                sums.Plan(i, known[i].Item.Key._table, window, ofKey[(i * Windows) + window]);
            sums.Add();
        }

        for (var i = 0; i < known.Count; i++)
            known[i].Item.Holds = sums.X(i) is { } x && Reduced(FromP(x)) == known[i].R;
    }

    /// <summary>A number below the prime or 2^256, both less than twice the order, modulo the order.</summary>
    private static U256 Reduced(in U256 e) => U256.Less(e, N) ? e : U256.Subtract(e, N, out _);

    /// <summary>Digits from -511 to 512, lowest first. The order has 256 bits and the digits 260, so nothing is carried out of the last.</summary>
    private static void Cut(in U256 scalar, Span<short> digits)
    {
        var carry = 0;
        for (var window = 0; window < Windows; window++)
        {
            var digit = scalar.Bits(window * Bits, Bits) + carry;
            carry = digit > Multiples ? 1 : 0;
            digits[window] = (short)(digit - (carry << Bits));
        }
    }

    /// <summary>r and s; null unless strict DER of two numbers from 1 to the order less one.</summary>
    private static (U256 R, U256 S)? Read(ReadOnlySpan<byte> der)
    {
        // SEQUENCE, length in one byte: two numbers of at most 33 bytes each.
        if (der.Length is < 8 or > 72 || der[0] != 0x30 || der[1] != der.Length - 2)
            return null;
        var rest = der[2..];
        return Number(ref rest) is { } r && Number(ref rest) is { } s && rest.IsEmpty ? (r, s) : null;
    }

    private static U256? Number(ref ReadOnlySpan<byte> rest)
    {
        if (rest.Length < 3 || rest[0] != 0x02 || rest[1] is 0 or > FieldBytes + 1 || rest.Length < 2 + rest[1])
            return null;
        var bytes = rest.Slice(2, rest[1]);
        rest = rest[(2 + bytes.Length)..];
        // Negative, or a leading zero that is not needed.
        if (bytes[0] >= 0x80 || (bytes.Length > 1 && bytes[0] == 0 && bytes[1] < 0x80))
            return null;
        if (bytes[0] == 0)
            bytes = bytes[1..];
        if (bytes.Length > FieldBytes)
            return null;
        Span<byte> whole = stackalloc byte[FieldBytes];
        whole.Clear();
        bytes.CopyTo(whole[(FieldBytes - bytes.Length)..]);
        var value = U256.FromBigEndian(whole);
        return value.IsZero || !U256.Less(value, N) ? null : value;
    }

    /// <summary>Multiples 1 to 512 of 2^(10i)·P for every i, in one row each; all rows grow in step.</summary>
    private static Affine[] TableOf(Affine point)
    {
        var doubled = Doubled(point, Windows * Bits);
        var table = new Affine[Windows * Multiples];
        var sums = new Sums(Windows);
        for (var window = 0; window < Windows; window++)
        {
            table[window * Multiples] = doubled[window * Bits];
            table[(window * Multiples) + 1] = doubled[(window * Bits) + 1];
            sums.Plan(window, table, window, 2);
        }

        for (var multiple = 2; multiple < Multiples; multiple++)
        {
            for (var window = 0; window < Windows; window++)
                sums.Plan(window, table, window, 1);
            sums.Add();
            for (var window = 0; window < Windows; window++)
                table[(window * Multiples) + multiple] = sums.Point(window);
        }

        return table;
    }

    /// <summary>2^i times the point, for i from 0 to a count less one, all with z = 1 for one inversion.</summary>
    private static Affine[] Doubled(Affine point, int count)
    {
        var points = new Jacobian[count];
        var before = new U256[count];
        var product = OneP;
        for (var i = 0; i < count; i++)
        {
            points[i] = i == 0 ? new(point.X, point.Y, OneP) : Double(points[i - 1]);
            before[i] = product;
            product = MultiplyP(product, points[i].Z);
        }

        var inverse = InverseP(product);
        var result = new Affine[count];
        for (var i = count - 1; i >= 0; i--)
        {
            var z = MultiplyP(inverse, before[i]);
            var zz = MultiplyP(z, z);
            result[i] = new(MultiplyP(points[i].X, zz), MultiplyP(points[i].Y, MultiplyP(zz, z)));
            inverse = MultiplyP(inverse, points[i].Z);
        }

        return result;
    }

    /// <summary>Formulas for a = -3 (Bernstein 2001; from memory). The curve has no point of order two, so z is never 0.</summary>
    private static Jacobian Double(in Jacobian a)
    {
        var delta = MultiplyP(a.Z, a.Z);
        var gamma = MultiplyP(a.Y, a.Y);
        var beta = MultiplyP(a.X, gamma);
        var third = MultiplyP(SubtractP(a.X, delta), AddP(a.X, delta));
        var alpha = AddP(third, AddP(third, third));
        var beta4 = Twice(Twice(beta));
        var x = SubtractP(MultiplyP(alpha, alpha), Twice(beta4));
        var yz = AddP(a.Y, a.Z);
        var z = SubtractP(SubtractP(MultiplyP(yz, yz), gamma), delta);
        return new(x, SubtractP(MultiplyP(alpha, SubtractP(beta4, x)), Twice(Twice(Twice(MultiplyP(gamma, gamma))))), z);
    }

    private static U256 Twice(in U256 a) => AddP(a, a);

    private readonly record struct Affine(U256 X, U256 Y);

    /// <summary>(X/Z², Y/Z³).</summary>
    private readonly record struct Jacobian(U256 X, U256 Y, U256 Z);

    /// <summary>Sums of points, one for each signature, that grow in step.</summary>
    private sealed class Sums(int count)
    {
        private readonly State[] _state = new State[count];
        private readonly Affine[] _sum = new Affine[count];
        private readonly Affine[] _next = new Affine[count];
        private readonly int[] _planned = new int[count];
        private readonly U256[] _run = new U256[count];
        private readonly U256[] _before = new U256[count];
        private int _plans;

        private enum State : byte
        {
            Nothing,
            Point,

            /// <summary>Met a point with its own x.</summary>
            Met,
        }

        internal Affine Point(int i) => _sum[i];

        /// <summary>x of a sum; null for infinity and for sums that met their own x.</summary>
        internal U256? X(int i) => _state[i] == State.Point ? _sum[i].X : null;

        /// <summary>What <see cref="Add"/> will add to a sum: a multiple of a row of a table.</summary>
        internal void Plan(int i, Affine[] table, int window, int digit)
        {
            if (digit == 0 || _state[i] == State.Met)
                return;
            var point = table[(window * Multiples) + Math.Abs(digit) - 1];
            if (digit < 0)
                point = point with { Y = SubtractP(default, point.Y) };
            if (_state[i] == State.Nothing)
            {
                (_sum[i], _state[i]) = (point, State.Point);
                return;
            }

            var run = SubtractP(point.X, _sum[i].X);
            if (run.IsZero)
            {
                _state[i] = State.Met;
                return;
            }

            _next[_plans] = point;
            _run[_plans] = run;
            _planned[_plans++] = i;
        }

        /// <summary>The chord through both points: its slope, the third point on it, mirrored.</summary>
        internal void Add()
        {
            var product = OneP;
            for (var k = 0; k < _plans; k++)
            {
                _before[k] = product;
                product = MultiplyP(product, _run[k]);
            }

            var inverse = InverseP(product);
            for (var k = _plans - 1; k >= 0; k--)
            {
                ref var sum = ref _sum[_planned[k]];
                var slope = MultiplyP(SubtractP(_next[k].Y, sum.Y), MultiplyP(inverse, _before[k]));
                inverse = MultiplyP(inverse, _run[k]);
                var x = SubtractP(SubtractP(MultiplyP(slope, slope), sum.X), _next[k].X);
                sum = new(x, SubtractP(MultiplyP(slope, SubtractP(sum.X, x)), sum.Y));
            }

            _plans = 0;
        }
    }
}
