using System.Formats.Asn1;
using System.Globalization;
using System.Numerics;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using CsCheck;

namespace AnatomyPrep.Tests.Records.Envelopes;

public sealed class DsseTests
{
    // Test vector of secure-systems-lab/dsse, protocol.md 1.0.2; the SHA-256 of the PAE computed with openssl.
    private const string VectorType = "http://example.com/HelloWorld";
    private const string VectorPae = "DSSEv1 29 http://example.com/HelloWorld 11 hello world";
    private const string VectorPaeSha256 = "217751fac2c4f14edb2c9297fbc34abcb016ba88e74757e875ec4ac16fb6b6a1";
    private const string VectorX = "46950820868899156662930047687818585632848591499744589407958293238635476079160";
    private const string VectorY = "5640078356564379163099075877009565129882514886557779369047442380624545832820";
    private const string VectorSignature = "A3JqsQGtVsJ2O2xqrI5IcnXip5GToJ3F+FnZ+O88SjtR6rDAajabZKciJTfUiHqJPcIAriEGAHTVeCUjW2JIZA==";

    private static readonly SigningKey s_key = SigningKey.Create();
    private static readonly SigningKey s_other = SigningKey.Create();

    [Fact]
    [Trait("Kind", "Outside")]
    public void Pae_is_that_of_the_specification()
    {
        var pae = Dsse.Pae(VectorType, "hello world"u8);
        Encoding.UTF8.GetString(pae).Should().Be(VectorPae);
        Convert.ToHexStringLower(SHA256.HashData(pae)).Should().Be(VectorPaeSha256);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Lengths_in_the_Pae_count_bytes_and_not_characters()
    {
        Encoding.UTF8.GetString(Dsse.Pae("größe", "é😂"u8)).Should().Be("DSSEv1 7 größe 6 é😂");
        Encoding.UTF8.GetString(Dsse.Pae("", [])).Should().Be("DSSEv1 0  0 ");
    }

    /// <summary>The vector gives r ‖ s; envelopes of this program hold the same two numbers as DER.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Signature_of_the_specification_holds()
    {
        using var key = VectorKey();
        var envelope = Envelope(VectorType, "hello world", ToDer(Convert.FromBase64String(VectorSignature)), "http://example.com/key/1");
        Encoding.UTF8.GetString(Dsse.Verify(envelope, [key]).Bytes).Should().Be("hello world");
        var changed = Envelope(VectorType, "hello worle", ToDer(Convert.FromBase64String(VectorSignature)), null);
        var verify = () => Dsse.Verify(changed, [key]);
        verify.Should().Throw<CheckFailedException>();
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void What_was_signed_is_given_back_whatever_its_type_and_bytes() =>
        Gen.Select(Gen.String[Gen.Char.AlphaNumeric, 0, 20], Gen.Byte.Array[0, 200]).Sample((type, payload) =>
        {
            var envelope = DsseEnvelope.Parse(Dsse.Sign(type, payload, s_key).ToBytes());
            using var key = s_key.PublicKey();
            var verified = Dsse.Verify(envelope, [key]);
            verified.PayloadType.Should().Be(type);
            verified.Bytes.ToArray().Should().Equal(payload);
            verified.Signers.Single().KeyId.Should().Be(s_key.KeyId);
        }, iter: 100);

    [Fact]
    public void Type_and_payload_cannot_lend_each_other_bytes()
    {
        var signature = Dsse.Sign("ab", "c"u8, s_key).Signatures[0].Bytes;
        using var key = s_key.PublicKey();
        var verify = () => Dsse.Verify(Envelope("a", "bc", signature, null), [key]);
        verify.Should().Throw<CheckFailedException>();
    }

    [Fact]
    public void Key_hint_is_not_trusted()
    {
        var signature = Dsse.Sign("t", "body"u8, s_key).Signatures[0].Bytes;
        using var key = s_key.PublicKey();
        using var other = s_other.PublicKey();
        Dsse.Verify(Envelope("t", "body", signature, s_other.KeyId), [other, key]).Signers.Should().ContainSingle().Which.KeyId.Should().Be(s_key.KeyId);
        var forged = () => Dsse.Verify(Envelope("t", "body", signature, s_other.KeyId), [other]);
        forged.Should().Throw<CheckFailedException>();
    }

    [Fact]
    public void Two_signatures_of_one_key_count_once()
    {
        var envelope = Dsse.Sign("t", "body"u8, s_key, s_key);
        envelope.Signatures.Should().HaveCount(2);
        using var key = s_key.PublicKey();
        using var again = s_key.PublicKey();
        using var other = s_other.PublicKey();
        var verify = () => Dsse.Verify(envelope, [key, again, other], threshold: 2);
        verify.Should().Throw<CheckFailedException>().Which.Found.Should().Be("1");
        Dsse.Verify(Dsse.Sign("t", "body"u8, s_key, s_other), [key, other], threshold: 2).Signers.Should().HaveCount(2);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Openssl_takes_the_signature_as_it_is()
    {
        using var folder = new TestFolder();
        var envelope = Dsse.Sign(Dsse.InTotoPayloadType, "{\"é\":1}"u8, s_key);
        File.WriteAllBytes(folder["signed"], Dsse.Pae(envelope.PayloadType, envelope.Payload));
        File.WriteAllBytes(folder["signature"], envelope.Signatures[0].Bytes);
        File.WriteAllText(folder["key.pem"], s_key.PublicPem);
        Tool.Run(folder.Path, "openssl", "dgst", "-sha256", "-verify", "key.pem", "-signature", "signature", "signed")
            .Output.Should().Contain("Verified OK");
        File.AppendAllText(folder["signed"], " ");
        Tool.Run(folder.Path, "openssl", "dgst", "-sha256", "-verify", "key.pem", "-signature", "signature", "signed")
            .ExitCode.Should().NotBe(0);
    }

    [Fact]
    public void Base64_is_read_in_either_alphabet_and_written_in_the_standard_one()
    {
        byte[] payload = [0xfb, 0xff, 0xfe, 0xff];
        foreach (var text in new[] { "+//+/w==", "-__-_w==", "-__-_w" })
        {
            var envelope = DsseEnvelope.Parse(Json(text));
            envelope.Payload.ToArray().Should().Equal(payload);
            Encoding.UTF8.GetString(envelope.ToBytes()).Should().Contain("\"+//+/w==\"");
        }
    }

    [Theory]
    [InlineData("+//+/w")] // padding missing
    [InlineData("+//+/w=")]
    [InlineData("+//+/w===")]
    [InlineData("+//+/x==")] // unused bits not zero
    [InlineData("-__-_x")]
    [InlineData("+/_+/w==")] // alphabets mixed
    [InlineData("+//+ /w==")]
    [InlineData("+//+/w==\\n")]
    [InlineData("=+//+/w=")]
    [InlineData("+//+/w==AAAA")]
    [InlineData("A")]
    [InlineData("é")]
    [Trait("Kind", "Hostile")]
    public void Base64_that_can_be_read_two_ways_is_refused(string text)
    {
        var parse = () => DsseEnvelope.Parse(Json(text));
        parse.Should().Throw<CheckFailedException>().Which.Expected.Should().Be("strict base64");
    }

    [Theory]
    [InlineData("[]")]
    [InlineData("{}")]
    [InlineData("null")]
    [InlineData("{\"payload\":\"\",\"payloadType\":\"t\",\"signatures\":[]}")]
    [InlineData("{\"payload\":\"\",\"payloadType\":\"t\",\"signatures\":{}}")]
    [InlineData("{\"payload\":\"\",\"payloadType\":\"t\",\"signatures\":[null]}")]
    [InlineData("{\"payload\":\"\",\"payloadType\":\"t\",\"signatures\":[{}]}")]
    [InlineData("{\"payload\":\"\",\"payloadType\":\"t\",\"signatures\":[{\"sig\":5}]}")]
    [InlineData("{\"payload\":\"\",\"payloadType\":\"t\",\"signatures\":[{\"sig\":\"\",\"keyid\":5}]}")]
    [InlineData("{\"payload\":\"\",\"payloadType\":5,\"signatures\":[{\"sig\":\"\"}]}")]
    [InlineData("{\"payload\":null,\"payloadType\":\"t\",\"signatures\":[{\"sig\":\"\"}]}")]
    [InlineData("{\"payloadType\":\"t\",\"signatures\":[{\"sig\":\"\"}]}")]
    [InlineData("{\"payload\":\"\",\"payload\":\"\",\"payloadType\":\"t\",\"signatures\":[{\"sig\":\"\"}]}")]
    [Trait("Kind", "Hostile")]
    public void Json_that_is_no_envelope_is_refused(string json)
    {
        var parse = () => DsseEnvelope.Parse(Encoding.UTF8.GetBytes(json));
        parse.Should().Throw<CheckFailedException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_prefix_of_a_signature_and_every_extra_byte_is_refused()
    {
        var signature = Dsse.Sign("t", "body"u8, s_key).Signatures[0].Bytes;
        using var key = s_key.PublicKey();
        var signed = Dsse.Pae("t", "body"u8);
        key.Verify(signed, signature).Should().BeTrue();
        for (var length = 0; length < signature.Length; length++)
            key.Verify(signed, signature.AsSpan(0, length)).Should().BeFalse();
        for (var bit = 0; bit < 8 * signature.Length; bit++)
        {
            var changed = signature.ToArray();
            changed[bit / 8] ^= (byte)(1 << (bit % 8));
            key.Verify(signed, changed).Should().BeFalse("of bit {0}", bit);
        }

        key.Verify(signed, [.. signature, 0]).Should().BeFalse();
        // r with a needless leading zero: the same number, but not DER.
        var bloated = new byte[] { 0x30, (byte)(signature[1] + 1), 0x02, (byte)(signature[3] + 1), 0x00 };
        key.Verify(signed, [.. bloated, .. signature[4..]]).Should().BeFalse();
    }

    private static byte[] Json(string payload) =>
        Encoding.UTF8.GetBytes($$"""{"payload":"{{payload}}","payloadType":"t","signatures":[{"sig":"AA=="}]}""");

    private static DsseEnvelope Envelope(string type, string payload, byte[] signature, string? keyId)
    {
        var fields = new System.Text.Json.Nodes.JsonObject { ["sig"] = Convert.ToBase64String(signature) };
        if (keyId is not null)
            fields["keyid"] = keyId;
        return DsseEnvelope.Parse(CanonicalJson.Write(new System.Text.Json.Nodes.JsonObject
        {
            ["payload"] = Convert.ToBase64String(Encoding.UTF8.GetBytes(payload)),
            ["payloadType"] = type,
            ["signatures"] = new System.Text.Json.Nodes.JsonArray(fields),
        }));
    }

    private static VerificationKey VectorKey()
    {
        using var key = ECDsa.Create(new ECParameters
        {
            Curve = ECCurve.NamedCurves.nistP256,
            Q = new ECPoint { X = Unsigned(VectorX), Y = Unsigned(VectorY) },
        });
        return VerificationKey.FromPem(key.ExportSubjectPublicKeyInfoPem(), "vector");
    }

    private static byte[] Unsigned(string number)
    {
        var bytes = BigInteger.Parse(number, CultureInfo.InvariantCulture).ToByteArray(isUnsigned: true, isBigEndian: true);
        return [.. new byte[32 - bytes.Length], .. bytes];
    }

    private static byte[] ToDer(byte[] rs)
    {
        var writer = new AsnWriter(AsnEncodingRules.DER);
        using (writer.PushSequence())
        {
            writer.WriteInteger(new BigInteger(rs.AsSpan(0, 32), isUnsigned: true, isBigEndian: true));
            writer.WriteInteger(new BigInteger(rs.AsSpan(32), isUnsigned: true, isBigEndian: true));
        }

        return writer.Encode();
    }
}
