using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>One colour for every origin of a triangle.</summary>
/// <remarks>
/// Source: Okabe, Ito, "Color Universal Design", 2008: colours that people with any of the common forms of colour
/// blindness tell apart. Measured surface is the colour of bone in previews and the palette's yellow over grey slices;
/// over slices three darker colours keep their hue but are lighter, because a thin line has little room to be seen.
/// </remarks>
public static class OriginPalette
{
    public static Rgb Surface(Origin origin) => origin switch
    {
        Origin.Measured => new(236, 224, 200),
        Origin.Filled => new(213, 94, 0),
        Origin.Offset => new(0, 158, 115),
        Origin.Added => new(204, 121, 167),
        _ => Outline(origin),
    };

    public static Rgb Outline(Origin origin) => origin switch
    {
        Origin.Measured => new(240, 228, 66),
        Origin.Filled => new(255, 122, 40),
        Origin.Cut => new(86, 180, 233),
        Origin.Offset => new(0, 205, 150),
        Origin.Added => new(226, 140, 190),
        _ => throw new ArgumentOutOfRangeException(nameof(origin), origin, "An origin has a colour."),
    };

    /// <summary>Words and colours for the origins that a mesh has, for a legend.</summary>
    internal static IEnumerable<(string Word, Rgb Colour)> Entries(Mesh mesh, Func<Origin, Rgb> colour) =>
        from origin in Enum.GetValues<Origin>() where mesh.OriginArray.AsSpan().Contains(origin) select (Word(origin), colour(origin));

    private static string Word(Origin origin) => origin switch
    {
        Origin.Measured => "measured",
        Origin.Filled => "filled",
        Origin.Cut => "cut",
        Origin.Offset => "offset",
        Origin.Added => "added",
        _ => throw new ArgumentOutOfRangeException(nameof(origin), origin, "An origin has a word."),
    };
}
