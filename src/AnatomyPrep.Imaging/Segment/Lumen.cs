using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Which vessel, and what surrounds it; the rest as <see cref="GrowOptions"/>.</summary>
public sealed record LumenOptions(IReadOnlyList<Vec3> SeedsMm, double SurroundingHu, short UpperHu = short.MaxValue, double? MaxGradientHuPerMm = null, double ExpandMm = 1);

/// <summary>The inside of a vessel filled with contrast.</summary>
/// <remarks>
/// The level is the middle between the contrast at the seed points (median of the samples within 1 mm of them) and what
/// surrounds it, where a blurred edge stays in its place; then <see cref="Grow"/>. So the level follows how well this
/// vessel was filled, which no preset can know. A lumen narrower than the blur does not reach its own value and comes out too
/// wide: the finding states the level.
/// </remarks>
public static class Lumen
{
    private const double SeedRadiusMm = 1;

    // Less contrast than this over its surroundings is within the noise of usual images (own choice).
    private const double LeastContrastHu = 50;

    /// <exception cref="BadInputException">A seed lies outside the images or the window, or there is hardly any contrast.</exception>
    public static RegionResult Apply(Volume volume, LumenOptions options, RunContext run)
    {
        Seeds.Nearest(volume, options.SeedsMm, "lumen", "seedsMm");
        var contrast = MedianAround(volume, options.SeedsMm);
        if (contrast - options.SurroundingHu < LeastContrastHu)
            throw new BadInputException("lumen", "seedsMm", FormattableString.Invariant($"{contrast:F0} HU"), FormattableString.Invariant($"That is less than {LeastContrastHu} HU above surroundingHu, {options.SurroundingHu}: put the seeds into the contrast, or use a series with contrast."));
        var level = (short)Math.Round((contrast + options.SurroundingHu) / 2);
        if (level > options.UpperHu)
            throw new BadInputException("lumen", "upperHu", $"{options.UpperHu}", $"The level of this vessel is {level} HU: raise upperHu.");
        var grown = Grow.Apply(volume, new(options.SeedsMm, new(level, options.UpperHu), options.MaxGradientHuPerMm, options.ExpandMm), run);
        var measures = new SortedDictionary<string, double>(grown.Effect.Measures!.ToDictionary(), StringComparer.Ordinal) { ["contrastHu"] = contrast, ["levelHu"] = level };
        return new(grown.Region, grown.Effect with { Measures = measures },
        [
            new(FindingCodes.ThresholdSuggested, Severity.Note,
                FormattableString.Invariant($"The vessel has {contrast:F0} HU at its points; {level} HU is the middle between that and its surroundings ({options.SurroundingHu:F0} HU)."),
                "Where the vessel touches bone, set maxGradientHuPerMm or upperHu, or split; lumens narrower than about two samples come out too wide."),
        ]);
    }

    private static double MedianAround(Volume volume, IReadOnlyList<Vec3> seedsMm)
    {
        var map = volume.Map;
        var values = new List<short>();
        foreach (var seed in seedsMm)
        {
            var at = map.Invert(seed);
            int di = (int)(SeedRadiusMm / map.ColumnStepMm.Length) + 1, dj = (int)(SeedRadiusMm / map.RowStepMm.Length) + 1;
            int i0 = (int)Math.Round(at.X), j0 = (int)Math.Round(at.Y), k0 = (int)Math.Round(at.Z);
            values.Add(volume[i0, j0, k0]);
            for (var k = 0; k < volume.Slices; k++)
            {
                if (Math.Abs(Vec3.Dot(map.Normal, map.SliceOriginsMm[k] - seed)) > SeedRadiusMm)
                    continue;
                for (var j = Math.Max(0, j0 - dj); j <= Math.Min(volume.Rows - 1, j0 + dj); j++)
                    for (var i = Math.Max(0, i0 - di); i <= Math.Min(volume.Columns - 1, i0 + di); i++)
                        if (Vec3.Distance(map.Map(i, j, k), seed) <= SeedRadiusMm)
                            values.Add(volume[i, j, k]);
            }
        }

        values.Sort();
        return (values[(values.Count - 1) / 2] + values[values.Count / 2]) / 2.0;
    }
}
