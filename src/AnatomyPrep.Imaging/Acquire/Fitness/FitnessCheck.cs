using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Acquire.Fitness;

/// <summary>Whether images are fit for a model, whatever file they came from: figures, each with its limit and where that comes from.</summary>
/// <remarks>
/// Method of the noise: the most frequent standard deviation of small patches of soft tissue; O. Christianson et al., "Automated
/// Technique to Measure Noise in Clinical CT Examinations", AJR 205, 2015 (from memory; blocks here, a moving patch there). The
/// other measures are our own; docs/methods/acquire.md, "Fitness", has the derivations, and docs/formats/findings.md the remedies.
/// What a volume is too small or too empty to tell is left out, not guessed.
/// </remarks>
internal sealed class FitnessCheck
{
    private const int FewestMetalSamples = 5;
    private const string Practice = "common practice, no source";
    private const string Ours = "ours, docs/methods/acquire.md";

    private static readonly Rule s_structure = new(FindingCodes.StructureTooFine, "slice thickness or step", "mm", "detail of the structure: common practice, no source; rule: edge model, docs/methods/acquire.md");
    private static readonly Rule s_anisotropy = new(FindingCodes.Anisotropy, "coarsest over finest distance of samples", "", Practice, 3);
    private static readonly Rule s_labels = new(FindingCodes.ValuesNotCt, "different values", "", Ours, 33, AtLeast: true);
    private static readonly Rule s_air = new(FindingCodes.ValuesNotCt, "samples at -1100 to -900 HU", "%", "air is -1000 HU by definition; share: ours", 0.1, AtLeast: true);
    private static readonly Rule s_noise = new(FindingCodes.NoiseHigh, "scatter of soft tissue", "HU", "0.1 % of soft tissue beyond a threshold for bone, docs/methods/acquire.md", 50);
    private static readonly Rule s_metal = new(FindingCodes.MetalInImages, "slices with samples of 3000 HU and more", "", "metal is clipped at 3071 HU: reference values", 0);
    private static readonly Rule s_streaks = new(FindingCodes.MetalStreaks, "scatter of soft tissue in slices with metal over that in the others", "", Ours, 1.5);
    private static readonly Rule s_motion = new(FindingCodes.MotionStep, "difference of two slices over that of the slices around", "", Ours, 2);
    private static readonly Rule s_contrast = new(FindingCodes.ContrastPresent, "homogeneous patches of 6 mm at 150 to 500 HU", "", "iodine at +100 to +500 HU overlaps spongy bone: reference values; number: ours", 100);
    private static readonly Rule s_view = new(FindingCodes.ViewCropped, "tissue among the samples on the border of the pictures", "%", Ours, 5);

    private readonly List<FitnessMeasure> _measures = [];
    private readonly List<Finding> _findings = [];
    private readonly Volume _volume;
    private readonly FitnessContext _context;
    private readonly StructureSize? _structure;

    private FitnessCheck(Volume volume, FitnessContext context) =>
        (_volume, _context, _structure) = (volume, context, StructureSize.Of(context.Anatomy));

    public static FitnessReport Judge(Volume volume, FitnessContext context, RunContext run)
    {
        var check = new FitnessCheck(volume, context);
        check.JudgeGeometry();
        check.JudgeKernel();
        var statistics = volume.Columns >= VolumeStatistics.SmallestSide && volume.Rows >= VolumeStatistics.SmallestSide
            ? VolumeStatistics.Count(volume, run)
            : null;
        if (statistics is not null)
            check.JudgeSamples(statistics);
        check.TellContrast(statistics);
        return new(check._measures, check._findings);
    }

    private void JudgeGeometry()
    {
        if (_structure is { } structure)
            Hold(s_structure with { Limit = structure.DetailMm }, _context.CoarsestMm, Severity.Caution, $"Slices are coarser than the finest detail of what is asked for ({structure.Word})", "Ask for slices no thicker than the detail: thin parts may be missing from the model.");
        var map = _volume.Map;
        var finest = Math.Min(map.ColumnStepMm.Length, map.RowStepMm.Length);
        var ratio = Math.Max(_context.CoarsestMm, Math.Max(map.ColumnStepMm.Length, map.RowStepMm.Length)) / finest;
        Hold(s_anisotropy, ratio, ratio > 5 ? Severity.Caution : Severity.Note, "Samples are much coarser along one axis", "Expect steps on slanted surfaces; ask for a thinner reconstruction.");
    }

    private void JudgeKernel()
    {
        const string source = "bone kernel for bone, soft kernel for soft tissue: common practice, no source";
        var kind = KernelKinds.Of(_context.Kernel);
        if (kind is KernelKind.Sharp && _structure is not { Bone: true })
            Tell(FindingCodes.KernelSharp, Severity.Note, $"The kernel {_context.Kernel} is a sharp one: edges overshoot and noise is strong ({source}).", "Right for thin bone; for skin, vessels and airways ask for the soft kernel.");
        if (kind is KernelKind.Soft && _structure is not { Bone: false })
            Tell(FindingCodes.KernelSoft, Severity.Note, $"The kernel {_context.Kernel} is a soft one: thin bone is blurred ({source}).", "Right for skin and vessels; for thin bone ask for the bone kernel.");
    }

    private void JudgeSamples(VolumeStatistics statistics)
    {
        JudgeValues(statistics);
        if (VolumeStatistics.PeakHu(statistics.SoftBlocks) is { } noise)
            Hold(s_noise, noise, Severity.Caution, "Noise is strong", "Denoise before the threshold, or ask for a softer kernel or thicker slices.");
        else if (VolumeStatistics.PeakHu(statistics.AirBlocks) is { } inAir)
            Hold(s_noise with { Name = "scatter of air" }, inAir, Severity.Caution, "Noise is strong", "Denoise before the threshold, or ask for a softer kernel or thicker slices.");
        JudgeMetal(statistics);
        JudgeMotion(statistics.DifferencesHu);
        Hold(s_view, 100 * statistics.BorderTissueShare, Severity.Caution, "The field of view cuts the body", "The model ends in a cut there; ask for a reconstruction with the whole part in view.");
    }

    private void JudgeValues(VolumeStatistics statistics)
    {
        if (Hold(s_labels, statistics.DifferentValues, Severity.Caution, "The values look like a map of labels, not like CT", "Give the images themselves: HU place the surface between samples."))
            Hold(s_air, 100.0 * statistics.AirSamples / _volume.Count, Severity.Caution, "There is no air, so the values may not be HU (MR, cone beam grey values, a missing intercept of -1024)", "Check air (-1000) and soft tissue (0 to 100) before a threshold in HU is trusted.");
    }

    private void JudgeMetal(VolumeStatistics statistics)
    {
        var metal = statistics.Metal;
        bool HasMetal(int slice) => metal[slice] >= FewestMetalSamples;
        var slices = Enumerable.Range(0, metal.Count).Where(HasMetal).ToArray();
        var share = 100.0 * metal.Sum(m => (long)m) / _volume.Count;
        if (Hold(s_metal, slices.Length, Severity.Note, string.Create(CultureInfo.InvariantCulture, $"Metal or enamel, {share:0.####} % of the samples"), "Look at the surface near it; set an upper limit of the threshold.", At(slices)))
            return;
        if (VolumeStatistics.MedianHu(statistics.SoftBlocksOf(HasMetal)) is { } with && VolumeStatistics.MedianHu(statistics.SoftBlocksOf(k => !HasMetal(k))) is { } without)
            Hold(s_streaks, with / without, Severity.Caution, "Streaks around metal", "Do not trust the surface in these slices; nothing is invented in their place.", At(slices));
    }

    private Place? At(int[] slices) => slices.Length == 0 ? null : new(Slice: slices[0], PositionMm: _volume.Map.SliceOriginsMm[slices[0]]);

    /// <summary>A slice that differs from the next far more than its neighbours from theirs: the patient moved, or slices are not of one scan.</summary>
    private void JudgeMotion(IReadOnlyList<double> differencesHu)
    {
        const int reach = 4;
        const double smallestHu = 5;
        const double sameStep = 0.1;
        var normal = _volume.Map.Normal;
        double[] steps = [.. Enumerable.Range(0, differencesHu.Count).Select(k => Vec3.Dot(normal, _volume.Map.SliceStepMm(k)))];
        var (worst, at) = (0.0, -1);
        for (var k = 0; k < differencesHu.Count; k++)
        {
            var first = Math.Max(0, k - reach);
            double[] around = [.. Enumerable.Range(first, Math.Min(differencesHu.Count, k + reach + 1) - first)
                .Where(n => n != k && Math.Abs(steps[n] - steps[k]) <= sameStep * steps[k]).Select(n => differencesHu[n])];
            // Where neither side has its own measure of what is usual there is nothing to compare with.
            if (around.Length < reach)
                continue;
            var ratio = differencesHu[k] / Math.Max(smallestHu, SpacingRule.Median(around));
            if (ratio > worst)
                (worst, at) = (ratio, k);
        }

        if (at >= 0)
            Hold(s_motion, worst, Severity.Caution, FormattableString.Invariant($"Slices {at} and {at + 1} differ far more than their neighbours, as when a patient moves"), "Look for a step in the model there.", At([at]));
    }

    private void TellContrast(VolumeStatistics? statistics)
    {
        const string remedy = "A threshold for bone takes vessels too: raise it, part them with steps of the plan, or ask for the scan without contrast.";
        var noise = statistics is null ? null : VolumeStatistics.PeakHu(statistics.SoftBlocks);
        var patches = noise is { } hu ? VolumeStatistics.CountUpTo(statistics!.BrightBlocks, (1.5 * hu) + 5) : (long?)null;
        if (_context.ContrastTagged)
            Tell(FindingCodes.ContrastPresent, Severity.Caution, $"The file says that contrast agent was given{(patches is null ? "" : $"; {patches} homogeneous patches of 6 mm at 150 to 500 HU")} ({s_contrast.Source}).", remedy);
        else if (patches is { } count)
            Hold(s_contrast, count, Severity.Note, "There seem to be vessels with contrast agent", remedy);
    }

    /// <summary>Notes the figure, and a finding when it does not keep to its limit; true when it does.</summary>
    private bool Hold(Rule rule, double value, Severity severity, string what, string remedy, Place? place = null)
    {
        var holds = rule.AtLeast ? value >= rule.Limit : value <= rule.Limit;
        _measures.Add(new(rule.Code, rule.Name, value, rule.Unit, rule.Limit, rule.Source, holds));
        if (!holds)
            _findings.Add(new(rule.Code, severity, string.Create(CultureInfo.InvariantCulture, $"{what}: {rule.Name} {value:0.###}{Unit(rule)}, limit {rule.Limit:0.###}{Unit(rule)} ({rule.Source})."), remedy, place));
        return holds;
    }

    private void Tell(string code, Severity severity, string message, string remedy) => _findings.Add(new(code, severity, message, remedy));

    private static string Unit(Rule rule) => rule.Unit.Length > 0 ? " " + rule.Unit : "";

    /// <param name="AtLeast">The value must not be below the limit; otherwise not above.</param>
    private sealed record Rule(string Code, string Name, string Unit, string Source, double Limit = 0, bool AtLeast = false);
}
