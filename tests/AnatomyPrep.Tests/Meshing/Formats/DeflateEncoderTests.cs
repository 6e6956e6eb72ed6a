using System.IO.Compression;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Formats;

/// <summary>The decoder beside it is the library's.</summary>
public sealed class DeflateEncoderTests
{
    [Fact]
    [Trait("Kind", "Property")]
    public void Any_bytes_in_any_stretches_come_back() => Gen.Select(Gen.Byte[0, 3].Array[0, 600], Gen.Byte.Array[0, 300], Gen.Int[0, 900]).Sample(
        (few, many, cut) =>
        {
            byte[] all = [.. few, .. many, .. few];
            cut = Math.Min(cut, all.Length);
            Unpack([new DeflateEncoder().Pack(all.AsSpan(0, cut)), new DeflateEncoder().Pack(all.AsSpan(cut))]).Should().Equal(all);
        },
        iter: 500,
        threads: 1);

    public static TheoryData<string> Kinds => ["zeros", "noise", "text", "window", "fibonacci", "longest"];

    [Theory]
    [Trait("Kind", "Truth")]
    [MemberData(nameof(Kinds))]
    public void Large_inputs_of_every_kind_come_back(string kind)
    {
        var bytes = Sample(kind);
        // The same encoder twice: nothing of the first stretch may show in the second.
        var encoder = new DeflateEncoder();
        var first = encoder.Pack(bytes);
        encoder.Pack(bytes).Should().Equal(first);
        Unpack([first]).AsSpan().SequenceEqual(bytes).Should().BeTrue();
        if (kind == "noise")
            first.Length.Should().BeLessThan(bytes.Length + (bytes.Length / 50), "literals of random bytes take 8 bits each, and headers little");
        if (kind == "zeros")
            first.Length.Should().BeLessThan(bytes.Length / 200, "a match of 258 takes a bit for its length, one for its distance of 258 and seven for the rest of that: 872 bytes");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void The_packed_bytes_are_the_same_on_every_machine()
    {
        // Fixed once: a change here changes the hash of every 3MF file, and has to be told to the users.
        var text = new StringBuilder();
        for (var i = 0; i < 5000; i++)
            text.Append($"<triangle v1=\"{i}\" v2=\"{i + 1}\" v3=\"{(i * 7919) % 5000}\"/>");
        Convert.ToHexStringLower(SHA256.HashData(new DeflateEncoder().Pack(Encoding.ASCII.GetBytes(text.ToString())))).Should().Be("87dac7f55f79ff7b9f992f0a5f940461ebe0bf77dacd89c31efe94474d594d02");
    }

    /// <summary>Check value of CRC-32 for the digits 1 to 9: ITU-T V.42, from memory; cbf43926.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Checksum_of_the_digits_is_the_published_one() => Crc32.Append(0, "123456789"u8).Should().Be(0xCBF4_3926);

    [Fact]
    [Trait("Kind", "Property")]
    public void Checksums_of_two_stretches_join_to_that_of_the_whole() => Gen.Select(Gen.Byte.Array[0, 200], Gen.Byte.Array[0, 200]).Sample(
        (a, b) =>
        {
            var whole = Crc32.Append(0, [.. a, .. b]);
            Crc32.Join(Crc32.Append(0, a), Crc32.Append(0, b), b.Length).Should().Be(whole);
            Crc32.Append(Crc32.Append(0, a), b).Should().Be(whole);
        },
        iter: 500,
        threads: 1);

    private static byte[] Sample(string kind)
    {
        var random = new Random(5);
        var bytes = new byte[200_000];
        switch (kind)
        {
            case "noise":
                random.NextBytes(bytes);
                break;
            case "text":
                for (var i = 0; i < bytes.Length; i++)
                    bytes[i] = (byte)"<vertex x=\"0123456789.-\"/>"[i % 11 == 0 ? random.Next(26) : i % 26];
                break;
            case "window":
                // Repeats exactly one window apart, and one byte farther, which must not be matched.
                random.NextBytes(bytes.AsSpan(0, 32_768));
                bytes.AsSpan(0, 32_768).CopyTo(bytes.AsSpan(32_768));
                bytes.AsSpan(0, 32_768).CopyTo(bytes.AsSpan(65_537));
                break;
            case "fibonacci":
                // Counts that grow like Fibonacci's numbers make the deepest tree there is: its codes must be cut to 15 bits.
                var at = 0;
                for (int symbol = 0, count = 1, next = 1; symbol < 24 && at < bytes.Length; symbol++, (count, next) = (next, count + next))
                    for (var i = 0; i < count && at < bytes.Length; i++, at += 1)
                        bytes[at] = (byte)symbol;
                random.Shuffle(bytes);
                break;
            case "longest":
                for (var i = 0; i < bytes.Length; i++)
                    bytes[i] = (byte)(i % 300 == 0 ? random.Next(256) : 7);
                break;
        }

        return bytes;
    }

    private static byte[] Unpack(byte[][] stretches)
    {
        using var packed = new MemoryStream([.. stretches.SelectMany(s => s), .. DeflateEncoder.End]);
        using var inflate = new DeflateStream(packed, CompressionMode.Decompress);
        using var unpacked = new MemoryStream();
        inflate.CopyTo(unpacked);
        return unpacked.ToArray();
    }
}
