using System.CommandLine;
using AnatomyPrep.App.Cli.Ledgers;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Bundles;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli;

/// <summary>
/// verify DIR|RECORD|BUNDLE: check signatures, hashes and fields, offline, and name what differs; with the source and a model,
/// also whether the model is the source's surface.
/// </summary>
internal static class VerifyCommand
{
    public static Command Create(CommandContext context)
    {
        var target = new Argument<string>("DIR|RECORD|BUNDLE") { Description = "Folder of a run, its record.json, or a bundle from a ledger" };
        var key = new Option<string?>("--key") { Description = "Public key (PEM) of the signer you trust" };
        var inspectors = new Option<string[]>("--inspector-key") { Description = "With --key: further public keys (PEM) that may have signed additions; may be repeated" };
        var source = new Option<string?>("--source") { Description = "Folder of the source files, to compare them too" };
        var model = new Option<string?>("--model") { Description = "With --source: a mesh said to be the model, to be laid beside the source's surface" };
        var landmarks = new Option<string?>("--landmarks") { Description = "With --model: a YAML file of named points (LPS, mm), distances and angles, measured on source and model instead of those of the recorded plan" };
        var tolerance = new Option<double?>("--tolerance-mm") { Description = "Largest deviation from the source; 0.5 if not given" };
        var code = new Option<string?>("--code") { Description = "What the square code on a report or label says: it must be this record's" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("verify", "Check a record and everything it vouches for") { target, key, inspectors, source, model, landmarks, tolerance, code, json };
        command.Validators.Add(result =>
        {
            if (result.GetValue(inspectors) is { Length: > 0 } && result.GetValue(key) is null)
                result.AddError("--inspector-key needs --key: whose record it is.");
            if (result.GetValue(model) is not null && result.GetValue(source) is null)
                result.AddError("--model needs --source: what the model is laid beside.");
            if (result.GetValue(landmarks) is not null && result.GetValue(model) is null)
                result.AddError("--landmarks needs --model: what they are measured on.");
            if (result.GetValue(tolerance) is not (null or (> 0 and <= 100)))
                result.AddError("--tolerance-mm must lie between 0 and 100.");
        });
        command.SetAction((parsed, cancellation) =>
        {
            var trusted = parsed.GetValue(key) is { } pem ? VerificationKey.FromPem(File.ReadAllText(pem), Path.GetFileName(pem)) : null;
            using (trusted)
            {
                var path = parsed.GetValue(target)!;
                if (File.Exists(path) && BundleVerifier.LooksLikeBundle(path))
                    return Task.FromResult(LedgerKeeping.Show(parsed.GetValue(json), context.Output, BundleVerifier.Verify(File.ReadAllBytes(path), trusted)));
                VerificationKey[] known = [.. (parsed.GetValue(inspectors) ?? []).Select(p => VerificationKey.FromPem(File.ReadAllText(p), Path.GetFileName(p)))];
                var report = context.Run(run => RecordVerifier.Verify(path, trusted, parsed.GetValue(source), run, known), cancellation);
                foreach (var one in known)
                    one.Dispose();
                if (parsed.GetValue(code) is { } scanned)
                    report = WithCode(report, scanned.Trim());
                var points = parsed.GetValue(landmarks) is { } list ? LandmarkReader.ReadFile(list) : null;
                var (agreement, figures) = parsed.GetValue(model) is { } mesh && report is { Holds: true, Statement: { } statement }
                    ? context.Run(run => new SourceCheck(context.Bench).Run(statement, parsed.GetValue(source)!, mesh, points, parsed.GetValue(tolerance) ?? ModelLandmarks.CommonToleranceMm, run), cancellation)
                    : (null, null);
                if (parsed.GetValue(json))
                    Output.WriteJson(new { report.Holds, report.Trust, report.SignerKeyId, report.Checks, report.Notes, Additions = report.Additions.Select(a => new { a.Number, a.Sha256, a.SignerKeyId, a.Inspection.Passed, a.Inspection.At }), Agreement = agreement, Landmarks = figures });
                else
                {
                    Show(context, report, agreement);
                    Show(figures);
                }

                return Task.FromResult(report.Holds && agreement is not { Findings.Count: > 0 } && figures is not { Findings.Count: > 0 } ? ExitCodes.Done : ExitCodes.CheckFailed);
            }
        });
        return command;
    }

    /// <summary>The paper in hand and the folder: one more check.</summary>
    private static VerificationReport WithCode(VerificationReport report, string scanned)
    {
        var expected = report.Statement is { } statement ? RunCode.Of(statement).Text : "a record that can be read";
        return report with { Holds = report.Holds && scanned == expected, Checks = [.. report.Checks, new RecordCheck("code on paper", RecordChecks.Code, scanned == expected, expected, scanned)] };
    }

    private static void Show(CommandContext context, VerificationReport report, SourceAgreement? agreement)
    {
        Show(context, report);
        if (agreement is null)
            return;
        foreach (var origin in agreement.ByOrigin)
            Output.WriteResult(FormattableString.Invariant(
                $"{origin.Origin.ToString().ToLowerInvariant(),-9} {100 * origin.AreaShare,5:F1} % of area; distance to the source mean {origin.SignedMeanMm:F3}, 5 % {origin.P5Mm:F3}, 95 % {origin.P95Mm:F3}, largest {origin.LargestMm:F3} mm"));
        foreach (var finding in agreement.Findings)
            Output.WriteResult($"{finding.Code}: {finding.Message} {finding.Remedy}");
        if (agreement.Findings.Count == 0)
            Output.WriteResult(FormattableString.Invariant($"model agrees with the source: 95 % of its area within {agreement.P95Mm:F3} mm"));
    }

    private static void Show(LandmarkFigures? figures)
    {
        foreach (var point in figures?.Landmarks ?? [])
            Output.WriteResult(FormattableString.Invariant($"{point.Name}: {point.SourceOffMm:F2} mm from the images' surface, {point.ModelOffMm:F2} mm from the model"));
        foreach (var d in figures?.Distances ?? [])
            Output.WriteResult(FormattableString.Invariant(
                $"{d.From} to {d.To}: images {d.SourceMm:F2} mm, model {d.ModelMm:F2} mm, difference {d.DifferenceMm:F2} mm; U = {d.ExpandedMm:F2} mm (k = 2; columns {d.FromColumnsMm:F3}, rows {d.FromRowsMm:F3}, slices {d.FromSlicesMm:F3} mm)"));
        foreach (var a in figures?.Angles ?? [])
            Output.WriteResult(FormattableString.Invariant(
                $"{a.From}, {a.At}, {a.To}: images {a.SourceDeg:F2}°, model {a.ModelDeg:F2}°, difference {a.DifferenceDeg:F2}°; U = {a.ExpandedDeg:F2}° (k = 2; columns {a.FromColumnsDeg:F3}, rows {a.FromRowsDeg:F3}, slices {a.FromSlicesDeg:F3}°)"));
        if (figures?.Handedness is { } hand)
            Output.WriteResult(FormattableString.Invariant(
                $"{string.Join(", ", hand.Points)} stand the {(hand.Mirrored ? "OTHER way round in the recorded model: the plan mirrors it" : "same way round in the recorded model")} ({hand.SourceMm3 / 1000:F2} cm³ signed on the images, {hand.ModelMm3 / 1000:F2} on the model)"));
        foreach (var finding in figures?.Findings ?? [])
            Output.WriteResult($"{finding.Code}: {finding.Message} {finding.Remedy}");
    }

    public static void Show(CommandContext context, VerificationReport report)
    {
        foreach (var failed in report.Failed)
            Output.WriteResult($"DIFFERS  {failed.Thing}: {failed.Check}: expected {failed.Expected}, found {failed.Found}");
        foreach (var note in report.Notes)
            context.Output.Say(note);
        foreach (var addition in report.Additions)
            Output.WriteResult($"addition {addition.Number}: {(addition.Inspection.Caliper is null ? "scan" : "caliper")} of the printed part, {(addition.Inspection.Passed ? "passed" : "NOT passed")}");
        Output.WriteResult(report.Holds
            ? $"holds: {report.Checks.Count} checks, signed by key {report.SignerKeyId}"
            : $"does NOT hold: {report.Failed.Count()} of {report.Checks.Count} checks failed");
    }
}
