using AnatomyPrep.Imaging.Acquire;
using CsCheck;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Run-length decoding, and what is asked of a code stream before a decoder sees it.</summary>
public sealed class CodecTests
{
    [Fact]
    [Trait("Kind", "Property")]
    public void Run_length_coding_comes_back_whole_and_every_prefix_is_refused()
    {
        Gen.Select(Gen.UShort[0, 5].Array[1, 300], Gen.Int[1, 2]).Sample((values, bytesPerSample) =>
        {
            var words = bytesPerSample == 1 ? values : [.. values.Select(v => (ushort)(v * 257 * 5))];
            var frame = Encode(words, bytesPerSample);
            var decoded = new ushort[words.Length];
            RunLengthDecoder.Decode(frame, bytesPerSample, decoded);
            decoded.Should().Equal(words);
            for (var length = 0; length < frame.Length; length += 1 + (frame.Length / 40))
                FluentActions.Invoking(() => RunLengthDecoder.Decode(frame.AsSpan(0, length), bytesPerSample, decoded)).Should().Throw<InvalidDataException>();
        });
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Run_length_rubbish_never_leaves_its_planes()
    {
        var random = new Random(3);
        var decoded = new ushort[64];
        for (var round = 0; round < 2000; round++)
        {
            var frame = Encode(new ushort[64], 2);
            frame[random.Next(frame.Length)] = (byte)random.Next(256);
            try
            {
                RunLengthDecoder.Decode(frame, 2, decoded);
            }
            catch (InvalidDataException)
            {
                // The only exception there may be.
            }
        }
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [Trait("Needs", "Shared")]
    [InlineData("jpeg-lossless-sv1", 12)]
    [InlineData("jpeg-ls-lossless", 12)]
    [InlineData("j2k-lossless", 12)]
    public void Code_streams_are_measured_and_cut_ones_refused(string twin, int bits)
    {
        var data = new MemoryBytes(File.ReadAllBytes(SharedData.File($"data/dicom-syntax/twins/{twin}.dcm")));
        var header = HeaderWalker.Read(data);
        var fragment = header.Pixels!.Fragments.Should().ContainSingle().Subject;
        var code = data.Read(fragment.Offset, (int)fragment.Length).ToArray();
        var coding = header.Syntax.Coding;
        CodeStream.Inspect(code, coding, 512, 512).Precision.Should().BeOneOf(bits, 16);
        FluentActions.Invoking(() => CodeStream.Inspect(code, coding, 512, 511)).Should().Throw<InvalidDataException>().WithMessage("*512 x 512*512*511*".Replace("512*511", "511 x 512"));
        for (var length = 0; length < code.Length - 2; length += 1 + (length / 20))
            FluentActions.Invoking(() => CodeStream.Inspect(code.AsSpan(0, length), coding, 512, 512)).Should().Throw<InvalidDataException>("only {0} bytes are there", length);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    [Trait("Needs", "Shared")]
    public void Single_byte_changes_of_code_stream_headers_throw_nothing_else()
    {
        var random = new Random(5);
        foreach (var twin in new[] { "jpeg-lossless-sv1", "jpeg-ls-lossless", "j2k-lossless" })
        {
            var data = new MemoryBytes(File.ReadAllBytes(SharedData.File($"data/dicom-syntax/twins/{twin}.dcm")));
            var header = HeaderWalker.Read(data);
            var fragment = header.Pixels!.Fragments[0];
            for (var round = 0; round < 500; round++)
            {
                var code = data.Read(fragment.Offset, (int)fragment.Length).ToArray();
                code[random.Next(140)] = (byte)random.Next(256);
                try
                {
                    CodeStream.Inspect(code, header.Syntax.Coding, 512, 512);
                    if (header.Syntax.Coding != PixelCoding.Jpeg2000)
                        CodeStream.StripComments(code).Should().BeLessThanOrEqualTo(code.Length);
                }
                catch (InvalidDataException)
                {
                    // The only exception there may be.
                }
            }
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Comments_are_taken_out_of_a_stream_and_nothing_else()
    {
        byte[] table = [0xFF, 0xC4, 0, 4, 1, 2], frame = [0xFF, 0xC3, 0, 11, 12, 0, 4, 0, 4, 1, 1, 0x11, 0], scan = [0xFF, 0xDA, 0, 3, 1, 9, 9, 0xFF, 0xD9];
        byte[] jfif = [0xFF, 0xE0, 0, 4, 7, 7], comment = [0xFF, 0xFE, 0, 3, 65];
        byte[] code = [0xFF, 0xD8, .. jfif, .. table, .. comment, .. frame, .. jfif, .. scan];
        CodeStream.Inspect(code, PixelCoding.Jpeg, 4, 4).Precision.Should().Be(12);
        var length = CodeStream.StripComments(code);
        code[..length].Should().Equal([0xFF, 0xD8, .. table, .. frame, .. scan]);
    }

    /// <summary>PackBits per byte plane (DICOM PS3.5 G.3.1), greedy: runs of two and more, else literals.</summary>
    private static byte[] Encode(ushort[] words, int bytesPerSample)
    {
        var planes = Enumerable.Range(0, bytesPerSample).Select(p => EncodePlane([.. words.Select(w => (byte)(w >> (8 * (bytesPerSample - 1 - p))))])).ToArray();
        var header = new byte[64];
        BitConverter.TryWriteBytes(header, bytesPerSample);
        var at = 64;
        for (var p = 0; p < bytesPerSample; p++)
        {
            BitConverter.TryWriteBytes(header.AsSpan(4 + (4 * p)), at);
            at += planes[p].Length;
        }

        return [.. header, .. planes.SelectMany(p => p)];
    }

    private static byte[] EncodePlane(byte[] plane)
    {
        var coded = new List<byte>();
        for (var i = 0; i < plane.Length;)
        {
            var run = 1;
            while (run < 128 && i + run < plane.Length && plane[i + run] == plane[i])
                run++;
            if (run > 1)
                coded.AddRange([(byte)(1 - run), plane[i]]);
            else
                coded.AddRange([0, plane[i]]);
            i += run;
        }

        return [.. coded];
    }
}
