using System.Globalization;
using System.Numerics;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Tests.Records.Keys;

/// <summary>The fast check of many signatures says what the system's own check says, on random and on extreme values.</summary>
public sealed class P256KeyTests
{
    private static readonly BigInteger s_order = P256Field.Order;
    private static readonly BigInteger s_prime = P256Field.Prime;

    /// <summary>RFC 6979, A.2.5: P-256, SHA-256, messages "sample" and "test".</summary>
    [Theory]
    [InlineData("sample", "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716", "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8")]
    [InlineData("test", "F1ABB023518351CD71D881567B1EA663ED3EFCF6C5132B354F28D3B0B7D38367", "019F4113742A2B14BD25926B49C649155F267E60D3814B4C0CC84250E46F0083")]
    public void Vectors_of_rfc_6979_hold(string message, string r, string s)
    {
        var key = new P256Key(
            Convert.FromHexString("60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6"),
            Convert.FromHexString("7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299"));
        Check(key, Encoding.ASCII.GetBytes(message), Der(Number(r), Number(s))).Should().BeTrue();
        Check(key, Encoding.ASCII.GetBytes(message + " "), Der(Number(r), Number(s))).Should().BeFalse();
    }

    [Fact]
    public void Random_signatures_and_every_kind_of_change_are_judged_as_the_system_judges_them()
    {
        var random = new Random(71);
        var items = new List<P256Item>();
        var system = new List<bool>();
        for (var k = 0; k < 12; k++)
        {
            using var key = ECDsa.Create(ECCurve.NamedCurves.nistP256);
            using var verifier = new VerificationKey(key);
            var table = verifier.ForMany();
            for (var i = 0; i < 60; i++)
            {
                var data = new byte[random.Next(200)];
                random.NextBytes(data);
                var signature = key.SignData(data, HashAlgorithmName.SHA256, DSASignatureFormat.Rfc3279DerSequence);
                var changed = (byte[])signature.Clone();
                switch (i % 6)
                {
                    case 1:
                        changed[random.Next(changed.Length)] ^= (byte)(1 << random.Next(8));
                        break;
                    case 2:
                        data = [.. data, 0];
                        break;
                    case 3:
                        changed = changed[..^1];
                        break;
                    case 4:
                        // The other signature of the same point: s and n - s both hold.
                        var (r, s) = Read(signature);
                        changed = Der(r, s_order - s);
                        break;
                    case 5:
                        changed = Der(Read(signature).S, Read(signature).R);
                        break;
                }

                items.Add(new P256Item(table, data, changed));
                system.Add(verifier.Verify(data, changed));
            }
        }

        P256Key.Check(items);
        items.Select(i => i.Holds).Should().Equal(system);
        system.Count(s => s).Should().Be(12 * 20, "two of six kinds hold");
    }

    /// <summary>Numbers at the ends of their range, and the key in the generator's own place, where additions meet equal and opposite points.</summary>
    [Fact]
    public void Extreme_numbers_and_keys_beside_the_generator_are_judged_as_the_system_judges_them()
    {
        var numbers = new[] { BigInteger.Zero, 1, 2, 255, 256, (s_order - 1) / 2, s_order - 2, s_order - 1, s_order, s_order + 1, s_prime - s_order, s_prime - 1, s_prime, (BigInteger.One << 256) - 1, BigInteger.One << 255 };
        var data = Encoding.ASCII.GetBytes("an event");
        var e = new BigInteger(SHA256.HashData(data), isUnsigned: true, isBigEndian: true) % s_order;
        foreach (var secret in new[] { BigInteger.One, 2, 3, 255, 256, s_order - 1, s_order - 2, (s_order + 1) / 2, BigInteger.One << 128, BigInteger.One << 248 })
        {
            using var key = ECDsa.Create(new ECParameters { Curve = ECCurve.NamedCurves.nistP256, D = Bytes(secret) });
            using var verifier = new VerificationKey(key);
            var table = verifier.ForMany();
            var signatures = numbers.SelectMany(r => numbers.Select(s => Der(r, s))).ToList();
            // Signatures that hold, of chosen points: k = 1 and others give r of known points; among them sums that meet themselves.
            foreach (var k in new[] { BigInteger.One, 2, 3, secret, s_order - 1, BigInteger.One << 200 })
            {
                var r = X(k) % s_order;
                signatures.Add(Der(r, BigInteger.ModPow(k, s_order - 2, s_order) * (e + (r * secret)) % s_order));
            }

            // u1·G + u2·Q = 0: r = -e/d leads to infinity and holds for nobody.
            signatures.Add(Der(BigInteger.ModPow(secret, s_order - 2, s_order) * (s_order - e) % s_order, 7));
            var items = signatures.Select(s => new P256Item(table, data, s)).ToList();
            P256Key.Check(items);
            items.Select(i => i.Holds).Should().Equal(signatures.Select(s => verifier.Verify(data, s)), "of the key {0}", secret);
            items.Count(i => i.Holds).Should().BeGreaterThanOrEqualTo(5, "those made to hold do");
        }
    }

    /// <summary>r is x modulo the order: a point whose x lies between order and prime is met once in 2^128, so it is made.</summary>
    [Fact]
    public void A_point_whose_x_is_beyond_the_order_holds_by_its_rest()
    {
        // x = n + t on the curve with t as small as there is one; R = (x, y); any Q = r^-1 (s R - e G) then has (r, s) as a signature.
        var t = Enumerable.Range(1, 1000).Select(i => new BigInteger(i)).First(i => Root(Cube(s_order + i)) is not null);
        var x = s_order + t;
        var data = Encoding.ASCII.GetBytes("beyond");
        var e = new BigInteger(SHA256.HashData(data), isUnsigned: true, isBigEndian: true) % s_order;
        var inverse = BigInteger.ModPow(t, s_order - 2, s_order);
        var s = new BigInteger(12345);
        var q = Plus(Times((x, Root(Cube(x))!.Value), s * inverse % s_order), Times(Generator, (s_order - e) * inverse % s_order))!.Value;
        using var key = ECDsa.Create(new ECParameters { Curve = ECCurve.NamedCurves.nistP256, Q = new ECPoint { X = Bytes(q.X), Y = Bytes(q.Y) } });
        using var verifier = new VerificationKey(key);
        verifier.Verify(data, Der(t, s)).Should().BeTrue("the system says so");
        Check(verifier.ForMany(), data, Der(t, s)).Should().BeTrue();
        Check(verifier.ForMany(), data, Der(t + 1, s)).Should().BeFalse();
    }

    private static bool Check(P256Key key, byte[] data, byte[] der)
    {
        var item = new P256Item(key, data, der);
        P256Key.Check([item]);
        return item.Holds;
    }

    private static readonly BigInteger s_b = Number("5AC635D8AA3A93E7B3EBBD55769886BC651D06B0CC53B0F63BCE3C3E27D2604B");

    private static (BigInteger X, BigInteger Y) Generator => (
        Number("6B17D1F2E12C4247F8BCE6E563A440F277037D812DEB33A0F4A13945D898C296"), Number("4FE342E2FE1A7F9B8EE7EB4A7C0F9E162BCE33576B315ECECBB6406837BF51F5"));

    private static BigInteger X(BigInteger k) => Times(Generator, k)!.Value.X;

    private static BigInteger Cube(BigInteger x) => ((x * x * x) - (3 * x) + s_b) % s_prime;

    /// <summary>The prime is 3 modulo 4.</summary>
    private static BigInteger? Root(BigInteger square)
    {
        var root = BigInteger.ModPow(square, (s_prime + 1) / 4, s_prime);
        return root * root % s_prime == square ? root : null;
    }

    /// <summary>The textbook's group law, for reference.</summary>
    private static (BigInteger X, BigInteger Y)? Plus((BigInteger X, BigInteger Y)? a, (BigInteger X, BigInteger Y)? b)
    {
        if (a is not { } p || b is not { } q)
            return a ?? b;
        if (p.X == q.X && (p.Y + q.Y) % s_prime == 0)
            return null;
        var slope = p == q ? ((3 * p.X * p.X) - 3) * Inverse(2 * p.Y) : (q.Y - p.Y) * Inverse(q.X - p.X);
        var x = Modulo((slope * slope) - p.X - q.X);
        return (x, Modulo((slope * (p.X - x)) - p.Y));
    }

    private static (BigInteger X, BigInteger Y)? Times((BigInteger X, BigInteger Y)? point, BigInteger k)
    {
        (BigInteger, BigInteger)? sum = null;
        for (; k > 0; k >>= 1, point = Plus(point, point))
            if (!k.IsEven)
                sum = Plus(sum, point);
        return sum;
    }

    private static BigInteger Inverse(BigInteger a) => BigInteger.ModPow(Modulo(a), s_prime - 2, s_prime);

    private static BigInteger Modulo(BigInteger a) => ((a % s_prime) + s_prime) % s_prime;

    private static BigInteger Number(string hex) => BigInteger.Parse("0" + hex, NumberStyles.HexNumber, CultureInfo.InvariantCulture);

    private static byte[] Bytes(BigInteger value)
    {
        var bytes = value.ToByteArray(isUnsigned: true, isBigEndian: true);
        return [.. new byte[32 - bytes.Length], .. bytes];
    }

    private static byte[] Der(BigInteger r, BigInteger s)
    {
        var writer = new System.Formats.Asn1.AsnWriter(System.Formats.Asn1.AsnEncodingRules.DER);
        using (writer.PushSequence())
        {
            writer.WriteInteger(r);
            writer.WriteInteger(s);
        }

        return writer.Encode();
    }

    private static (BigInteger R, BigInteger S) Read(byte[] der)
    {
        var numbers = new System.Formats.Asn1.AsnReader(der, System.Formats.Asn1.AsnEncodingRules.DER).ReadSequence();
        return (numbers.ReadInteger(), numbers.ReadInteger());
    }
}
