namespace AnatomyPrep.Core.Meshes;

/// <summary>A colour in sRGB, 8 bits each.</summary>
public readonly record struct Rgb(byte Red, byte Green, byte Blue)
{
    /// <summary>#RRGGBB.</summary>
    public string ToHex() => FormattableString.Invariant($"#{Red:X2}{Green:X2}{Blue:X2}");

    /// <summary>Reads #RRGGBB, in either case.</summary>
    public static bool TryParse(string text, out Rgb colour)
    {
        colour = default;
        if (text.Length != 7 || text[0] != '#' || !uint.TryParse(text.AsSpan(1), System.Globalization.NumberStyles.AllowHexSpecifier, System.Globalization.CultureInfo.InvariantCulture, out var value))
            return false;
        colour = new((byte)(value >> 16), (byte)(value >> 8), (byte)value);
        return true;
    }
}
