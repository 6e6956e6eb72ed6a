using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>How table, headrest and the like are told from the patient.</summary>
/// <param name="BodyHu">Body has at least this.</param>
/// <param name="OpenMm">Half the thickness that a body has and a support has not.</param>
/// <param name="HardHu">Outside the body, at least this is a shell, not an ear.</param>
/// <param name="BlurMm">Width of the blurred edge of a shell, which goes with it.</param>
public sealed record SupportOptions(short BodyHu = -300, double OpenMm = 5, short HardHu = 200, double BlurMm = 1.5);

/// <summary>Takes out of a region what lies outside the patient's body: table, headrest, clamps.</summary>
/// <remarks>
/// 1. Body: what has at least BodyHu, opened with OpenMm, largest piece: plates and straps go, and contacts with them. Widened by the
///    radius and a little, and filled: that is where the patient is, bar ears and nose.
/// 2. Support: hard pieces (at least HardHu, and 2 cm³) of which less than half lies there, with their blurred edges; and thick pieces of
///    step 1 other than the largest, above EarMm3 (the tip of a nose may come apart from the head too), with what the opening took off them.
/// 3. Of the region less the support, what stands out from there by more than EarMm3 in one piece is a soft support: an ear has 5 to
///    10 cm³ (from memory). It goes up to the blurred edge of the body.
/// 4. Of what is left, pieces that lie in the body by half at least. Ears hang on the head and stay; where one was pressed
///    against the shell it is cut, and the surface is marked so.
/// Ours, no source. It judges only where the body is most of what has BodyHu (BodyShare): a dry skull in air or a
/// phantom in water is left as it is, with a finding.
/// Cost: about eight dilations and seven labellings; memory: eight regions, 1 byte a sample.
/// </remarks>
public static class RemoveSupport
{
    // Of the volume with body HU. A head in a headrest has 0.9 and more; a dry skull opened with 5 mm next to nothing.
    private const double BodyShare = 0.5;

    private const double EarMm3 = 20_000;

    // The tip of a nose is outside the opened body too, and bone in it may stand apart: shells are larger.
    private const double SmallestShellMm3 = 2_000;

    public static RegionResult Apply(Volume volume, Region region, SupportOptions options, RunContext run)
    {
        var map = volume.Map;
        var (body, share) = FindBody(volume, options, run);
        if (body is null)
            return Unjudged(volume, region, share, run);
        using var found = body;
        using var lessHard = Morphology.Combine(region, body.Support, (a, b) => a & ~b, run);
        using var less = WithoutSoftSupport(lessHard, body.Core, body.Reach, map, options, run);
        using var pieces = Components.Find(less, map, run);
        var samplesInBody = pieces.CountWithin(body.Reach, run);
        var kept = pieces.Keep(p => 2 * samplesInBody[p] >= pieces.Pieces[p].Samples, run);
        return Result(volume, region, kept, share, run);
    }

    // What it works on is let go before the region itself is looked at.
    private static (Body? Body, double Share) FindBody(Volume volume, SupportOptions options, RunContext run)
    {
        var map = volume.Map;
        using var tissue = Threshold.Apply(volume, new(options.BodyHu, short.MaxValue), run);
        using var thick = Thick(tissue, map, options, run);
        var share = thick.Pieces.Count == 0 ? 0 : thick.Pieces[0].VolumeMm3 / RegionMeasures.VolumeMm3(tissue, map, run);
        if (share < BodyShare)
            return (null, share);
        var core = thick.Keep(1, run);
        var reach = Reach(core, map, options.OpenMm + options.BlurMm, run);
        using var shells = Shells(volume, reach, options, run);
        using var blocks = Blocks(tissue, thick, reach, map, options, run);
        return (new(core, reach, Morphology.Combine(shells, blocks, (a, b) => a | b, run)), share);
    }

    private static Components Thick(Region tissue, IndexToPatient map, SupportOptions options, RunContext run)
    {
        using var opened = Morphology.Open(tissue, map, options.OpenMm, run);
        return Components.Find(opened, map, run);
    }

    private static Region Reach(Region core, IndexToPatient map, double radiusMm, RunContext run)
    {
        using var wide = Morphology.Dilate(core, map, radiusMm, run);
        return FillCavities.Apply(wide, map, double.MaxValue, run).Region;
    }

    // Hard pieces that lie mostly outside the body, with their blurred edges.
    private static Region Shells(Volume volume, Region reach, SupportOptions options, RunContext run)
    {
        using var hard = Threshold.Apply(volume, new(options.HardHu, short.MaxValue), run);
        using var pieces = Components.Find(hard, volume.Map, run);
        var samplesWithin = pieces.CountWithin(reach, run);
        using var shells = pieces.Keep(p => 2 * samplesWithin[p] < pieces.Pieces[p].Samples && pieces.Pieces[p].VolumeMm3 >= SmallestShellMm3, run);
        return Morphology.Dilate(shells, volume.Map, options.BlurMm, run);
    }

    // Thick pieces other than the body, with what the opening took off them.
    private static Region Blocks(Region tissue, Components thick, Region reach, IndexToPatient map, SupportOptions options, RunContext run)
    {
        using var blocks = thick.Keep(p => p > 0 && thick.Pieces[p].VolumeMm3 > EarMm3, run);
        using var regrown = Grow.Spread(blocks, tissue, map, options.OpenMm + options.BlurMm, run);
        return Morphology.Combine(regrown, reach, (a, b) => a & ~b, run);
    }

    private static Region WithoutSoftSupport(Region region, Region core, Region reach, IndexToPatient map, SupportOptions options, RunContext run)
    {
        using var beyond = Morphology.Combine(region, reach, (a, b) => a & ~b, run);
        using var protruding = Components.Find(beyond, map, run);
        if (protruding.Pieces.Count == 0 || protruding.Pieces[0].VolumeMm3 <= EarMm3)
            return region.Copy();
        using var large = protruding.Keep(p => protruding.Pieces[p].VolumeMm3 > EarMm3, run);
        using var skin = Morphology.Dilate(core, map, options.BlurMm, run);
        using var beyondSkin = Morphology.Combine(region, skin, (a, b) => a & ~b, run);
        using var soft = Grow.Spread(large, beyondSkin, map, options.OpenMm + (2 * options.BlurMm), run);
        return Morphology.Combine(region, soft, (a, b) => a & ~b, run);
    }

    private static RegionResult Unjudged(Volume volume, Region region, double share, RunContext run)
    {
        var same = region.Copy();
        return new(same, RegionMeasures.Effect(region, same, volume.Map, run, ("bodyShare", share)),
        [
            new(FindingCodes.SupportNotJudged, Severity.Caution,
                FormattableString.Invariant($"The largest thick body is only {share:P0} of what has body HU, so it is not taken for a patient; nothing was removed."),
                "Drop the support with select-pieces or split, or leave the step out."),
        ]);
    }

    private static RegionResult Result(Volume volume, Region region, Region kept, double share, RunContext run)
    {
        var effect = RegionMeasures.Effect(region, kept, volume.Map, run, ("bodyShare", share));
        var removed = effect.Measures!["removedMm3"];
        return new(kept, effect, removed == 0 ? [] :
        [
            new(FindingCodes.SupportRemoved, Severity.Note,
                FormattableString.Invariant($"{removed / 1000:F2} cm³ outside the patient's body were removed (table, headrest, clamps)."),
                "Check on the sections that no anatomy is among it: hard parts outside the skin, such as an external fixator, are removed too."),
        ]);
    }

    /// <summary>The patient, what surrounds the patient closely, and what is hard or thick beyond.</summary>
    private sealed record Body(Region Core, Region Reach, Region Support) : IDisposable
    {
        public void Dispose()
        {
            Core.Dispose();
            Reach.Dispose();
            Support.Dispose();
        }
    }
}
