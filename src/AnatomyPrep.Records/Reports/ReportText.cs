using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Reports;

/// <summary>Values in the words and units a reader of a report expects.</summary>
internal static class ReportText
{
    /// <summary>Units at the end of names, longest first: "deviationP95Mm" reads "deviation p95 (mm)".</summary>
    private static readonly (string Ending, string Unit)[] s_units =
        [("Mm3", "mm³"), ("Mm2", "mm²"), ("Mm", "mm"), ("Deg", "°"), ("Hu", "HU"), ("Seconds", "s")];

    public static string Number(double value, int decimals) =>
        value.ToString("#,##0." + new string('#', decimals), CultureInfo.InvariantCulture);

    public static string Count(long value) => value.ToString("#,##0", CultureInfo.InvariantCulture);

    public static string Percent(double share) => (100 * share).ToString("0.00", CultureInfo.InvariantCulture) + " %";

    public static string YesNo(bool value) => value ? "yes" : "no";

    public static string Word<T>(T value)
        where T : struct, Enum
    {
        var words = Words(value.ToString());
        return char.ToUpperInvariant(words[0]) + words[1..];
    }

    public static string Kind(SourceKind kind) => kind == SourceKind.CtSeries ? "CT series" : Word(kind);

    public static string Scale(double scale) => scale == 1 ? "life size (1 : 1)" : $"{Number(scale, 4)} of life size";

    public static string Vector(Vec3 v) => $"({Number(v.X, 2)}, {Number(v.Y, 2)}, {Number(v.Z, 2)})";

    public static string Size(Box3? bounds) =>
        bounds is { } box ? $"{Number(box.Size.X, 2)} × {Number(box.Size.Y, 2)} × {Number(box.Size.Z, 2)} mm" : "-";

    public static string OriginMeaning(Origin origin) => origin switch
    {
        Origin.Measured => "placed by the images or the scanner",
        Origin.Filled => "closed where nothing was measured",
        Origin.Cut => "a cut, ours or the border of the images",
        Origin.Offset => "wall of a shell",
        Origin.Added => "not anatomy: text, base, peg, support",
        _ => throw new ArgumentOutOfRangeException(nameof(origin), origin, "Not an origin."),
    };

    public static string Where(Place? place)
    {
        if (place is null)
            return "";
        var parts = new List<string>();
        if (place.Slice is { } slice)
            parts.Add($"slice {Count(slice)}");
        if (place.PositionMm is { } position)
            parts.Add($"at {Vector(position)} mm");
        if (place.FirstTriangle is { } first)
            parts.Add($"triangles from {Count(first)}" + (place.TriangleCount is { } count ? $", {Count(count)} of them" : ""));
        return string.Join("; ", parts);
    }

    public static string Parameters(JsonObject parameters) =>
        string.Join("\n", parameters.Select(p => $"{Label(p.Key)}: {Value(p.Value)}"));

    public static string Effect(StepEffect effect)
    {
        var lines = new List<string>();
        if (effect.ChangedAreaMm2 is { } area)
            lines.Add($"changed area: {Number(area, 2)} mm²");
        if (effect.MeanDisplacementMm is { } mean)
            lines.Add($"moved by {Number(mean, 4)} mm in the mean");
        if (effect.MaxDisplacementMm is { } max)
            lines.Add($"moved by at most {Number(max, 4)} mm");
        if (effect is { VolumeBeforeMm3: { } before, VolumeAfterMm3: { } after })
            lines.Add($"volume: {Number(before, 1)} to {Number(after, 1)} mm³");
        foreach (var (name, value) in (effect.Measures ?? new Dictionary<string, double>()).OrderBy(m => m.Key, StringComparer.Ordinal))
            lines.Add($"{Label(name)}: {Number(value, 4)}");
        return lines.Count == 0 ? "-" : string.Join("\n", lines);
    }

    /// <summary>Packages of one family as one entry: by the first two words of their names, where more than one begins with them. The record lists each.</summary>
    public static string Libraries(IReadOnlyList<PackageFacts> packages) => packages.Count == 0 ? "-" : string.Join(", ", packages
        .GroupBy(p => string.Join('.', p.Name.Split('.').Take(2)), StringComparer.Ordinal)
        .Select(family => family.Count() == 1
            ? $"{family.First().Name} {family.First().Version}"
            : $"{family.Key} {string.Join("/", family.Select(p => p.Version).Distinct().Order(StringComparer.Ordinal))} ({Count(family.Count())})"));

    /// <summary>"levelHu" reads "level (HU)".</summary>
    public static string Label(string name)
    {
        foreach (var (ending, unit) in s_units)
            if (name.EndsWith(ending, StringComparison.Ordinal) && name.Length > ending.Length)
                return $"{Words(name[..^ending.Length])} ({unit})";
        return Words(name);
    }

    private static string Value(JsonNode? value) => value switch
    {
        JsonValue leaf when leaf.TryGetValue<string>(out var text) => text,
        JsonArray items => "(" + string.Join(", ", items.Select(Value)) + ")",
        _ => Encoding.UTF8.GetString(CanonicalJson.Write(value)),
    };

    /// <summary>"PointCloud" reads "point cloud".</summary>
    private static string Words(string name)
    {
        var words = new StringBuilder(name.Length + 4);
        foreach (var c in name)
        {
            if (char.IsUpper(c) && words.Length > 0)
                words.Append(' ');
            words.Append(char.ToLowerInvariant(c));
        }

        return words.ToString();
    }
}
