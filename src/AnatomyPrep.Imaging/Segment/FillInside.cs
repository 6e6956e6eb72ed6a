using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Takes everything into a region that is not outside the body: airways, sinuses, bowel gas.</summary>
/// <remarks>
/// What is left is the body as its skin bounds it. Without a seal an airway stays open where it reaches the outer air; with
/// one it is closed at the depth of twice the seal's radius, and the lid is marked filled by the surface. Method, cost and
/// memory: <see cref="BodyHull"/>.
/// </remarks>
public static class FillInside
{
    public static RegionResult Apply(Volume volume, Region region, double sealMm, RunContext run)
    {
        using var outside = Morphology.Complement(region, run);
        using var outer = BodyHull.OuterAir(outside, volume.Map, sealMm, run);
        var filled = Morphology.Complement(outer, run);
        var effect = RegionMeasures.Effect(region, filled, volume.Map, run);
        return new(filled, effect, effect.Measures!["addedMm3"] == 0 ? [] :
        [
            new(FindingCodes.CavitiesFilled, Severity.Note,
                FormattableString.Invariant($"{effect.Measures["addedMm3"] / 1000:F1} cm³ of hollow inside were filled."),
                "Leave the step out where the hollow is wanted; see inner-air for airways and sinuses."),
        ]);
    }
}
