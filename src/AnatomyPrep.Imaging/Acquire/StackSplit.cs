using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Part of a series that could be one volume, and how it was told apart from the others.</summary>
/// <param name="How">The attribute that differs and its value here; null where nothing had to be told apart.</param>
/// <param name="Guessed">By the order of numbers alone, without an attribute that says so.</param>
internal sealed record StackPart(IReadOnlyList<SliceSource> Slices, string? How, bool Guessed = false);

/// <summary>Tells several acquisitions or reconstructions in one series apart.</summary>
/// <remarks>
/// Rule of our own. Slices of one orientation are parted by the first attribute of a list whose values make at least two groups of
/// three slices or more that lie in the same stretch along the normal (by more than one and a half of their steps): one
/// scan has one slice in one place. Groups that follow each other (a step-and-shoot scan numbers every rotation, a
/// protocol of two blocks has two thicknesses) are one volume and stay together. Each part is parted again. What no
/// attribute tells apart, but where every position has the same number of images, is parted in the order of Instance Number,
/// and said to be a guess. What is left repeated is stopped by the check.
/// </remarks>
internal static class StackSplit
{
    private const int FewestSlices = 3;
    private const int MostParts = 64;
    private const double SamePlaceMm = 0.001;
    private const double OverlapSteps = 1.5;

    private static readonly (uint Tag, Func<SliceSource, string> Value, bool Said)[] s_keys =
    [
        (Tag.AcquisitionNumber, s => Text(s.Facts.AcquisitionNumber), true),
        (Tag.TemporalPosition, s => Text(s.Facts.TemporalPosition), true),
        (Tag.ConvolutionKernel, s => s.Facts.Kernel ?? "", true),
        (Tag.SliceThickness, s => Text(s.Slice.ThicknessMm), true),
        (Tag.ImageType, s => s.Facts.ImageTypeMark, false),
        (Tag.AcquisitionTime, s => s.Facts.TimeMark, false),
        (Tag.TransferSyntaxUid, s => s.Facts.Syntax, false),
    ];

    /// <param name="slices">Of one orientation, with full geometry.</param>
    public static IReadOnlyList<StackPart> Split(IReadOnlyList<SliceSource> slices)
    {
        var depths = Depths(slices);
        foreach (var (tag, value, said) in s_keys)
        {
            var groups = slices.GroupBy(value).Select(g => g.ToArray()).ToArray();
            if (groups.Length is < 2 or > MostParts || !AnyOverlap(groups, depths))
                continue;
            return [.. groups.OrderBy(FirstNumber).ThenBy(g => g.Min(s => s.Facts.SopInstance), StringComparer.Ordinal)
                .SelectMany(g => Split(g).Select(p => p with { How = Join(Describe(tag, said ? value(g[0]) : ""), p.How) }))];
        }

        return ByRepeats(slices, depths) ?? [new(slices, null)];
    }

    private static Dictionary<SliceSource, double> Depths(IReadOnlyList<SliceSource> slices)
    {
        var o = slices[0].Slice.Orientation!;
        var normal = Vec3.Cross(new(o[0], o[1], o[2]), new(o[3], o[4], o[5])).Normalized();
        return slices.ToDictionary(s => s, s => Vec3.Dot(normal, new(s.Slice.Position![0], s.Slice.Position[1], s.Slice.Position[2])));
    }

    private static bool AnyOverlap(SliceSource[][] groups, Dictionary<SliceSource, double> depths)
    {
        var extents = groups.Where(g => g.Length >= FewestSlices).Select(g => Extent(g, depths)).OrderBy(e => e.Low).ToArray();
        for (var i = 1; i < extents.Length; i++)
            for (var j = 0; j < i; j++)
                if (Math.Min(extents[i].High, extents[j].High) - extents[i].Low > OverlapSteps * Math.Min(extents[i].StepMm, extents[j].StepMm))
                    return true;
        return false;
    }

    private static (double Low, double High, double StepMm) Extent(SliceSource[] group, Dictionary<SliceSource, double> depths)
    {
        var sorted = group.Select(s => depths[s]).Order().ToArray();
        var steps = Enumerable.Range(1, sorted.Length - 1).Select(i => sorted[i] - sorted[i - 1]).Where(s => s > SamePlaceMm).ToArray();
        return (sorted[0], sorted[^1], steps.Length > 0 ? SpacingRule.Median(steps) : 0);
    }

    /// <summary>n images at every position, each with its number: the first of each, the second of each, and so on.</summary>
    private static StackPart[]? ByRepeats(IReadOnlyList<SliceSource> slices, Dictionary<SliceSource, double> depths)
    {
        var places = new List<List<SliceSource>>();
        foreach (var slice in slices.OrderBy(s => depths[s]))
        {
            if (places.Count > 0 && depths[slice] - depths[places[^1][0]] <= SamePlaceMm)
                places[^1].Add(slice);
            else
                places.Add([slice]);
        }

        var images = places[0].Count;
        if (images is < 2 or > MostParts || places.Count < FewestSlices || places.Any(p => p.Count != images || p.Select(s => s.Slice.InstanceNumber).Distinct().Count() != images || p.Any(s => s.Slice.InstanceNumber is null)))
            return null;
        return [.. Enumerable.Range(0, images).Select(n => new StackPart(
            [.. places.Select(p => p.OrderBy(s => s.Slice.InstanceNumber).ElementAt(n))],
            FormattableString.Invariant($"number {n + 1} of {images} images at every position, in the order of {Tag.Name(Tag.InstanceNumber)}"),
            Guessed: true))];
    }

    private static int FirstNumber(SliceSource[] group) => group.Min(s => s.Slice.InstanceNumber ?? int.MaxValue);

    private static string Describe(uint tag, string value) => value.Length > 0 ? $"{Tag.Name(tag)} {value}" : $"its own {Tag.Name(tag)}";

    private static string Join(string first, string? second) => second is null ? first : $"{first}; {second}";

    private static string Text(IFormattable? number) => number?.ToString(null, System.Globalization.CultureInfo.InvariantCulture) ?? "";
}
