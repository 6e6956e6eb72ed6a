using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Broken, cut and hostile headers end in a fault or in facts, never in an exception or a long walk.</summary>
public sealed class HeaderWalkerTests
{
    private static readonly byte[] s_salt = [1, 2, 3];

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(TestCt.ExplicitLittle)]
    [InlineData(TestCt.ImplicitLittle)]
    [InlineData(TestCt.ExplicitBig)]
    public void Every_prefix_of_a_slice_is_a_fault(string syntax)
    {
        var whole = TestCt.Slice(3, 3).Bytes(syntax);
        Scan(whole).Fault.Should().BeNull();
        for (var length = 0; length < whole.Length; length++)
            Scan(whole[..length]).Fault.Should().NotBeNull("{0} of {1} bytes were given", length, whole.Length);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Bytes_after_the_pixel_data_change_nothing()
    {
        var whole = TestCt.Slice(3, 3).Bytes();
        Scan([.. whole, 0, 1, 2, 255, 255]).Should().BeEquivalentTo(Scan(whole));
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(TestCt.ExplicitLittle)]
    [InlineData(TestCt.ImplicitLittle)]
    [InlineData(TestCt.ExplicitBig)]
    [InlineData(TestCt.Deflated)]
    public void Single_byte_changes_never_throw(string syntax)
    {
        var whole = TestCt.Slice(3, 3).With(Tag.SliceThickness, "DS", "1").Bytes(syntax);
        var random = new Random(7);
        for (var round = 0; round < 400; round++)
        {
            var mutant = (byte[])whole.Clone();
            var at = 128 + random.Next(whole.Length - 128);
            mutant[at] = (byte)random.Next(256);
            var scan = Scan(mutant);
            (scan.Ct is not null || scan.Fault is not null).Should().BeTrue("byte {0} became {1}", at, mutant[at]);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    [Trait("Needs", "Shared")]
    public void Single_byte_changes_of_an_enhanced_header_never_throw()
    {
        var whole = File.ReadAllBytes(SharedData.File("data/dicom-syntax/enhanced/CT0012.fragmented_no_bot_jpeg_ls.80.dcm"));
        var random = new Random(8);
        for (var round = 0; round < 400; round++)
        {
            var at = 128 + random.Next(6000);
            var kept = whole[at];
            whole[at] = (byte)random.Next(256);
            var scan = Scan(whole);
            (scan.Ct is not null || scan.Fault is not null).Should().BeTrue("byte {0} became {1}", at, whole[at]);
            whole[at] = kept;
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Sequences_nested_a_hundred_thousand_deep_are_refused()
    {
        var bomb = new MemoryStream();
        for (var i = 0; i < 100_000; i++)
            bomb.Write([0x08, 0x00, 0x40, 0x11, (byte)'S', (byte)'Q', 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFE, 0xFF, 0x00, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF]);
        var fault = HeaderWalker.Read(new MemoryBytes(WithMeta(bomb.ToArray()))).Fault;
        fault!.Value.Should().Contain("nested deeper");
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(0xFFFF_FFFEu)]
    [InlineData(0x7FFF_FFFFu)]
    [InlineData(40u)]
    public void Lengths_that_lie_are_not_followed(uint length)
    {
        byte[] element = [0x09, 0x00, 0x10, 0x10, (byte)'U', (byte)'N', 0, 0, .. BitConverter.GetBytes(length), .. new byte[20]];
        HeaderWalker.Read(new MemoryBytes(WithMeta(element))).Fault!.Code.Should().Be(FindingCodes.FileTruncated);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_item_longer_than_its_sequence_is_refused()
    {
        // A shared functional group of 16 bytes whose item claims 64; the file itself is long enough.
        byte[] sequence = [0x00, 0x52, 0x29, 0x92, (byte)'S', (byte)'Q', 0, 0, 16, 0, 0, 0, 0xFE, 0xFF, 0x00, 0xE0, 64, 0, 0, 0, .. new byte[200]];
        HeaderWalker.Read(new MemoryBytes(WithMeta(sequence))).Fault!.Value.Should().Contain("longer than");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_attribute_that_stands_twice_with_two_values_is_refused()
    {
        var whole = TestCt.Slice(1, 1).Bytes();
        var spacing = Encoding.ASCII.GetBytes("0.5\\0.75");
        var at = whole.AsSpan().IndexOf(spacing) - 8;
        byte[] second = [.. whole.AsSpan(at, 8), .. Encoding.ASCII.GetBytes("0.7\\0.75")];
        var fault = Scan([.. whole.AsSpan(0, at), .. second, .. whole.AsSpan(at)]).Fault;
        fault!.Field.Should().Be("Pixel Spacing (0028,0030)");
        fault.Value.Should().Be("stands twice with different values");
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(true)]
    [InlineData(false)]
    public void Undefined_length_sequences_are_walked_through(bool unknown)
    {
        // Private sequence of undefined length; as UN its content is implicit VR (PS3.5 6.2.2).
        byte[] inner = unknown
            ? [0x09, 0x00, 0x02, 0x10, 4, 0, 0, 0, 1, 2, 3, 4]
            : [0x09, 0x00, 0x02, 0x10, (byte)'L', (byte)'O', 4, 0, 1, 2, 3, 4];
        byte[] vr = unknown ? "UN"u8.ToArray() : "SQ"u8.ToArray();
        byte[] sequence =
        [
            0x09, 0x00, 0x01, 0x10, .. vr, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF,
            0xFE, 0xFF, 0x00, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF, .. inner, 0xFE, 0xFF, 0x0D, 0xE0, 0, 0, 0, 0,
            0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0,
        ];
        var whole = TestCt.Slice(1, 1).Bytes();
        var at = whole.AsSpan().IndexOf<byte>([0x10, 0x00, 0x10, 0x00]);
        Scan([.. whole.AsSpan(0, at), .. sequence, .. whole.AsSpan(at)]).Should().BeEquivalentTo(Scan(whole));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_data_set_without_file_meta_information_is_read_and_said_so()
    {
        var whole = TestCt.Slice(1, 1).Without(Tag.ImageType).Bytes();
        var start = whole.AsSpan().IndexOf<byte>([0x08, 0x00, 0x16, 0x00]);
        var scan = Scan(whole[start..]);
        scan.Fault.Should().BeNull();
        scan.Ct!.HasMeta.Should().BeFalse();
        scan.Ct.Rows.Should().Be(TestCt.Rows);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("hello, this is no picture")]
    [InlineData("")]
    [InlineData("DIC")]
    public void Other_files_are_not_DICOM(string text) =>
        Scan(Encoding.ASCII.GetBytes(text)).Fault!.Code.Should().Be(FindingCodes.FileNotDicom);

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(Tag.Rows, 0)]
    [InlineData(Tag.Columns, 60000)]
    [InlineData(Tag.BitsAllocated, 32)]
    [InlineData(Tag.BitsStored, 17)]
    [InlineData(Tag.HighBit, 16)]
    [InlineData(Tag.SamplesPerPixel, 3)]
    public void Pixel_layouts_that_are_no_CT_are_refused_by_name(uint tag, int value)
    {
        var fault = Scan(TestCt.Slice(1, 1).With(tag, value).Bytes()).Fault!;
        fault.Code.Should().Be(FindingCodes.PixelLayoutUnsupported);
        fault.Field.Should().Be(Tag.Name(tag));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Declared_length_of_pixel_data_is_measured_against_rows_and_columns()
    {
        var shorter = TestCt.Slice(1, 1).WithPixels(new ushort[40]).Bytes();
        Scan(shorter).Fault!.Value.Should().Be("80 of the 96 bytes that rows x columns x bits need");
        Scan(TestCt.Slice(1, 1).WithPixels(new ushort[60]).Bytes()).Ct!.ExtraPixelBytes.Should().Be(24);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_deflated_bomb_is_refused()
    {
        // 2 MB of zeros deflate to 2 KB; the limit here is 1 MB (256 MB for a real file).
        var packed = new MemoryStream();
        using (var deflater = new System.IO.Compression.DeflateStream(packed, System.IO.Compression.CompressionLevel.Fastest, leaveOpen: true))
            deflater.Write(new byte[2 << 20]);
        packed.Position = 0;
        FluentActions.Invoking(() => MemoryBytes.Inflate(packed, 1 << 20)).Should().Throw<InvalidDataException>();
        HeaderWalker.Read(new MemoryBytes(WithMeta([1, 2, 3, 4, 5], TestCt.Deflated))).Fault!.Value.Should().Be("cannot be inflated");
    }

    private static ScanResult Scan(byte[] file) => FactsReader.Read(new MemoryBytes(file), s_salt);

    private static byte[] WithMeta(byte[] dataSet, string syntax = TestCt.ExplicitLittle)
    {
        var empty = new TestCt().Bytes(syntax);
        var meta = syntax == TestCt.Deflated ? empty.AsSpan(0, 128 + 4 + 8 + syntax.Length).ToArray() : empty;
        return [.. meta, .. dataSet];
    }
}
