using System.CommandLine;
using AnatomyPrep.App.Cli.Ledgers;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.App.Pipeline.Inspections;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Inspections;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;

namespace AnatomyPrep.App.Cli;

/// <summary>inspect-print: measure a printed part against its model, by caliper or by a scan of it, and add the outcome to the record, signed.</summary>
internal sealed class InspectPrintCommand
{
    private const string ReadingsFile = "readings.csv";

    private readonly CommandContext _context;
    private readonly LedgerSession _session;
    private readonly Argument<string> _run = new("RUN") { Description = "Folder of the finished run the part was printed from" };
    private readonly Option<string?> _structure = new("--structure") { Description = "The structure that was printed alone; left out, the whole model" };
    private readonly Option<double?> _tolerance = new("--tolerance-mm") { Description = "Largest difference; if not given 1 for education, 0.5 for planning" };
    private readonly Option<string?> _inspector = new("--inspector") { Description = "Code of who measured; never a name" };
    private readonly Option<string?> _model = new("--model") { Description = "Model and revision in a ledger, such as M-1/1: the outcome becomes an event there" };
    private readonly Option<int> _perAxis = new("--per-axis") { Description = $"Distances along each axis, 1 to {CaliperInspection.MostPerAxis}", DefaultValueFactory = _ => 3 };

    private InspectPrintCommand(CommandContext context)
    {
        _context = context;
        _session = new(context);
    }

    public static Command Create(CommandContext context)
    {
        var made = new InspectPrintCommand(context);
        var command = new Command("inspect-print", "Measure a printed part against its model, and add the outcome to the record") { made.Sheet(), made.Caliper(), made.Scan() };
        command.Options.Add(made._session.Folder);
        return command;
    }

    private Command Sheet()
    {
        var output = new Option<string>("--out") { Description = "New PDF file; the CSV to fill in is written beside it", Required = true };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = Begin("sheet", "Which distances to measure, where, and room to write them down", [_perAxis, output, json]);
        command.SetAction((parsed, cancellation) =>
        {
            var pdf = parsed.GetValue(output)!;
            var csv = Path.ChangeExtension(pdf, ".csv");
            if (Path.GetExtension(pdf) is not (".pdf" or ".PDF"))
                throw new PlanException("command", null, "--out", Path.GetFileName(pdf), "a name that ends with .pdf");
            var (sheet, distances) = _context.Run(
                run =>
                {
                    var inspected = InspectedRun.Open(parsed.GetValue(_run)!, parsed.GetValue(_structure), run);
                    return CaliperInspection.WriteSheet(inspected, PerAxis(parsed), pdf, csv, inspected.ToleranceMm(parsed.GetValue(_tolerance)), run);
                },
                cancellation);
            _context.Output.Say(SafetyNotice.Text);
            if (parsed.GetValue(json))
                Output.WriteJson(new { Sheet = sheet, Pdf = pdf, Csv = csv, Distances = distances });
            else
                foreach (var line in (string[])[$"sheet {sheet}: {distances.Count} distances", pdf, csv])
                    Output.WriteResult(line);
            return Task.FromResult(ExitCodes.Done);
        });
        return command;
    }

    private Command Caliper()
    {
        var readings = new Option<string?>("--readings") { Description = "The sheet's CSV, filled in" };
        var reading = new Option<string[]>("--reading") { Description = "NAME=MM or NAME=MM,MM instead of a file; may be repeated" };
        var instrument = new Option<string?>("--instrument") { Description = "Code of the caliper" };
        var calibrated = new Option<string?>("--calibrated-until") { Description = "Day until which it is calibrated, as 2026-05-31" };
        var command = Begin("caliper", "What the readings of a caliper sheet say: bias, spread, limits of agreement, scale of each axis", [_perAxis, readings, reading, instrument, calibrated, _inspector, _model]);
        command.Validators.Add(result =>
        {
            if (result.GetValue(readings) is null == (result.GetValue(reading) is null or { Length: 0 }))
                result.AddError("Give --readings FILE, or a --reading for every distance.");
        });
        _session.AddTo(command, signs: true);
        command.SetAction((parsed, cancellation) =>
        {
            var use = new CaliperUse(parsed.GetValue(_inspector), parsed.GetValue(instrument), LedgerActs.Day(parsed.GetValue(calibrated), "--calibrated-until"));
            var given = CaliperReadings.Read(parsed.GetValue(reading) ?? []);
            var csv = parsed.GetValue(readings) is { } path ? (Name: Path.GetFileName(path), Bytes: File.ReadAllBytes(path)) : ((string Name, byte[] Bytes)?)null;
            return Inspect(parsed, "caliper", (inspected, tolerance, run) =>
            {
                var at = _context.Bench.Clock.GetUtcNow();
                return csv is { } file
                    ? (CaliperInspection.FromSheet(inspected, file.Bytes, file.Name, tolerance, use, at, run), [new AdditionFile(ReadingsFile, file.Bytes)])
                    : (CaliperInspection.FromOptions(inspected, PerAxis(parsed), given, tolerance, use, at, run), []);
            }, cancellation);
        });
        return command;
    }

    private Command Scan()
    {
        var scan = new Option<string>("--scan") { Description = "Mesh of the scanned part (STL, PLY, OBJ, ...), or a folder with a CT series of it", Required = true };
        var unit = RequestOptions.CreateUnit();
        var series = new Option<string?>("--series") { Description = "Series UID, where the folder holds several" };
        var plan = new Option<string?>("--plan") { Description = "For a CT series: plan that makes its surface; part-scan if not given" };
        var command = Begin("scan", "How far a scanned part deviates from its model; scale is stated, not fitted away", [scan, unit, series, plan, _inspector, _model]);
        _session.AddTo(command, signs: true);
        command.SetAction((parsed, cancellation) =>
        {
            var source = new SourceRequest(parsed.GetValue(scan)!, parsed.GetValue(series), RequestOptions.Unit(parsed.GetValue(unit)));
            return Inspect(parsed, "scan", (inspected, tolerance, run) =>
            {
                var (facts, picture) = new ScanInspection(_context.Bench).Run(inspected, source, parsed.GetValue(plan), tolerance, parsed.GetValue(_inspector), run);
                return (facts, [new AdditionFile(ScanInspection.Picture, picture)]);
            }, cancellation);
        });
        return command;
    }

    private Command Begin(string name, string description, IEnumerable<Option> options)
    {
        var command = new Command(name, description) { _run };
        foreach (var option in (Option[])[_structure, _tolerance, .. options])
            command.Options.Add(option);
        command.Validators.Add(result =>
        {
            if (result.GetValue(_tolerance) is not (null or (> 0 and <= 100)))
                result.AddError("--tolerance-mm must lie between 0 and 100.");
        });
        return command;
    }

    private int PerAxis(ParseResult parsed) => parsed.GetValue(_perAxis) is >= 1 and <= CaliperInspection.MostPerAxis and var count
        ? count
        : throw new PlanException("command", null, "--per-axis", $"{parsed.GetValue(_perAxis)}", $"1 to {CaliperInspection.MostPerAxis}");

    private delegate (InspectionFacts Facts, IReadOnlyList<AdditionFile> Files) Measure(InspectedRun inspected, double toleranceMm, Core.Running.RunContext run);

    private Task<int> Inspect(ParseResult parsed, string method, Measure measure, CancellationToken cancellation)
    {
        // Before the work: a key that cannot be opened, or a ledger that would refuse, must not cost it.
        using var key = new KeyFolder(_context.Bench.Folders.Keys).OpenSigningKey();
        using var ledger = parsed.GetValue(_model) is null ? null : _session.Open(parsed);
        var added = _context.Run(
            run =>
            {
                var inspected = InspectedRun.Open(parsed.GetValue(_run)!, parsed.GetValue(_structure), run);
                RequirePrinted(ledger, parsed.GetValue(_model), inspected.Statement.Run.RunId);
                var (facts, files) = measure(inspected, inspected.ToleranceMm(parsed.GetValue(_tolerance)), run);
                return AdditionWriter.Write(inspected.Folder, inspected.Verified, facts, files, key);
            },
            cancellation);
        var receipt = ledger is null ? null : Record(parsed, ledger, parsed.GetValue(_model)!, method, added);
        Show(added, receipt, parsed.GetValue(_session.Json), Path.Combine(parsed.GetValue(_run)!, AdditionFiles.FolderOf(added.Number)));
        return Task.FromResult(added.Inspection.Passed ? ExitCodes.Done : ExitCodes.CheckFailed);
    }

    private static void RequirePrinted(Ledger? ledger, string? model, string runId)
    {
        if (ledger is null)
            return;
        LedgerChecks.OnStart(ledger);
        var known = ledger.Model(model!);
        if (known is not { Stage: ModelStage.Printed })
            throw new LedgerRefusedException(Refusals.IllegalMove, $"{model} is {(known is null ? "not known" : LedgerSession.Word(known.Stage.ToString()))}; an inspection takes printed.", "Record the print first.");
        if (known.Run != runId)
            throw new LedgerRefusedException(Refusals.IllegalMove, $"{model} was made by another run.", "Name the folder of the run that the ledger knows, or another model.");
    }

    private LedgerReceipt Record(ParseResult parsed, Ledger ledger, string model, string method, Addition added)
    {
        var person = _session.Person(parsed);
        var facts = added.Inspection;
        var body = new InspectionBody(facts.Passed, $"{method}, addition {added.Number}", Math.Round(facts.LargestMm(), 4), added.Sha256);
        return ledger.Record(new EventDraft(LedgerEventKind.Inspection, body, [model]), person, _session.Passphrase(parsed, person));
    }

    private void Show(Addition added, LedgerReceipt? receipt, bool json, string folder)
    {
        var facts = added.Inspection;
        if (json)
        {
            Output.WriteJson(new { facts.Passed, Addition = new { added.Number, added.Sha256, Folder = folder }, Inspection = facts, Event = receipt });
            return;
        }

        _context.Output.Findings(facts.Findings);
        if (facts.Caliper is { } caliper)
            Show(caliper);
        else
            Show(facts.Scan!);
        Output.WriteResult(FormattableString.Invariant($"{(facts.Passed ? "passed" : "NOT passed")}: tolerance {facts.ToleranceMm} mm ({LedgerSession.Word(facts.Purpose.ToString())})"));
        Output.WriteResult($"addition {added.Number}: {folder}");
        if (receipt is not null)
            Output.WriteResult($"event {receipt.Position}: inspection");
        _context.Output.Say(SafetyNotice.Text);
    }

    private static void Show(CaliperFacts caliper)
    {
        foreach (var d in caliper.Distances)
            Output.WriteResult(FormattableString.Invariant($"{d.Name,-3} model {d.ExpectedMm,7:F2} mm, part {d.MeanMm(),7:F2} mm, difference {d.DifferenceMm(),6:F2} mm"));
        var a = caliper.Agreement;
        Output.WriteResult(FormattableString.Invariant($"bias {a.BiasMm:F3} ± {a.BiasErrorMm:F3} mm, SD {a.SdMm:F3} mm, 95 % limits of agreement {a.LowerMm:F3} to {a.UpperMm:F3} mm (± {a.LimitErrorMm:F3}), largest {a.LargestMm:F3} mm"));
        foreach (var s in caliper.Scales)
            Output.WriteResult(FormattableString.Invariant($"scale along {s.Axis}: {100 * (s.Scale - 1):+0.00;-0.00;0.00} %{(s.StandardError is { } e ? FormattableString.Invariant($" ± {100 * e:F2} %") : "")}"));
        if (caliper.ReadingSdMm is { } scatter)
            Output.WriteResult(FormattableString.Invariant($"readings of one distance scatter by {scatter:F3} mm (SD)"));
    }

    private static void Show(RescanFacts scan)
    {
        Output.WriteResult(FormattableString.Invariant($"residual {scan.ResidualMm:F3} mm, scaled too {scan.ResidualAfterScaleMm:F3} mm, mirrored {scan.MirroredResidualMm:F3} mm"));
        Output.WriteResult(FormattableString.Invariant($"scale of the part {100 * (scan.Scale - 1):+0.00;-0.00;0.00} % (not taken out)"));
        Output.WriteResult(FormattableString.Invariant($"deviation mean {scan.SignedMeanMm:F3}, 5 % {scan.P5Mm:F3}, 50 % {scan.P50Mm:F3}, 95 % {scan.P95Mm:F3} mm; 95 % of the part within {scan.WithinP95Mm:F3} mm, largest {scan.MaxMm:F3} mm"));
        Output.WriteResult(FormattableString.Invariant($"the scan shows {100 * scan.CoveredShare:F0} % of the model"));
    }
}
