using AnatomyPrep.Imaging.Acquire;
using CsCheck;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Stored words to HU, against the rule written down sample by sample.</summary>
public sealed class StoredToHuTests
{
    /// <summary>Sign from Bits Stored, not from Bits Allocated: 12-bit 0xC18 and 16-bit 0xFC18 are both -1000 (DICOM PS3.5 8.1.1).</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(16, 12, 11, true, 0x0C18, -1000)]
    [InlineData(16, 12, 11, true, 0xFC18, -1000)]
    [InlineData(16, 16, 15, true, 0xFC18, -1000)]
    [InlineData(16, 12, 11, false, 0xFC18, 0xC18)]
    [InlineData(16, 12, 15, false, 0xFFF0, 4095)]
    [InlineData(16, 12, 15, true, 0xC180, -1000)]
    [InlineData(8, 8, 7, false, 200, 200)]
    [InlineData(8, 8, 7, true, 200, -56)]
    public void Stored_bits_are_cut_out_and_sign_extended(int allocated, int stored, int high, bool signed, int word, int expected)
    {
        var hu = new short[1];
        new StoredToHu(new PixelLayout(allocated, stored, high, signed, null, null), 1, 0).Convert([(ushort)word], hu);
        hu[0].Should().Be((short)expected);
    }

    /// <summary>Test points of the 12-bit scale: slope 1, intercept -1024 (computed by hand).</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Twelve_bit_scale_has_its_fixed_points()
    {
        var hu = new short[4];
        new StoredToHu(new PixelLayout(16, 12, 11, false, null, null), 1, -1024).Convert([0, 1024, 1250, 4095], hu);
        hu.Should().Equal(-1024, 0, 226, 3071);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Conversion_and_counts_equal_the_rule_sample_by_sample()
    {
        var layouts = Gen.Select(Gen.Int[1, 16], Gen.Int[0, 15], Gen.Bool, Gen.Int[0, 65535]).Select((bits, room, signed, padding) =>
            new PixelLayout(16, bits, Math.Min(15, bits - 1 + room), signed, padding, null));
        var scales = Gen.Select(Gen.OneOf(Gen.Const(1.0), Gen.Double[-4, 40]), Gen.OneOf(Gen.Const(-1024.0), Gen.Double[-2000, 2000]));
        Gen.Select(layouts, scales, Gen.UShort.Array[1, 50]).Sample((layout, scale, words) =>
        {
            if (scale.Item1 == 0)
                return;
            var hu = new short[words.Length];
            var counts = new StoredToHu(layout, scale.Item1, scale.Item2).Convert(words, hu);
            var exact = words.Select(w => (scale.Item1 * Stored(layout, w)) + scale.Item2).ToArray();
            var rounded = exact.Select(e => Math.Round(e, MidpointRounding.ToEven)).ToArray();
            hu.Should().Equal(rounded.Select(r => (short)Math.Clamp(r, short.MinValue, short.MaxValue)));
            counts.MinHu.Should().Be(hu.Min());
            counts.MaxHu.Should().Be(hu.Max());
            counts.Clamped.Should().Be(rounded.Count(r => r is < short.MinValue or > short.MaxValue));
            counts.LargestRoundingHu.Should().Be(exact.Zip(rounded).Max(p => Math.Abs(p.First - p.Second)));
            counts.LargestRoundingHu.Should().BeLessThanOrEqualTo(0.5);
            counts.Padded.Should().Be(words.Count(w => Stored(layout, w) == Stored(layout, (ushort)layout.PaddingWord!.Value)));
        });
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Padding_is_the_same_word_whether_its_writer_called_it_signed_or_not()
    {
        // 63536 as US is -2000 as SS.
        var hu = new short[3];
        var counts = new StoredToHu(new PixelLayout(16, 16, 15, true, 63536, null), 1, -1024).Convert([63536, 0, 100], hu);
        counts.Padded.Should().Be(1);
        counts.MaxPaddedHu.Should().Be(-3024);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Padding_may_be_a_range_written_in_either_order()
    {
        var hu = new short[4];
        new StoredToHu(new PixelLayout(16, 12, 11, false, 20, 10), 1, 0).Convert([9, 10, 15, 21], hu).Padded.Should().Be(2);
    }

    private static int Stored(PixelLayout layout, ushort word)
    {
        var value = 0;
        for (var bit = 0; bit < layout.BitsStored; bit++)
            value |= ((word >> (layout.HighBit - layout.BitsStored + 1 + bit)) & 1) << bit;
        return layout.Signed && (value & (1 << (layout.BitsStored - 1))) != 0 ? value - (1 << layout.BitsStored) : value;
    }
}
