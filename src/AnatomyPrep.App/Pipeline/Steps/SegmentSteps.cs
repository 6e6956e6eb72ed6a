using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;

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
            (state, step, run) => Grow.Apply(state.Volume(step.Name), new(Points(step, "seedsMm"), Window(step), step.NumberOrNull("maxGradientHuPerMm"), step.Number("expandMm")), run)),
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
        Step("split", "Part what touches at its narrow places, between points on the part to keep and points on the rest.",
            [
                new("keepMm", ParameterKind.List, "Points on the part to keep, LPS", Minimum: -FarMm, Maximum: FarMm, Item: ParameterKind.Vector),
                new("dropMm", ParameterKind.List, "Points on the part to drop, LPS", Minimum: -FarMm, Maximum: FarMm, Item: ParameterKind.Vector),
                new("gradientWeightMm", ParameterKind.Number, "Steepness of 1000 HU/mm counts like being so much nearer to the surface; 0 looks at the shape alone", 0.0, 0, 100),
                new("reachMm", ParameterKind.Number, "How far from a point the region may be", 3.0, 0, 100),
                new("unseeded", ParameterKind.Text, "What happens to pieces without a point", "drop", Choices: ["drop", "keep"]),
            ],
            SplitParts),
        Step("remove-support", "Take out table, headrest and whatever else lies outside the patient's body.",
            [
                new("bodyHu", ParameterKind.Integer, "Body has at least this", -300, short.MinValue, short.MaxValue),
                new("openMm", ParameterKind.Number, "Half the thickness that a body has and a support has not", 5.0, 0.5, WidestMm),
                new("hardHu", ParameterKind.Integer, "Outside the body, at least this is a shell, not an ear", 200, short.MinValue, short.MaxValue),
                new("blurMm", ParameterKind.Number, "Width of the blurred edge that goes with a shell", 1.5, 0, 10),
            ],
            (state, step, run) => RemoveSupport.Apply(state.Volume(step.Name), state.Region(step.Name), new((short)step.Integer("bodyHu"), step.Number("openMm"), (short)step.Integer("hardHu"), step.Number("blurMm")), run)),
        Step("adaptive-threshold", "Take bone above a level that follows thin walls down, within a range; compared with the plain threshold.",
            [
                Hu("lowestHu", "No local level is below this"),
                Hu("plainHu", "Level of thick bone; no local level is above it, and a plain threshold at it is compared with"),
                new("neighbourhoodMm", ParameterKind.Number, "How far around a place its two sides are looked for", 3.0, 0.3, 50),
            ],
            Adaptive),
        Step("fill-inside", "Take everything into the region that is not outside the body: airways, sinuses, gas.",
            [new("sealMm", ParameterKind.Number, "Openings narrower than twice this are closed; 0 closes none", 0.0, 0, WidestMm)],
            (state, step, run) => FillInside.Apply(state.Volume(step.Name), state.Region(step.Name), step.Number("sealMm"), run)),
        Step("inner-air", "Take the air inside the body, airways and sinuses, closed where it opens to the outside.",
            [
                new("upperHu", ParameterKind.Integer, "Air has at most this; the surface lies on it", -480, short.MinValue, short.MaxValue),
                new("sealMm", ParameterKind.Number, "Openings narrower than twice this are closed by themselves; 0 closes none", 3.0, 0, WidestMm),
                new("lidsMm", ParameterKind.List, "Middle of a disc across each opening to close, LPS", Minimum: -FarMm, Maximum: FarMm, Optional: true, Item: ParameterKind.Vector),
                new("lidNormals", ParameterKind.List, "Direction across each opening", Optional: true, Item: ParameterKind.Vector),
                new("lidRadiusMm", ParameterKind.Number, "Radius of the discs", 20.0, 0.5, 500),
                new("seedsMm", ParameterKind.List, "Points in the wanted spaces, LPS; left out, all of them", Minimum: -FarMm, Maximum: FarMm, Optional: true, Item: ParameterKind.Vector),
                new("minVolumeMm3", ParameterKind.Number, "Without points: smaller spaces are left out", 100.0, 0, 1e9),
                new("reachMm", ParameterKind.Number, "How far from a point its space may be", 3.0, 0, 100),
                new("ignoreSupport", ParameterKind.Flag, "Air between the skin and a table or headrest is outer air (see remove-support)", true),
            ],
            AirInside),
        Step("lumen", "Take the contrast in a vessel from seed points, up to the middle between it and what surrounds it.",
            [
                SeedsMm("Points in the vessel, LPS"),
                new("surroundingHu", ParameterKind.Number, "HU of the wall and what surrounds it (blood and soft tissue have 40 to 65)", 50.0, short.MinValue, short.MaxValue),
                new("upperHu", ParameterKind.Integer, "Above this it is not contrast", (int)short.MaxValue, short.MinValue, short.MaxValue),
                new("maxGradientHuPerMm", ParameterKind.Number, "Steeper samples stop the growth, to keep bone out that touches", null, 1, 100_000, Optional: true),
                new("expandMm", ParameterKind.Number, "With a gradient limit: how far to spread afterwards over the steep rim", 1.0, 0, WidestMm),
            ],
            Contrast),
        Step("stroke", "Add what a hand drew, or erase it.",
            [
                new("action", ParameterKind.Text, "What the brush does", Choices: ["add", "erase"]),
                new("pointsMm", ParameterKind.List, "Path of the brush, LPS; for a disc, points on one plane are one drawing, and planes are interpolated between", Minimum: -FarMm, Maximum: FarMm, Item: ParameterKind.Vector),
                new("radiusMm", ParameterKind.Number, "Radius of the ball or disc", null, 0.05, 500),
                new("normal", ParameterKind.Vector, "For a disc: direction at right angles to the plane drawn in; left out, the brush is a ball", Optional: true),
                new("thicknessMm", ParameterKind.Number, "For a disc: thickness at the first and last plane", 1.0, 0.01, 500),
                new("lowerHu", ParameterKind.Integer, "Add only samples with at least this", (int)short.MinValue, short.MinValue, short.MaxValue),
                new("upperHu", ParameterKind.Integer, "Add only samples with at most this", (int)short.MaxValue, short.MinValue, short.MaxValue),
            ],
            (state, step, run) => Strokes.Apply(
                state.Volume(step.Name), state.Region(step.Name),
                new(Points(step, "pointsMm"), step.Number("radiusMm"), step.VectorOrNull("normal"), step.Number("thicknessMm")),
                step.Text("action") == "add", Window(step), run)),
        Step("metal", "Find metal, mark the zone around it where every boundary is uncertain, and take the metal out if asked.",
            [
                new("levelHu", ParameterKind.Integer, "Metal has at least this", 3000, short.MinValue, short.MaxValue),
                new("reachMm", ParameterKind.Number, "How far streaks are taken to reach", 10.0, 0, WidestMm),
                new("remove", ParameterKind.Flag, "Take the metal out of the region; the hole is marked cut", false),
            ],
            Metal),
    ];

    private static RegionResult SplitParts(PipelineState state, PlanStep step, RunContext run)
    {
        var volume = state.Volume(step.Name);
        var before = state.Region(step.Name);
        var options = new SplitOptions([Points(step, "keepMm"), Points(step, "dropMm")], step.Number("gradientWeightMm"), step.Number("reachMm"));
        using var split = Split.Apply(volume, before, options, run);
        var keepUnseeded = step.Text("unseeded") == "keep";
        var after = keepUnseeded ? Morphology.Combine(split.Parts[0], split.Unseeded, (a, b) => a | b, run) : split.Parts[0].Copy();
        var unseededMm3 = RegionMeasures.VolumeMm3(split.Unseeded, volume.Map, run);
        var effect = RegionMeasures.Effect(before, after, volume.Map, run, ("droppedPartMm3", RegionMeasures.VolumeMm3(split.Parts[1], volume.Map, run)), ("unseededMm3", unseededMm3));
        return new(after, effect, keepUnseeded || unseededMm3 == 0 ? [] :
        [
            new(FindingCodes.FragmentsDropped, Severity.Note,
                FormattableString.Invariant($"{unseededMm3:F1} mm³ in pieces without a point were left out."), "Give them a point, or set unseeded: keep."),
        ]);
    }

    private static RegionResult Adaptive(PipelineState state, PlanStep step, RunContext run)
    {
        var volume = state.Volume(step.Name);
        var options = new AdaptiveOptions((short)step.Integer("lowestHu"), (short)step.Integer("plainHu"), step.Number("neighbourhoodMm"));
        var region = AdaptiveThreshold.Apply(volume, options, run);
        using var plain = Threshold.Apply(volume, new(options.UpperHu, short.MaxValue), run);
        double AreaMm2(Region of) => MeshMeasures.AreaMm2(FlyingEdges.Extract(volume, of, run).Mesh, run);
        double adaptiveMm2 = AreaMm2(region), plainMm2 = AreaMm2(plain);
        var effect = RegionMeasures.Effect(plain, region, volume.Map, run, ("surfaceMm2", adaptiveMm2), ("plainSurfaceMm2", plainMm2));
        var added = effect.Measures!["addedMm3"];
        return new(region, effect, added == 0 ? [] :
        [
            new(FindingCodes.ThinBoneAdded, Severity.Note,
                FormattableString.Invariant($"Local levels down to {options.LowerHu} HU took in {added / 1000:F2} cm³ that a plain threshold at {options.UpperHu} HU loses; the surface grows from {plainMm2 / 100:F1} to {adaptiveMm2 / 100:F1} cm²."),
                "Check thin walls on the sections: where soft tissue or contrast reaches these levels, it may have come along."),
        ]);
    }

    private static RegionResult AirInside(PipelineState state, PlanStep step, RunContext run)
    {
        Vec3[] points = step.Has("lidsMm") ? Points(step, "lidsMm") : [], normals = step.Has("lidNormals") ? Points(step, "lidNormals") : [];
        if (points.Length != normals.Length)
            throw new PlanException("plan", step.Line, "inner-air.lidNormals", $"{normals.Length}", $"one for each of the {points.Length} in lidsMm");
        var lids = points.Zip(normals, (p, n) => new Lid(p, n, step.Number("lidRadiusMm"))).ToArray();
        return InnerAir.Apply(
            state.Volume(step.Name),
            new((short)step.Integer("upperHu"), step.Number("sealMm"), lids, step.Has("seedsMm") ? Points(step, "seedsMm") : [], step.Number("minVolumeMm3"), step.Number("reachMm"), step.Flag("ignoreSupport") ? new SupportOptions() : null),
            run);
    }

    private static RegionResult Contrast(PipelineState state, PlanStep step, RunContext run) =>
        Lumen.Apply(
            state.Volume(step.Name),
            new(Points(step, "seedsMm"), step.Number("surroundingHu"), (short)step.Integer("upperHu"), step.NumberOrNull("maxGradientHuPerMm"), step.Number("expandMm")),
            run);

    private static RegionResult Metal(PipelineState state, PlanStep step, RunContext run)
    {
        var (result, zone) = MetalZone.Apply(state.Volume(step.Name), state.Region(step.Name), (short)step.Integer("levelHu"), step.Number("reachMm"), step.Flag("remove"), run);
        state.MarkUncertain(zone);
        return result;
    }

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
