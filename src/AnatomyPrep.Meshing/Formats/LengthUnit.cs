namespace AnatomyPrep.Meshing.Formats;

/// <summary>The units a mesh file can be in: the six of 3MF Core.</summary>
public enum LengthUnit
{
    Micrometre,
    Millimetre,
    Centimetre,
    Inch,
    Foot,
    Metre,
}

/// <summary>What a unit is worth.</summary>
public static class LengthUnits
{
    /// <summary>From the smallest to the largest.</summary>
    public static IReadOnlyList<LengthUnit> All { get; } = Enum.GetValues<LengthUnit>();

    /// <summary>Millimetres in one unit; exact (inch and foot by the international definition of 1959).</summary>
    public static double MmPer(this LengthUnit unit) => unit switch
    {
        LengthUnit.Micrometre => 0.001,
        LengthUnit.Millimetre => 1,
        LengthUnit.Centimetre => 10,
        LengthUnit.Inch => 25.4,
        LengthUnit.Foot => 304.8,
        LengthUnit.Metre => 1000,
        _ => throw new ArgumentOutOfRangeException(nameof(unit), unit, "Not a unit of length."),
    };

    /// <summary>The word for messages.</summary>
    public static string Plural(this LengthUnit unit) => unit switch
    {
        LengthUnit.Micrometre => "micrometres",
        LengthUnit.Millimetre => "millimetres",
        LengthUnit.Centimetre => "centimetres",
        LengthUnit.Inch => "inches",
        LengthUnit.Foot => "feet",
        LengthUnit.Metre => "metres",
        _ => throw new ArgumentOutOfRangeException(nameof(unit), unit, "Not a unit of length."),
    };
}
