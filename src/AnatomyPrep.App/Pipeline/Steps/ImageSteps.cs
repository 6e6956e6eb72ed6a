using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Imaging.Volumes;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps from images to a region.</summary>
internal static class ImageSteps
{
    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        (new StepSpec("denoise", Stage.Volume, "Smooth the grey values within each slice.",
            [
                new("method", ParameterKind.Text, "How: none, median, gaussian or bilateral", null, Choices: ["none", "median", "gaussian", "bilateral"]),
                new("radiusMm", ParameterKind.Number, "Radius of the median, or standard deviation of the others", 0.5, 0.05, Denoise.LargestSizeMm),
                new("sigmaHu", ParameterKind.Number, "Bilateral: differences well above this are kept as edges", 60.0, 1, 2000),
            ]), ApplyDenoise),
        (new StepSpec("crop", Stage.Volume, "Keep the part of the images inside a box in patient coordinates (LPS).",
            [
                new("minMm", ParameterKind.Vector, "Corner with the smallest coordinates"),
                new("maxMm", ParameterKind.Vector, "Corner with the largest coordinates"),
            ]), ApplyCrop),
        (new StepSpec("threshold", Stage.Segment, "Take the samples whose HU lie in a window; both ends are inside.",
            [
                new("lowerHu", ParameterKind.Integer, "Lower level; the surface lies on it", null, short.MinValue, short.MaxValue),
                new("upperHu", ParameterKind.Integer, "Upper level", (int)short.MaxValue, short.MinValue, short.MaxValue),
            ]), ApplyThreshold),
        (new StepSpec("keep-pieces", Stage.Segment, "Keep the largest connected pieces (samples that touch through faces).",
            [
                new("largest", ParameterKind.Integer, "How many to keep, by volume; 0 means all", 1, 0, 1_000_000),
                new("minVolumeMm3", ParameterKind.Number, "Drop pieces smaller than this", 0.0, 0, 1e9),
            ]), KeepPieces),
    ];

    private static StepOutcome ApplyDenoise(PipelineState state, PlanStep step, RunContext run)
    {
        var volume = state.Volume(step.Name);
        var radiusMm = step.Number("radiusMm");
        return step.Text("method") switch
        {
            "median" => Take(state, Denoise.Median(volume, radiusMm, run)),
            "gaussian" => Take(state, Denoise.Gaussian(volume, radiusMm, run)),
            "bilateral" => Take(state, Denoise.Bilateral(volume, radiusMm, step.Number("sigmaHu"), run)),
            _ => StepOutcome.Of(StepEffect.None),
        };
    }

    private static StepOutcome ApplyCrop(PipelineState state, PlanStep step, RunContext run) =>
        Take(state, Crop.InMm(state.Volume(step.Name), new Box3(step.Vector("minMm"), step.Vector("maxMm")), run));

    private static StepOutcome Take(PipelineState state, VolumeResult result)
    {
        state.Replace(result.Volume);
        return new(result.Effect, result.Findings);
    }

    private static StepOutcome ApplyThreshold(PipelineState state, PlanStep step, RunContext run)
    {
        var window = new HuWindow((short)step.Integer("lowerHu"), (short)step.Integer("upperHu"));
        if (window.LowerHu > window.UpperHu)
            throw new PlanException("plan", step.Line, "threshold.upperHu", $"{window.UpperHu}", $"at least lowerHu, {window.LowerHu}");
        var volume = state.Volume(step.Name);
        var region = Threshold.Apply(volume, window, run);
        state.Replace(region);
        var samples = region.CountSamples();
        var effect = new StepEffect(Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["samples"] = samples,
            ["volumeMm3"] = RegionMeasures.VolumeMm3(region, volume.Map, run),
        });
        return samples > 0
            ? StepOutcome.Of(effect)
            : StepOutcome.Of(effect, new Finding(FindingCodes.RegionEmpty, Severity.Stop,
                $"No sample lies between {window.LowerHu} and {window.UpperHu} HU.", "Look at the range of HU with inspect and choose a window inside it."));
    }

    private static StepOutcome KeepPieces(PipelineState state, PlanStep step, RunContext run)
    {
        var volume = state.Volume(step.Name);
        using var components = Components.Find(state.Region(step.Name), volume.Map, run);
        var pieces = components.Pieces;
        var largest = step.Integer("largest");
        var minimumMm3 = step.Number("minVolumeMm3");
        var keep = pieces.TakeWhile((p, i) => (largest == 0 || i < largest) && p.VolumeMm3 >= minimumMm3).Count();
        var dropped = pieces.Skip(keep).ToArray();
        var effect = new StepEffect(
            VolumeBeforeMm3: pieces.Sum(p => p.VolumeMm3),
            VolumeAfterMm3: pieces.Take(keep).Sum(p => p.VolumeMm3),
            Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
            {
                ["piecesBefore"] = pieces.Count,
                ["piecesAfter"] = keep,
                ["largestDroppedMm3"] = dropped.Length > 0 ? dropped[0].VolumeMm3 : 0,
            });
        state.Replace(components.Keep(keep, run));
        if (keep == 0)
        {
            return StepOutcome.Of(effect, new Finding(FindingCodes.RegionEmpty, Severity.Stop,
                FormattableString.Invariant($"No piece has {minimumMm3} mm³; the largest has {(pieces.Count > 0 ? pieces[0].VolumeMm3 : 0):F1} mm³."), "Lower keep-pieces.minVolumeMm3 or change the threshold."));
        }

        return dropped.Length == 0
            ? StepOutcome.Of(effect)
            : StepOutcome.Of(effect, new Finding(FindingCodes.FragmentsDropped, Severity.Note,
                FormattableString.Invariant($"{dropped.Length} separate pieces were left out; the largest has {dropped[0].VolumeMm3:F1} mm³, together {dropped.Sum(p => p.VolumeMm3):F1} mm³."),
                "Check on the sections that no anatomy is missing."));
    }
}
