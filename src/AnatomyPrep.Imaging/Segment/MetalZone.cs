using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Metal, and the zone around it in which HU cannot be believed.</summary>
/// <remarks>
/// Metal is what has at least the level. Streaks and shadows around it change HU by hundreds, so within the reach every boundary is
/// uncertain; the surface step reports how much of the model lies there. Nothing is interpolated or made up in the zone. With
/// <c>remove</c> the metal itself is taken out of the region, which leaves a hole marked cut, not bone.
/// </remarks>
public static class MetalZone
{
    /// <returns>The region, with or without the metal; and the zone, null where there is no metal.</returns>
    public static (RegionResult Result, Region? Zone) Apply(Volume volume, Region region, short levelHu, double reachMm, bool remove, RunContext run)
    {
        using var metal = Threshold.Apply(volume, new(levelHu, short.MaxValue), run);
        var metalMm3 = RegionMeasures.VolumeMm3(metal, volume.Map, run);
        var after = remove ? Morphology.Combine(region, metal, (a, b) => a & ~b, run) : region.Copy();
        if (metalMm3 == 0)
            return (new(after, RegionMeasures.Effect(region, after, volume.Map, run, ("metalMm3", 0)), []), null);
        var zone = Morphology.Dilate(metal, volume.Map, reachMm, run);
        var (uncertainMm3, certainMm3, _) = RegionMeasures.Volumes(after, zone, volume.Map, run);
        var share = uncertainMm3 / Math.Max(double.Epsilon, uncertainMm3 + certainMm3);
        var effect = RegionMeasures.Effect(region, after, volume.Map, run, ("metalMm3", metalMm3), ("uncertainShare", share));
        var finding = new Finding(FindingCodes.MetalPresent, Severity.Caution,
            FormattableString.Invariant($"{metalMm3:F0} mm³ have {levelHu} HU or more: metal, or enamel. {share:P1} of the structure lie within {reachMm} mm of it, where streaks make every boundary uncertain."),
            "Judge the model only away from it; ask for a series with metal artefact reduction if that place matters.");
        return (new(after, effect, [finding]), zone);
    }
}
