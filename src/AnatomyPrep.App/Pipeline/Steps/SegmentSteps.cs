using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps from images or a region to a region.</summary>
internal static class SegmentSteps
{
    private const double FarMm = 10_000;
    private const double WidestMm = 30;

    private static ParameterSpec RadiusMm => new("radiusMm", ParameterKind.Number, "Radius of the ball, in the patient", null, 0.05, WidestMm);

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        Step("threshold-tissue", "Take the samples in the HU window of a tissue, and say where its numbers come from.",
            [new("tissue", ParameterKind.Text, "Which tissue", Choices: [.. TissueWindow.All.Select(t => t.Name)])],
            ThresholdTissue),
        Step("threshold-suggested", "Take the samples above a level that is found in the images and stated with its reasoning.",
            [
                new("method", ParameterKind.Text, "half-maximum is the middle along the edges, where a blurred boundary lies; otsu parts the samples of the range in two", "half-maximum", Choices: ["half-maximum", "otsu"]),
                Hu("fromHu", "Lower end of the range that holds both materials"),
                Hu("toHu", "Upper end of that range"),
                new("startHu", ParameterKind.Integer, "half-maximum: a level that crosses the boundary; left out, Otsu's in the range", null, short.MinValue, short.MaxValue, Optional: true),
                new("reachMm", ParameterKind.Number, "half-maximum: how far an edge is followed to each side", 3.0, 0.2, 20),
                new("upperHu", ParameterKind.Integer, "Upper level of the structure", (int)short.MaxValue, short.MinValue, short.MaxValue),
            ],
            ThresholdSuggested),
        Step("grow", "Take what hangs together with seed points within a HU window and up to a steepness.",
            [
                SeedsMm("Points on the structure, LPS"),
                Hu("lowerHu", "Lower level; the surface lies on it"),
                new("upperHu", ParameterKind.Integer, "Upper level", (int)short.MaxValue, short.MinValue, short.MaxValue),
                new("maxGradientHuPerMm", ParameterKind.Number, "Steeper samples stop the growth; left out, none do", null, 1, 100_000, Optional: true),
                new("expandMm", ParameterKind.Number, "With a gradient limit: how far to spread afterwards over the steep rim, within the window", 1.0, 0, WidestMm),
            ],
            (state, step, run) => Grow.Apply(state.Volume(step.Name), new(Points(step, "seedsMm"), Window(step), step.Has("maxGradientHuPerMm") ? step.Number("maxGradientHuPerMm") : null, step.Number("expandMm")), run)),
        Change("dilate", "Add every sample within a radius of the region.", [RadiusMm], (v, r, step, run) => Morphology.Dilate(r, v.Map, step.Number("radiusMm"), run)),
        Change("erode", "Remove every sample within a radius of the outside.", [RadiusMm], (v, r, step, run) => Morphology.Erode(r, v.Map, step.Number("radiusMm"), run)),
        Change("open", "Remove bridges and spurs thinner than twice the radius.", [RadiusMm], (v, r, step, run) => Morphology.Open(r, v.Map, step.Number("radiusMm"), run)),
        Change("close", "Close gaps narrower than twice the radius.", [RadiusMm], (v, r, step, run) => Morphology.Close(r, v.Map, step.Number("radiusMm"), run)),
        Step("smooth-region", "Take pits and spurs off the region, and keep plates that are thinner than the ball.",
            [RadiusMm, new("keepThinMm3", ParameterKind.Number, "Thin pieces of at least this volume stay", 10.0, 0, 1e9)],
            (state, step, run) => SmoothRegion.Apply(state.Volume(step.Name), state.Region(step.Name), step.Number("radiusMm"), step.Number("keepThinMm3"), run)),
        Step("fill-cavities", "Take closed voids up to a size into the region.",
            [new("maxVolumeMm3", ParameterKind.Number, "Larger voids stay", null, 0, 1e9)],
            Cavities),
        Step("select-pieces", "Keep or drop the connected pieces that points lie on.",
            [
                SeedsMm("A point on or near each piece, LPS"),
                new("reachMm", ParameterKind.Number, "How far from a point its piece may be", 3.0, 0, 100),
                new("action", ParameterKind.Text, "What happens to them", "keep", Choices: ["keep", "drop"]),
            ],
            (state, step, run) => SelectPieces.Apply(state.Volume(step.Name), state.Region(step.Name), Points(step, "seedsMm"), step.Number("reachMm"), step.Text("action") == "keep", run)),
    ];

    private static RegionResult ThresholdTissue(PipelineState state, PlanStep step, RunContext run)
    {
        var tissue = TissueWindow.All.First(t => t.Name == step.Text("tissue"));
        return Begin(state.Volume(step.Name), tissue.Window, run, new Finding(FindingCodes.ThresholdChosen, Severity.Note,
            FormattableString.Invariant($"{tissue.Name}: {tissue.Window.LowerHu} to {tissue.Window.UpperHu} HU, {tissue.Reason}."),
            $"Bear in mind: {tissue.Beware}."));
    }

    private static RegionResult ThresholdSuggested(PipelineState state, PlanStep step, RunContext run)
    {
        var volume = state.Volume(step.Name);
        var range = new HuWindow((short)step.Integer("fromHu"), (short)step.Integer("toHu"));
        var halfMaximum = step.Text("method") == "half-maximum";
        var start = halfMaximum && step.Has("startHu") ? (short)step.Integer("startHu") : (short?)null;
        var found = start is null ? SuggestThreshold.Otsu(volume, range, run) : null;
        if (halfMaximum)
            found = SuggestThreshold.HalfMaximum(volume, start ?? found!.LevelHu, range, step.Number("reachMm"), run);
        var upper = step.Integer("upperHu");
        if (found!.LevelHu > upper)
            throw new BadInputException(step.Name, "upperHu", $"{upper}", $"The suggested lower level is {found.LevelHu} HU: raise upperHu.");
        return Begin(volume, new(found.LevelHu, (short)upper), run, new Finding(FindingCodes.ThresholdSuggested, Severity.Note, found.Reasoning,
            "Compare the sections with a threshold of your own; once chosen, put the number into the plan, so that other images do not get another one."),
            ("levelHu", found.LevelHu), ("lowSideHu", found.LowSideHu), ("highSideHu", found.HighSideHu), ("spreadHu", found.SpreadHu ?? 0));
    }

    private static RegionResult Cavities(PipelineState state, PlanStep step, RunContext run)
    {
        var volume = state.Volume(step.Name);
        var before = state.Region(step.Name);
        var (filled, voids) = FillCavities.Apply(before, volume.Map, step.Number("maxVolumeMm3"), run);
        var effect = RegionMeasures.Effect(before, filled, volume.Map, run, ("voidsFilled", voids.Count));
        return new(filled, effect, voids.Count == 0 ? [] :
        [
            new(FindingCodes.CavitiesFilled, Severity.Note,
                FormattableString.Invariant($"{voids.Count} closed voids were filled, {voids.Sum(v => v.VolumeMm3):F1} mm³ together; the largest has {voids[0].VolumeMm3:F1} mm³."),
                "Lower maxVolumeMm3 if a cavity of the anatomy is among them."),
        ]);
    }

    private static RegionResult Begin(Volume volume, HuWindow window, RunContext run, Finding finding, params (string Name, double Value)[] measures)
    {
        var region = Threshold.Apply(volume, window, run);
        using var nothing = region.Like();
        return new(region, RegionMeasures.Effect(nothing, region, volume.Map, run, measures), [finding]);
    }

    private static HuWindow Window(PlanStep step)
    {
        var window = new HuWindow((short)step.Integer("lowerHu"), (short)step.Integer("upperHu"));
        return window.LowerHu <= window.UpperHu
            ? window
            : throw new PlanException("plan", step.Line, $"{step.Name}.upperHu", $"{window.UpperHu}", $"at least lowerHu, {window.LowerHu}");
    }

    private static Vec3[] Points(PlanStep step, string name) => [.. step.List(name).Cast<Vec3>()];

    private static ParameterSpec SeedsMm(string description) => new("seedsMm", ParameterKind.List, description, Minimum: -FarMm, Maximum: FarMm, Item: ParameterKind.Vector);

    private static ParameterSpec Hu(string name, string description) => new(name, ParameterKind.Integer, description, null, short.MinValue, short.MaxValue);

    private static (StepSpec, StepFunction) Change(string name, string description, ParameterSpec[] parameters, Func<Volume, Region, PlanStep, RunContext, Region> apply) =>
        Step(name, description, parameters, (state, step, run) =>
        {
            var volume = state.Volume(step.Name);
            var before = state.Region(step.Name);
            var after = apply(volume, before, step, run);
            return new(after, RegionMeasures.Effect(before, after, volume.Map, run), []);
        });

    private static (StepSpec, StepFunction) Step(string name, string description, ParameterSpec[] parameters, Func<PipelineState, PlanStep, RunContext, RegionResult> apply) =>
        (new StepSpec(name, Stage.Segment, description, parameters), (state, step, run) =>
        {
            var result = apply(state, step, run);
            state.Replace(result.Region);
            return result.Region.IsEmpty
                ? StepOutcome.Of(result.Effect, [.. result.Findings, new Finding(FindingCodes.RegionEmpty, Severity.Stop, $"Nothing is left after {name}.", "Change its parameters, or the threshold before it.")])
                : new(result.Effect, result.Findings);
        }
    );
}
