namespace AnatomyPrep.Core.Meshes;

/// <summary>Name and colours of each triangle origin, the same in every format, picture and report.</summary>
/// <remarks>
/// Source: M. Okabe and K. Ito, "Color Universal Design", 2002, revised 2008: colours told apart by all common kinds of colour vision.
/// In files measured is a light neutral grey, which none of the others resembles in lightness. In previews it is the colour of bone,
/// filled the palette's vermilion, which stands out from it. Over grey slices it is the palette's yellow, and three darker colours
/// keep their hue but are lighter, because a thin line has little room to be seen.
/// </remarks>
public static class OriginPalette
{
    private static readonly (string Name, Rgb InFiles, Rgb Surface, Rgb Outline)[] s_entries =
    [
        ("measured", new(217, 217, 217), new(236, 224, 200), new(240, 228, 66)),
        ("filled", new(230, 159, 0), new(213, 94, 0), new(255, 122, 40)),
        ("cut", new(0, 114, 178), new(86, 180, 233), new(86, 180, 233)),
        ("offset", new(0, 158, 115), new(0, 158, 115), new(0, 205, 150)),
        ("added", new(204, 121, 167), new(204, 121, 167), new(226, 140, 190)),
    ];

    public static int Count => s_entries.Length;

    public static string Name(Origin origin) => s_entries[(int)origin].Name;

    /// <summary>Colour of the faces in mesh files.</summary>
    public static Rgb Color(Origin origin) => s_entries[(int)origin].InFiles;

    /// <summary>Colour of the surface in a preview.</summary>
    public static Rgb Surface(Origin origin) => s_entries[(int)origin].Surface;

    /// <summary>Colour of the model's outline over a slice.</summary>
    public static Rgb Outline(Origin origin) => s_entries[(int)origin].Outline;

    /// <summary>Names and colours for the origins that a mesh has, for a legend.</summary>
    public static IEnumerable<(string Word, Rgb Colour)> Entries(Mesh mesh, Func<Origin, Rgb> colour) =>
        from origin in Enum.GetValues<Origin>() where mesh.OriginArray.AsSpan().Contains(origin) select (Name(origin), colour(origin));
}
