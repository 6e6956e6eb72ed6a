using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>One colour, 8 bits a channel, sRGB.</summary>
public readonly record struct Rgb(byte Red, byte Green, byte Blue)
{
    public string ToHex() => FormattableString.Invariant($"#{Red:X2}{Green:X2}{Blue:X2}");
}

/// <summary>Name and colour of each triangle origin, the same in every format, picture and report.</summary>
/// <remarks>
/// Source: M. Okabe and K. Ito, "Color Universal Design", 2002: orange, blue, bluish green and reddish purple, told apart
/// by all common kinds of colour vision; measured is a light neutral grey, which none of them resembles in lightness.
/// </remarks>
public static class OriginPalette
{
    private static readonly (string Name, Rgb Color)[] s_entries =
    [
        ("measured", new(0xD9, 0xD9, 0xD9)),
        ("filled", new(0xE6, 0x9F, 0x00)),
        ("cut", new(0x00, 0x72, 0xB2)),
        ("offset", new(0x00, 0x9E, 0x73)),
        ("added", new(0xCC, 0x79, 0xA7)),
    ];

    public static int Count => s_entries.Length;

    public static string Name(Origin origin) => s_entries[(int)origin].Name;

    public static Rgb Color(Origin origin) => s_entries[(int)origin].Color;
}
