namespace AnatomyPrep.Phantoms.Sampling;

/// <summary>From stored values to HU: slope × stored + intercept.</summary>
public readonly record struct Rescale(double Slope, double InterceptHu);

/// <summary>How values are stored.</summary>
public sealed record StoredFormat
{
    /// <summary>12 or 16 of the 16 bits allocated.</summary>
    public int BitsStored { get; init; } = 16;

    public bool Signed { get; init; } = true;

    /// <summary>Slice k uses entry k modulo their number, so several entries give a rescale per slice.</summary>
    public IReadOnlyList<Rescale> Rescales { get; init; } = [new Rescale(1, -1024)];

    /// <summary>
    /// Stored value outside the reconstruction circle, also written as Pixel Padding Value when there is a circle. Null
    /// takes what scanners use: -2000 where signed, 0 where not.
    /// </summary>
    public int? PaddingStored { get; init; }

    /// <summary>Fills the bits above Bits Stored with rubbish, which a reader has to mask off; else they repeat the sign.</summary>
    public bool RubbishInUnusedBits { get; init; }

    /// <summary>Implicit VR little endian instead of explicit.</summary>
    public bool ImplicitVr { get; init; }

    public int Lowest => Signed ? -(1 << (BitsStored - 1)) : 0;

    public int Highest => Signed ? (1 << (BitsStored - 1)) - 1 : (1 << BitsStored) - 1;

    internal int Padding => PaddingStored ?? (Signed ? -2000 : 0);

    public Rescale Of(int slice) => Rescales[slice % Rescales.Count];

    internal void Check()
    {
        if (BitsStored is not (12 or 16))
            throw new ArgumentException("12 or 16 bits are stored.", nameof(BitsStored));
        if (Rescales.Count == 0 || Rescales.Any(r => r.Slope == 0))
            throw new ArgumentException("At least one rescale, none with a slope of 0.", nameof(Rescales));
        if (Padding < Lowest || Padding > Highest)
            throw new ArgumentException("The padding value can be stored in the bits stored.", nameof(PaddingStored));
    }
}
