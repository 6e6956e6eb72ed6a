namespace AnatomyPrep.Core.Meshes;

/// <summary>A colour in sRGB, 8 bits each.</summary>
public readonly record struct Rgb(byte Red, byte Green, byte Blue)
{
    /// <summary>#RRGGBB.</summary>
    public string ToHex() => FormattableString.Invariant($"#{Red:X2}{Green:X2}{Blue:X2}");
}
