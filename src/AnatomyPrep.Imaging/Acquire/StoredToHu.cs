namespace AnatomyPrep.Imaging.Acquire;

/// <summary>What the samples of one slice hold, counted.</summary>
/// <param name="LargestRoundingHu">Largest distance between slope × stored + intercept and the whole number kept for it.</param>
/// <param name="Clamped">Samples outside int16, set to its nearest end.</param>
/// <param name="Padded">Samples that carry the padding value or lie in the padding range.</param>
/// <param name="AtTop">Samples at the largest value that Bits Stored can hold.</param>
/// <param name="At3071">Samples at 3071 HU, where a 12-bit scale with intercept -1024 ends.</param>
/// <param name="WithUnusedBits">Samples whose word has bits set outside Bits Stored that are not its sign.</param>
internal sealed record SliceCounts(
    short MinHu,
    short MaxHu,
    double LargestRoundingHu,
    long Clamped,
    long Padded,
    short? MaxPaddedHu,
    long AtTop,
    long At3071,
    long WithUnusedBits);

/// <summary>
/// Stored words to HU: cut to Bits Stored, extend the sign, slope × stored + intercept, round to the nearest int16 (ties
/// to even).
/// </summary>
/// <remarks>
/// Rules: DICOM PS3.5 section 8.1.1 (Bits Stored, High Bit), PS3.3 C.7.6.3.1 and C.7.5.1.1.2 (padding, in stored
/// values), C.11.1 (modality rescale). A word has only 65,536 values, so all arithmetic is done once per value in double
/// precision; a slice is one table look-up and one count a sample, and every figure of <see cref="SliceCounts"/>
/// is exact because it comes from the counts. Not for sharing between threads. Memory: 640 KB.
/// </remarks>
internal sealed class StoredToHu
{
    private const int Words = 65536;

    private readonly short[] _hu = new short[Words];
    private readonly double[] _rounding;
    private readonly int[] _counts = new int[2 * Words];
    private readonly PixelLayout _layout;
    private readonly double _slope;
    private readonly double _intercept;

    public StoredToHu(PixelLayout layout, double slope, double intercept)
    {
        (_layout, _slope, _intercept) = (layout, slope, intercept);
        var whole = slope == Math.Floor(slope) && intercept == Math.Floor(intercept);
        _rounding = whole ? [] : new double[Words];
        for (var word = 0; word < Words; word++)
        {
            var exact = Exact(word);
            _hu[word] = (short)Math.Clamp(Math.Round(exact, MidpointRounding.ToEven), short.MinValue, short.MaxValue);
            if (!whole)
                _rounding[word] = Math.Abs(exact - Math.Round(exact, MidpointRounding.ToEven));
        }
    }

    public bool Fits(PixelLayout layout, double slope, double intercept) => layout == _layout && slope == _slope && intercept == _intercept;

    /// <summary>Converts one slice; <paramref name="hu"/> has the length of <paramref name="words"/>.</summary>
    public SliceCounts Convert(ReadOnlySpan<ushort> words, Span<short> hu)
    {
        ArgumentOutOfRangeException.ThrowIfNotEqual(hu.Length, words.Length);
        Array.Clear(_counts);
        // Two tables of counts in turn: neighbouring samples are often equal, and one counter would wait for itself.
        Span<int> even = _counts.AsSpan(0, Words), odd = _counts.AsSpan(Words, Words);
        var table = _hu.AsSpan(0, Words);
        for (var i = 0; i < words.Length; i++)
        {
            int word = words[i];
            hu[i] = table[word];
            if ((i & 1) == 0)
                even[word]++;
            else
                odd[word]++;
        }

        return Count();
    }

    /// <summary>The stored value of a word: the bits up to High Bit, Bits Stored of them, sign extended.</summary>
    private int Stored(int word)
    {
        var bits = _layout.BitsStored;
        var value = (word >> (_layout.HighBit + 1 - bits)) & ((1 << bits) - 1);
        return _layout.Signed && (value >> (bits - 1)) != 0 ? value - (1 << bits) : value;
    }

    private double Exact(int word) => (_slope * Stored(word)) + _intercept;

    private SliceCounts Count()
    {
        short min = short.MaxValue, max = short.MinValue, maxPadded = short.MinValue;
        var rounding = 0.0;
        long clamped = 0, padded = 0, atTop = 0, at3071 = 0, unused = 0;
        var top = (1 << (_layout.BitsStored - (_layout.Signed ? 1 : 0))) - 1;
        var padding = PaddingRange();
        for (var word = 0; word < Words; word++)
        {
            long count = _counts[word] + _counts[word + Words];
            if (count == 0)
                continue;
            var (hu, stored) = (_hu[word], Stored(word));
            min = Math.Min(min, hu);
            max = Math.Max(max, hu);
            if (_rounding.Length > 0)
                rounding = Math.Max(rounding, _rounding[word]);
            if (Math.Round(Exact(word), MidpointRounding.ToEven) != hu)
                clamped += count;
            if (stored == top)
                atTop += count;
            if (hu == 3071)
                at3071 += count;
            if (HasUnusedBits(word, stored))
                unused += count;
            if (padding is { } p && stored >= p.Low && stored <= p.High)
            {
                padded += count;
                maxPadded = Math.Max(maxPadded, hu);
            }
        }

        return new(min, max, rounding, clamped, padded, padded > 0 ? maxPadded : null, atTop, at3071, unused);
    }

    private (int Low, int High)? PaddingRange()
    {
        if (_layout.PaddingWord is not { } first)
            return null;
        var (a, b) = (Stored(first), Stored(_layout.PaddingLimitWord ?? first));
        return (Math.Min(a, b), Math.Max(a, b));
    }

    /// <summary>A word with its value alone in it, sign extended or not, has no unused bits set.</summary>
    private bool HasUnusedBits(int word, int stored)
    {
        var shift = _layout.HighBit + 1 - _layout.BitsStored;
        var all = (1 << _layout.BitsAllocated) - 1;
        var bare = (stored & ((1 << _layout.BitsStored) - 1)) << shift;
        return word != bare && word != ((stored << shift) & all);
    }
}
