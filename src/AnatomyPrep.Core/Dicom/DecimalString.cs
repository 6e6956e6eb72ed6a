using System.Globalization;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Core.Dicom;

/// <summary>Numbers as DICOM decimal strings: at most 16 characters (PS3.5, table 6.2-1), as precise as those allow.</summary>
public static class DecimalString
{
    private const int MaximumLength = 16;

    public static string Format(double value)
    {
        if (!double.IsFinite(value))
            throw new ArgumentOutOfRangeException(nameof(value), value, "A decimal string is finite.");
        if (value == 0)
            return "0";
        var text = value.ToString("R", CultureInfo.InvariantCulture);
        for (var digits = 16; text.Length > MaximumLength; digits--)
            text = value.ToString(string.Create(CultureInfo.InvariantCulture, $"G{digits}"), CultureInfo.InvariantCulture);
        return text;
    }

    /// <summary>Several values, as one attribute holds them.</summary>
    public static string Format(params ReadOnlySpan<double> values)
    {
        var parts = new string[values.Length];
        for (var i = 0; i < parts.Length; i++)
            parts[i] = Format(values[i]);
        return string.Join('\\', parts);
    }

    public static string Format(Vec3 v) => Format(v.X, v.Y, v.Z);

    /// <summary>The value that a reader of the string gets.</summary>
    public static double Quantise(double value) => double.Parse(Format(value), CultureInfo.InvariantCulture);
}
