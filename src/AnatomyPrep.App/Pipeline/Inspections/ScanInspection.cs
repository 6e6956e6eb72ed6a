using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Inspections;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline.Inspections;

/// <summary>A scan of the printed part, or a CT of it, laid on its model.</summary>
internal sealed class ScanInspection(Workbench bench)
{
    public const string Picture = "deviation.png";

    /// <summary>Plan that makes a surface of images of a part.</summary>
    public const string UsualPlan = "part-scan";

    /// <summary>What the scan says, and the map of its deviation.</summary>
    /// <param name="plan">For images; null for the usual one.</param>
    /// <exception cref="BadInputException">The scan cannot be read or has no surface.</exception>
    /// <exception cref="PlanException">No unit was said, or a plan does not fit the scan.</exception>
    public (InspectionFacts Facts, byte[] Picture) Run(InspectedRun inspected, SourceRequest request, string? plan, double toleranceMm, string? inspector, RunContext run)
    {
        using var source = new SourceLoader(bench.Folders).Load(request, run);
        // A size is what is measured here: numbers without a unit are not taken for millimetres.
        if (source.Findings.Any(f => f.Code == FindingCodes.UnitUnknown))
            throw new PlanException("command", null, "--unit", "missing", "mm, cm, m, in: the scan does not say its unit");
        var (scan, made) = Surface(source, plan, run);
        var found = PartAgainstModel.Measure(scan, inspected.Model, run);
        var (r, map) = (found.Registration, found.Registration.ScanToModel);
        var facts = inspected.Facts(bench.Clock.GetUtcNow(), toleranceMm, inspector) with
        {
            Scan = new(
                source.Facts, [map.X, map.Y, map.Z, map.Translation], r.ResidualRmsMm, r.AfterScaleRmsMm, r.MirroredRmsMm, r.ScanScale, found.CoveredShare,
                found.SignedMeanMm, found.RmsMm, found.P5Mm, found.P50Mm, found.P95Mm, found.WithinP95Mm, found.MaxMm, found.MaxAtMm, made),
        };
        facts = facts with { Passed = facts.Passes(), Findings = [.. source.Findings, .. Findings(facts, facts.Scan!)] };
        return (facts, Draw(inspected, found, toleranceMm, run));
    }

    /// <summary>A scan that is a surface is taken as it is; images are made one by a plan, which is recorded.</summary>
    private (Mesh Surface, PlanFacts? Plan) Surface(LoadedSource source, string? plan, RunContext run)
    {
        if (source.State.SourceVolume is null)
        {
            if (plan is not null)
                throw new PlanException("command", null, "--plan", plan, "no plan with a scan that is a surface");
            return (source.State.Surface("inspect-print"), null);
        }

        var text = bench.Plans.Load(plan ?? UsualPlan);
        foreach (var step in text.Plan.Steps)
        {
            run.ThrowIfCancelled();
            run.Report(step.Name, "running", 0);
            var found = bench.Catalog.Function(step.Name)(source.State, step, run).Findings;
            run.Report(step.Name, "done", 1);
            if (found.FirstOrDefault(f => f.Severity == Severity.Stop) is { } stop)
                throw new BadInputException(step.Name, stop.Code, stop.Message.TrimEnd('.'), stop.Remedy, found);
        }

        return (source.State.Surface("inspect-print"), new(text.Plan.Name, text.Plan.Version, text.Yaml));
    }

    private static IEnumerable<Finding> Findings(InspectionFacts facts, RescanFacts scan)
    {
        var tolerance = facts.ToleranceMm;
        if (scan.IsMirrored())
            yield return new(FindingCodes.PrintMirrored, Severity.Stop,
                FormattableString.Invariant($"The part is the mirror image of its model: mirrored it lies within {scan.MirroredResidualMm:F2} mm of it, as it is within {scan.ResidualMm:F2} mm."),
                "Do not hand it over: left and right are exchanged. Look for mirroring in the machine's program, and in the scanner's.");
        else if (scan.IsOtherPart(tolerance))
            yield return new(FindingCodes.PrintOtherPart, Severity.Stop,
                FormattableString.Invariant($"The scan does not lie on the model: {scan.ResidualAfterScaleMm:F2} mm are left however it is turned, shifted and scaled, and {tolerance} mm is allowed."),
                "Check that this part was printed from this model, that the scan shows nothing else, and its unit.");
        else if (!facts.Passes() && scan.CoveredShare >= RescanFacts.LeastCovered)
            yield return new(FindingCodes.PrintDeviates, Severity.Stop,
                FormattableString.Invariant($"95 % of the part lies within {scan.WithinP95Mm:F2} mm of its model; {tolerance} mm is allowed."),
                "Do not hand it over. Look at the map: scale, warp, supports that were left on.");
        if (scan.CoveredShare < RescanFacts.LeastCovered)
            yield return new(FindingCodes.ScanCoversLittle, Severity.Stop,
                FormattableString.Invariant($"The scan shows {100 * scan.CoveredShare:F0} % of the model; below {100 * RescanFacts.LeastCovered:F0} % nothing is said of the part."),
                "Scan the part from all sides, and join the views.");
        if (Math.Abs(scan.Scale - 1) >= CaliperInspection.ScaleFrom && !scan.IsMirrored() && !scan.IsOtherPart(tolerance))
            yield return new(FindingCodes.PrintScaled, Severity.Caution,
                FormattableString.Invariant($"The part is {100 * Math.Abs(scan.Scale - 1):F2} % too {(scan.Scale > 1 ? "large" : "small")}."),
                "Compare with the shrink of the process profile; for a CT, with the pixel spacing of the scanner.");
    }

    private static byte[] Draw(InspectedRun inspected, PartDeviation found, double toleranceMm, RunContext run)
    {
        double[] limits = [toleranceMm / 4, toleranceMm / 2, toleranceMm, 2 * toleranceMm];
        var options = PreviewOptions.Default with
        {
            Axes = inspected.Axes,
            Title = FormattableString.Invariant($"Scan of the part: material above (+) or below (-) the model; {toleranceMm} mm is allowed"),
            Colours = TriangleColours.BySignedLength(found.InPlace, found.VertexMm, limits),
        };
        return PreviewPicture.Encode(found.InPlace, options, run);
    }
}
