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

    /// <summary>Project Wycheproof, ecdsa_secp256r1_sha256_test.json (0.8r12), tests 364 to 384: message "Message", keys whose coordinates are extreme.</summary>
    [Theory]
    [InlineData("x ends in zeros", "4f337ccfd67726a805e4f1600ae2849df3807eca117380239fbd816900000000", "ed9dea124cc8c396416411e988c30f427eb504af43a3146cd5df7ea60666d685", "3046022100d434e262a49eab7781e353a3565e482550dd0fd5defa013c7f29745eff3569f10221009b0c0a93f267fb6052fd8077be769c2b98953195d7bc10de844218305c6ba17a")]
    [InlineData("y ends in zeros", "3cf03d614d8939cfd499a07873fac281618f06b8ff87e8015c3f497265004935", "84fa174d791c72bf2ce3880a8960dd2a7c7a1338a82f85a9e59cdbde80000000", "304502204cd0429bbabd2827009d6fcd843d4ce39c3e42e2d1631fd001985a79d1fd8b430221009638bf12dd682f60be7ef1d0e0d98f08b7bca77a1a2b869ae466189d2acdabe3")]
    [InlineData("y ends in ones", "3cf03d614d8939cfd499a07873fac281618f06b8ff87e8015c3f497265004935", "7b05e8b186e38d41d31c77f5769f22d58385ecc857d07a561a6324217fffffff", "3045022100b1db9289649f59410ea36b0c0fc8d6aa2687b29176939dd23e0dde56d309fa9d02203e1535e4280559015b0dbd987366dcf43a6d1af5c23c7d584e1c3f48a1251336")]
    [InlineData("x ends in ones", "2829c31faa2e400e344ed94bca3fcd0545956ebcfe8ad0f6dfa5ff8effffffff", "a01aafaf000e52585855afa7676ade284113099052df57e7eb3bd37ebeb9222e", "3045022100d82a7c2717261187c8e00d8df963ff35d796edad36bc6e6bd1c91c670d9105b402203dcabddaf8fcaa61f4603e7cbac0f3c0351ecd5988efb23f680d07debd139929")]
    [InlineData("x is large", "fffffff948081e6a0458dd8f9e738f2665ff9059ad6aac0708318c4ca9a7a4f5", "5a8abcba2dda8474311ee54149b973cae0c0fb89557ad0bf78e6529a1663bd73", "30440220766456dce1857c906f9996af729339464d27e9d98edc2d0e3b760297067421f60220402385ecadae0d8081dccaf5d19037ec4e55376eced699e93646bfbbf19d0b41")]
    [InlineData("x is small", "00000003fa15f963949d5f03a6f5c7f86f9e0015eeb23aebbff1173937ba748e", "1099872070e8e87c555fa13659cca5d7fadcfcb0023ea889548ca48af2ba7e71", "304402206b01332ddb6edfa9a30a1321d5858e1ee3cf97e263e669f8de5e9652e76ff3f702205939545fced457309a6a04ace2bd0f70139c8f7d86b02cb1cc58f9e69e96cd5a")]
    [InlineData("y is small", "bcbb2914c79f045eaa6ecbbc612816b3be5d2d6796707d8125e9f851c18af015", "000000001352bb4a0fa2ea4cceb9ab63dd684ade5a1127bcf300a698a7193bc2", "3044022031230428405560dcb88fb5a646836aea9b23a23dd973dcbe8014c87b8b20eb0702200f9344d6e812ce166646747694a41b0aaf97374e19f3c5fb8bd7ae3d9bd0beff")]
    [InlineData("y is small, another", "bcbb2914c79f045eaa6ecbbc612816b3be5d2d6796707d8125e9f851c18af015", "000000001352bb4a0fa2ea4cceb9ab63dd684ade5a1127bcf300a698a7193bc2", "304502207e5f0ab5d900d3d3d7867657e5d6d36519bc54084536e7d21c336ed8001859450221009450c07f201faec94b82dfb322e5ac676688294aad35aa72e727ff0b19b646aa")]
    public void Published_signatures_of_keys_with_extreme_coordinates_hold(string what, string x, string y, string signature)
    {
        var key = new P256Key(Convert.FromHexString(x), Convert.FromHexString(y));
        Check(key, "Message"u8.ToArray(), Convert.FromHexString(signature)).Should().BeTrue(what);
        Check(key, "message"u8.ToArray(), Convert.FromHexString(signature)).Should().BeFalse(what);
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

    /// <summary>100,000 signatures in lists as long as verifying makes them: valid ones, single bits changed in signature or data, numbers at their ends put in.</summary>
    [Fact]
    [Trait("Kind", "Slow")]
    public void A_hundred_thousand_signatures_are_judged_as_the_system_judges_them()
    {
        const int Lists = 100;
        var random = new Random(72);
        var held = 0;
        for (var list = 0; list < Lists; list++)
        {
            var keys = Enumerable.Range(0, 4).Select(_ => ECDsa.Create(ECCurve.NamedCurves.nistP256)).ToArray();
            var verifiers = Array.ConvertAll(keys, k => new VerificationKey(k));
            var tables = Array.ConvertAll(verifiers, v => v.ForMany());
            var items = new List<P256Item>();
            var system = new List<bool>();
            for (var i = 0; i < 1000; i++)
            {
                var k = random.Next(keys.Length);
                var data = new byte[random.Next(300)];
                random.NextBytes(data);
                var (changedData, changed) = Changed(random, data, keys[k].SignData(data, HashAlgorithmName.SHA256, DSASignatureFormat.Rfc3279DerSequence));
                items.Add(new P256Item(tables[k], changedData, changed));
                system.Add(verifiers[k].Verify(changedData, changed));
            }

            P256Key.Check(items);
            items.Select(i => i.Holds).Should().Equal(system);
            held += system.Count(s => s);
            Array.ForEach(verifiers, v => v.Dispose());
        }

        // Kinds 0 to 3 of eight hold, and some changes of kind 4 meet nothing.
        held.Should().BeGreaterThan(Lists * 450);
    }

    private static (byte[] Data, byte[] Signature) Changed(Random random, byte[] data, byte[] signature)
    {
        var (r, s) = Read(signature);
        var ends = new[] { BigInteger.Zero, 1, s_order - 1, s_order, s_order + 1, s_prime - 1, s_prime, (BigInteger.One << 256) - 1, r + s_order, s + s_order, s_order - r, s_order - s };
        switch (random.Next(8))
        {
            case 0 or 1 or 2:
                return (data, signature);
            case 3:
                // Both s and n - s hold: the higher and the lower.
                return (data, Der(r, s_order - s));
            case 4:
                var bits = (byte[])signature.Clone();
                bits[random.Next(bits.Length)] ^= (byte)(1 << random.Next(8));
                return (data, bits);
            case 5:
                return ([.. data, (byte)random.Next(256)], signature);
            case 6:
                return (data, Der(ends[random.Next(ends.Length)], s));
            default:
                return (data, Der(r, ends[random.Next(ends.Length)]));
        }
    }

    /// <summary>
    /// Numbers at the ends of their range, and keys beside the generator, whose sums meet equal and opposite points: nothing is held that the system
    /// refuses; what meets an equal point is left to the system.
    /// </summary>
    [Fact]
    public void Extreme_numbers_and_keys_beside_the_generator_hold_only_where_the_system_says_so()
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
            var system = signatures.ConvertAll(s => verifier.Verify(data, s));
            items.Zip(system).Should().OnlyContain(pair => pair.Second || !pair.First.Holds, "of the key {0}", secret);
            system.Count(s => s).Should().BeGreaterThanOrEqualTo(5, "those made to hold do");
            (system.Count(s => s) - items.Count(i => i.Holds)).Should().BeLessThanOrEqualTo(3, "of the key {0} at most so many meet an equal point", secret);
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
