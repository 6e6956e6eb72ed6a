using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that say where a surface is soft; they change nothing.</summary>
internal static class SensitivitySteps
{
    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        (new StepSpec("sensitivity", Stage.Verify, "Measure how far the surface moves when the level is lowered and raised, and how much of it are thin walls. Put it before steps that move or scale.",
            [
                new("stepHu", ParameterKind.Number, "How much the level is lowered and raised", 50.0, 1, 1000),
                new("reachMm", ParameterKind.Number, "Farther than this a surface counts as lost", 5.0, 0.1, 50),
                new("softMm", ParameterKind.Number, "Tell when 5 % of the surface moves farther than this; left out, half the finest sample distance", null, 0.01, 50, Optional: true),
                new("thinSamples", ParameterKind.Number, "Walls of fewer samples count as thin", 2.0, 0.5, 10),
            ]), Measure),
    ];

    private static StepOutcome Measure(PipelineState state, PlanStep step, RunContext run)
    {
        var mesh = state.Surface(step.Name);
        var volume = state.Volume(step.Name);
        var stepHu = step.Number("stepHu");
        var shifts = Sensitivity.Measure(mesh, volume, new(stepHu, step.Number("reachMm"), LevelHu(state.Region(step.Name))), run);
        var thin = ThinWalls.Measure(mesh, volume.Map, step.Number("thinSamples"), run);
        state.Shifts = new(mesh, shifts.LargestMm(), stepHu);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["measuredMm2"] = thin.MeasuredMm2,
            ["thinWallsMm2"] = thin.ThinMm2,
        };
        Add(measures, "lowered", shifts.Lowered);
        Add(measures, "raised", shifts.Raised);
        var softMm = step.NumberOrNull("softMm") ?? volume.Map.FinestSpacingMm / 2;
        return new(new StepEffect(Measures: measures), [.. Findings(shifts, thin, stepHu, softMm, step.Number("thinSamples"))]);
    }

    private static IEnumerable<Finding> Findings(SensitivityResult shifts, ThinWallSummary thin, double stepHu, double softMm, double samples)
    {
        var worst = Math.Max(shifts.Lowered.P95Mm, shifts.Raised.P95Mm);
        var lost = shifts.Lowered.LostMm2 + shifts.Raised.LostMm2;
        if (worst > softMm)
        {
            yield return new(FindingCodes.SurfaceSoft, Severity.Caution,
                FormattableString.Invariant($"{stepHu} HU more or less move 5 % of the surface by {worst:F2} mm or more (half of it by {Math.Max(shifts.Lowered.P50Mm, shifts.Raised.P50Mm):F2} mm); {lost:F0} mm² would be lost or run together."),
                "Look at sensitivity.png; do not measure where the model is soft.");
        }

        if (thin.ThinMm2 > 0)
        {
            yield return new(FindingCodes.FewSamplesAcross, Severity.Note,
                FormattableString.Invariant($"{thin.ThinMm2:F0} mm² of the surface, {thin.ThinMm2 / thin.MeasuredMm2:P1}, are walls thinner than {samples} samples."),
                "Their thickness is that of the blur, not of the bone; see adaptive-threshold for what a plain threshold loses.");
        }
    }

    private static double? LevelHu(Region region) =>
        region.Levels is not null ? null : region.Window.LowerHu == short.MinValue ? region.Window.UpperHu : region.Window.LowerHu;

    private static void Add(SortedDictionary<string, double> measures, string name, ShiftSummary shift)
    {
        measures[$"{name}MeanMm"] = shift.MeanMm;
        measures[$"{name}P50Mm"] = shift.P50Mm;
        measures[$"{name}P95Mm"] = shift.P95Mm;
        measures[$"{name}P99Mm"] = shift.P99Mm;
        measures[$"{name}LostMm2"] = shift.LostMm2;
    }
}
