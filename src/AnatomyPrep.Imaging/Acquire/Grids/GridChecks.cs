using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>What every volume format is asked before its numbers are believed; each refusal names file, field, value and remedy.</summary>
/// <param name="name">File name without its folder.</param>
internal sealed class GridChecks(string name)
{
    /// <summary>Largest number of columns, rows or slices.</summary>
    public const int LargestSize = 16_384;

    /// <summary>Samples of 16 GB of volume.</summary>
    private const long MostSamples = 8L << 30;
    private const double FinestSpacingMm = 1e-4;
    private const double CoarsestSpacingMm = 1000;
    private const double FarthestMm = 1e6;

    /// <summary>Axes whose volume is a smaller share of the product of their lengths lie in one plane (0.06 degrees).</summary>
    private const double SingularShare = 1e-3;

    private const string SaveAgain = "Save the volume again from the program it comes from.";

    public BadInputException Bad(string field, string value, string remedy = SaveAgain) => new(name, field, value, remedy);

    /// <summary>A finite number in the form all of these formats use.</summary>
    public double Number(string field, ReadOnlySpan<char> text)
    {
        const NumberStyles form = NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint | NumberStyles.AllowExponent;
        return double.TryParse(text, form, CultureInfo.InvariantCulture, out var number) ? Finite(field, number) : throw Bad(field, "not a number");
    }

    public double Finite(string field, double number) => double.IsFinite(number) ? number : throw Bad(field, "not a finite number");

    /// <summary>Columns, rows, slices.</summary>
    public (int Columns, int Rows, int Slices) Sizes(string field, long columns, long rows, long slices)
    {
        foreach (var size in (ReadOnlySpan<long>)[columns, rows, slices])
            if (size is < 1 or > LargestSize)
                throw Bad(field, size.ToString(CultureInfo.InvariantCulture), FormattableString.Invariant($"A size is 1 to {LargestSize}. {SaveAgain}"));
        if (columns * rows * slices > MostSamples)
            throw Bad(field, FormattableString.Invariant($"{columns} x {rows} x {slices}, {columns * rows * slices * 2 / 1e9:F0} GB"), "Give a smaller volume.");
        return ((int)columns, (int)rows, (int)slices);
    }

    /// <summary>Refuses a map that puts samples nowhere, or all into one plane.</summary>
    public Affine3 Map(string field, Affine3 map)
    {
        foreach (var axis in (ReadOnlySpan<Vec3>)[map.X, map.Y, map.Z])
        {
            if (!axis.IsFinite)
                throw Bad(field, "not a finite number");
            if (axis.Length is < FinestSpacingMm or > CoarsestSpacingMm)
                throw Bad(field, FormattableString.Invariant($"samples {axis.Length:G6} mm apart"), FormattableString.Invariant($"A distance is {FinestSpacingMm} to {CoarsestSpacingMm} mm: check its unit. {SaveAgain}"));
        }

        if (!map.Translation.IsFinite || map.Translation.Length > FarthestMm)
            throw Bad(field, "an origin that is no place");
        if (Math.Abs(map.Determinant) < SingularShare * map.X.Length * map.Y.Length * map.Z.Length)
            throw Bad(field, "directions that lie in one plane (a singular matrix)");
        return map;
    }

    /// <summary>A text as part of a message: its first characters, without anything a terminal would obey.</summary>
    public static string Quote(ReadOnlySpan<char> text)
    {
        var start = text[..Math.Min(text.Length, 24)].ToArray();
        for (var i = 0; i < start.Length; i++)
            if (start[i] is < ' ' or > '~')
                start[i] = '?';
        return new string(start);
    }

    public const string UnknownSide = "Which side is left cannot be known: save it again with its orientation.";
}
