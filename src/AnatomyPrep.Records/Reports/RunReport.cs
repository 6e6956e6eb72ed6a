using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Records.Statements;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>The report of a run: what a person reads, checks and signs.</summary>
/// <remarks>
/// PDF through SkiaSharp with fonts from files and the dates of the run, so that the same content gives the same bytes.
/// Contents: request, what to see first (mirrored, not life size) and a picture, findings with remedies, model, area by origin,
///   tolerances, landmarks, what the check for printing said, pictures, source without identifiers, steps with their effect, program
///   and times, boxes to sign, the plan as text.
/// Two passes: the first counts pages on a canvas that draws nothing. Memory: the pictures decoded one row at a time, plus the PDF.
/// </remarks>
public static class RunReport
{
    // They move the model as a whole: no deviation of its surface.
    private static readonly HashSet<string> s_placing =
        ["lay", "compensate-shrink", "fit-plate", "mirror", "scale", "move", "rotate", "align-to-plane", "align-landmarks", "place-on-bed", "cut-into-parts"];

    private const float CodeSide = 104;
    private const float LeadPicture = 210;

    private static readonly SignaturePlace[] s_places =
    [
        new("Prepared", "I made this model by the plan in this report and looked at every picture and every finding."),
        new("Reviewed", "I compared the outlines with the images, the side and the scale with what was asked for, and I accept the findings and tolerances above."),
        new("Released", "I verified the folder of this run with its record, and release the model for the purpose on the first page and for no other."),
    ];

    /// <summary>Writes the PDF. The stream need not be seekable and stays open.</summary>
    /// <param name="fontFolder">Folder with the DejaVu fonts.</param>
    /// <exception cref="BadInputException">A font is missing or a picture cannot be decoded.</exception>
    public static void Write(Stream output, ReportContent content, string fontFolder = ReportFonts.DefaultFolder)
    {
        using var fonts = ReportFonts.Load(fontFolder);
        RunPaper.WritePages(output, content.Run, Title(content.Run), content.Code.Text, fonts, pages => Fill(content, pages));
    }

    private static void Fill(ReportContent content, ReportPages pages)
    {
        var facts = content.Run;
        var lead = content.Pictures.Count > 0 && content.Pictures[0].IsLarge ? 1 : 0;
        WriteHead(pages, facts, content.Code);
        if (lead > 0)
            pages.Lead(content.Pictures[0], LeadPicture);
        WriteFindings(pages, facts);
        WriteModel(pages, facts);
        WriteStructures(pages, facts);
        WriteTolerances(pages, facts);
        if (facts.Measurements.Landmarks is { } landmarks)
            LandmarkTables.Write(pages, landmarks);
        WritePrint(pages, facts);
        WritePictures(pages, [.. content.Pictures.Skip(lead)]);
        WriteSource(pages, facts.Source, facts.Request.PatientPseudonym);
        WriteSteps(pages, facts);
        WriteProgram(pages, facts);
        WriteSignatures(pages, content.Signatures ?? s_places);
        WritePlan(pages, facts.Plan);
    }

    private static string Title(RunFacts facts) => $"Model report: {facts.Request.Anatomy}";

    private static void WriteHead(ReportPages pages, RunFacts facts, RunCode code)
    {
        var request = facts.Request;
        const float textWidth = ReportPages.Inner - CodeSide - 12;
        var top = pages.Y;
        // The quiet zone is white anyway, so the code may reach into the margin by it.
        CodeSquare.Draw(pages.Canvas, code.Text, ReportPages.Margin + ReportPages.Inner - CodeSide + 8, top - 8, CodeSide);
        pages.Paragraph(Title(facts), pages.Title, textWidth);
        pages.Space(4);
        foreach (var banner in ModelWords.Banners(facts))
            pages.Paragraph(banner, pages.Banner, textWidth);
        pages.Facts(
            [
                ("Purpose", ReportText.Word(request.Purpose)),
                ("Anatomy", request.Anatomy),
                ("Side of the person", ModelWords.Side(request.Side)),
                ("Scale", ReportText.Scale(ModelWords.Scale(facts))),
                ("Asked for by", request.RequesterCode ?? "-"),
                ("Needed by", request.NeededBy?.ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture) ?? "-"),
                ("Plan", $"{facts.Plan.Name}, version {facts.Plan.Version}"),
                ("Model id", ModelWords.ModelId(facts)),
                ("Findings", FindingCounts(facts)),
                ("Run id", facts.RunId),
                ("Hash of its files", code.FilesSha256),
            ],
            textWidth);
        pages.Y = Math.Max(pages.Y, top + CodeSide) + 6;
    }

    private static string FindingCounts(RunFacts facts)
    {
        int Count(Severity severity) => facts.Findings.Count(f => f.Severity == severity);
        return $"{Count(Severity.Stop)} that stop, {Count(Severity.Caution)} to accept by name before release, {Count(Severity.Note)} notes";
    }

    private static void WriteFindings(ReportPages pages, RunFacts facts)
    {
        pages.Section($"Findings ({facts.Findings.Count})");
        if (facts.Findings.Count == 0)
        {
            pages.Paragraph("None.", pages.Body);
            return;
        }

        pages.Table(
            ["Severity", "What was found", "What to do"],
            [0.13f, 0.5f, 0.37f],
            facts.Findings.OrderByDescending(f => f.Severity).Select(finding => (IReadOnlyList<Cell>)
            [
                new Cell(ReportText.Word(finding.Severity), SeverityStyle(pages, finding.Severity)),
                new Cell(Described(finding), pages.Body),
                new Cell(finding.Remedy, pages.Body),
            ]));
    }

    private static TextStyle SeverityStyle(ReportPages pages, Severity severity) => severity switch
    {
        Severity.Stop => pages.Alarm,
        Severity.Caution => pages.Caution,
        _ => pages.Strong,
    };

    private static string Described(Finding finding)
    {
        var where = ReportText.Where(finding.Place);
        return $"{finding.Message}\n{finding.Code}{(where.Length == 0 ? "" : $"; {where}")}";
    }

    private static void WriteModel(ReportPages pages, RunFacts facts)
    {
        var mesh = facts.Measurements.Mesh;
        pages.Section("Model");
        pages.Facts(
        [
            ("Size", ReportText.Size(mesh.BoundsMm)),
            ("Volume", $"{ReportText.Number(mesh.VolumeMm3, 1)} mm³"),
            ("Surface", $"{ReportText.Number(mesh.AreaMm2, 1)} mm², {ReportText.Count(mesh.Triangles)} triangles, {ReportText.Count(mesh.Vertices)} vertices"),
            ("Pieces", ReportText.Count(mesh.Components)),
            ("Solid", $"{ReportText.YesNo(mesh.Solid)} (watertight {ReportText.YesNo(mesh.Watertight)}, consistently oriented "
                + $"{ReportText.YesNo(mesh.ConsistentOrientation)}, outward {ReportText.YesNo(mesh.OutwardOrientation)})"),
            ("Defects", $"{ReportText.Count(mesh.BoundaryLoops)} open borders, {ReportText.Count(mesh.NonManifoldEdges)} edges and "
                + $"{ReportText.Count(mesh.NonManifoldVertices)} vertices that are not manifold, "
                + (mesh.SelfIntersections is { } crossings ? $"{ReportText.Count(crossings)} crossings with itself" : "crossings with itself not searched for")),
            ("Tunnels (genus)", mesh.Genus is { } genus ? ReportText.Count(genus) : "-"),
            .. (facts.Measurements.Further ?? new Dictionary<string, double>()).OrderBy(f => f.Key, StringComparer.Ordinal)
                .Select(f => (Capital(ReportText.Label(f.Key)), ReportText.Number(f.Value, 4))),
        ]);
        pages.Section("Where the surface comes from");
        pages.Table(
            ["Origin", "Meaning", "Area", "Share"],
            [0.18f, 0.46f, 0.22f, 0.14f],
            Enum.GetValues<Origin>().Select(origin => OriginRow(pages, origin, facts.Measurements.Origins.FirstOrDefault(o => o.Origin == origin))));
    }

    private static void WriteStructures(ReportPages pages, RunFacts facts)
    {
        if (facts.Structures is not { } structures)
            return;
        pages.Section($"Structures ({structures.Count})");
        pages.Table(
            ["Structure", "Colour", "Solid", "Pieces", "Volume", "Surface", "Given to those above"],
            [0.22f, 0.12f, 0.08f, 0.09f, 0.17f, 0.16f, 0.16f],
            structures.Select(s => (IReadOnlyList<Cell>)
            [
                new Cell(s.Side is { } side ? $"{s.Name}, {ReportText.Word(side).ToUpperInvariant()}" : s.Name, pages.Strong),
                new Cell(s.Colour, pages.Body),
                new Cell(ReportText.YesNo(s.Measurements.Mesh.Solid), s.Measurements.Mesh.Solid ? pages.Body : pages.Alarm),
                new Cell(ReportText.Count(s.Measurements.Mesh.Components), pages.Body),
                new Cell($"{ReportText.Number(s.Measurements.Mesh.VolumeMm3, 1)} mm³", pages.Body),
                new Cell($"{ReportText.Number(s.Measurements.Mesh.AreaMm2, 1)} mm²", pages.Body),
                new Cell($"{ReportText.Number(s.RemovedMm3, 1)} mm³", pages.Body),
            ]));
        pages.Paragraph(
            facts.SharedMm3 is { } shared ? $"Volume that two structures share: {ReportText.Number(shared, 3)} mm³." : "Volume that two structures share: not measured, because not all are solid.",
            pages.Body);
    }

    /// <summary>How far the surface can be off for reasons that were measured; nothing here is a promise for the printed part.</summary>
    private static void WriteTolerances(ReportPages pages, RunFacts facts)
    {
        var rows = new List<(string, string)>();
        if (facts.Source.Series is { } series)
            rows.Add(("Sampling of the images", $"{string.Join(" × ", series.SpacingMm.Select(s => ReportText.Number(s, 3)))} mm in the slice, {ReportText.Number(series.SliceSpacingMm, 3)} mm between slices"));
        foreach (var step in facts.Steps.Where(s => s.Name == "sensitivity"))
            if (step.Effect.Measures is { } m && m.TryGetValue("raisedP95Mm", out var raised) && m.TryGetValue("loweredP95Mm", out var lowered))
                rows.Add(("Choice of the grey level", $"{About(step)}95 % of the surface moves by less than {ReportText.Number(Math.Max(raised, lowered), 3)} mm for {ReportText.Number(step.Parameters["stepHu"]?.GetValue<double>() ?? 0, 1)} HU more or less"));
        foreach (var step in facts.Steps.Where(s => s.Effect.MaxDisplacementMm > 0 && !s_placing.Contains(s.Name)))
            rows.Add(($"Step {step.Name}", $"{About(step)}moved the surface by at most {ReportText.Number(step.Effect.MaxDisplacementMm!.Value, 4)} mm{(step.Effect.MeanDisplacementMm is { } mean ? $", {ReportText.Number(mean, 4)} mm in the mean" : "")}"));
        rows.AddRange((facts.Measurements.Further ?? new Dictionary<string, double>()).Where(f => f.Key.Contains("eviation", StringComparison.Ordinal)).OrderBy(f => f.Key, StringComparer.Ordinal)
            .Select(f => (Capital(ReportText.Label(f.Key)), ReportText.Number(f.Value, 4))));
        rows.Add(("The printed part", "not measured by this run; compare it with the model before use and keep the figures with this report"));
        pages.Section("Tolerances");
        pages.Facts(rows);
    }

    private static string About(StepFacts step) => step.Structure is { } structure ? $"{structure}: " : "";

    private static void WritePrint(ReportPages pages, RunFacts facts)
    {
        if (facts.Steps.LastOrDefault(s => s.Name == "check-print")?.Effect.Measures is not { } m)
            return;
        double Get(string name) => m.GetValueOrDefault(name);
        string Cm3(string name) => $"{ReportText.Number(Get(name) / 1000, 1)} cm³";
        string Hours(string name) => ReportText.Number(Get(name) / 60, 1);
        pages.Section("Ready for the machine");
        pages.Facts(
        [
            ("Fits the machine", ReportText.YesNo(Get("fitsBuildVolume") > 0)),
            ("Walls", $"thinnest {ReportText.Number(Get("wallLeastMm"), 2)} mm, half of the surface above {ReportText.Number(Get("wallMedianMm"), 2)} mm; {ReportText.Number(Get("wallBelowMm2"), 0)} mm² in {ReportText.Count((long)Get("wallPlaces"))} places below the {ReportText.Number(Get("wallLimitMm"), 2)} mm that the process needs"),
            ("Gaps", $"narrowest {ReportText.Number(Get("gapLeastMm"), 2)} mm; {ReportText.Number(Get("gapBelowMm2"), 0)} mm² in {ReportText.Count((long)Get("gapPlaces"))} places below {ReportText.Number(Get("gapLimitMm"), 2)} mm"),
            ("Caught inside", $"{ReportText.Count((long)Get("closedVoids"))} closed voids, {ReportText.Count((long)Get("narrowThroats"))} behind narrow throats, {ReportText.Count((long)Get("cups"))} cups; {Cm3("trappedMm3")}"),
            ("Begins in the air", $"{ReportText.Count((long)Get("islands"))} places; {ReportText.Count((long)Get("necks"))} weak necks"),
            ("Support", $"{ReportText.Number(Get("supportContactMm2"), 0)} mm² of contact, {ReportText.Percent(Get("supportOutOfReachShare"))} of it out of reach; {Cm3("supportSpaceMm3")} ± {Cm3("supportErrorMm3")} of space below it"),
            ("Stands", $"{ReportText.Number(Get("heightMm"), 1)} mm high, {ReportText.Count((long)Get("layers"))} layers; tilts over at {ReportText.Number(Get("toppleDeg"), 0)}°"),
            ("Estimate", $"model {ReportText.Number(Get("massG"), 0)} g, support {ReportText.Number(Get("supportMassG"), 0)} g; {Hours("timeMin")} h ({Hours("timeLowMin")} to {Hours("timeHighMin")}); "
                + $"{ReportText.Number(Get("costEur"), 0)} EUR ({ReportText.Number(Get("costLowEur"), 0)} to {ReportText.Number(Get("costHighEur"), 0)}), by the rates of the profile"),
        ]);
    }

    private static IReadOnlyList<Cell> OriginRow(ReportPages pages, Origin origin, OriginShare? share) =>
    [
        new Cell(ReportText.Word(origin), pages.Strong),
        new Cell(ReportText.OriginMeaning(origin), pages.Body),
        new Cell($"{ReportText.Number(share?.AreaMm2 ?? 0, 1)} mm²", pages.Body),
        new Cell(ReportText.Percent(share?.Share ?? 0), pages.Body),
    ];

    private static void WritePictures(ReportPages pages, IReadOnlyList<ReportPicture> pictures)
    {
        if (pictures.Count == 0)
            return;
        pages.Section("Pictures", pages.HeightOf(pictures[0]));
        pages.Pictures(pictures);
    }

    private static void WriteSource(ReportPages pages, SourceFacts source, string? askedPatient)
    {
        pages.Section("Source");
        var facts = new List<(string Label, string Value)>
        {
            ("Kind", ReportText.Kind(source.Kind)),
            ("Files", $"{ReportText.Count(source.Files.Count)}, {ReportText.Count(source.Files.Sum(f => f.Bytes))} bytes"),
            ("Hash of all files", source.TreeSha256),
        };
        if (source.Series is { } series)
        {
            facts.AddRange(
            [
                ("Images", $"{series.Modality}, {ReportText.Count(series.Slices)} slices of {ReportText.Count(series.Columns)} × {ReportText.Count(series.Rows)} pixels"),
                ("Pixel spacing", string.Join(" × ", series.SpacingMm.Select(s => ReportText.Number(s, 9))) + " mm (across columns × across rows)"),
                ("Slice spacing", $"{ReportText.Number(series.SliceSpacingMm, 9)} mm"),
                ("Gantry tilt", $"{ReportText.Number(series.TiltDeg, 3)}°"),
                ("Orientation", series.Orientation),
                ("Grey values", $"{series.MinHu} to {series.MaxHu} HU"),
                ("Transfer syntax", series.TransferSyntax),
            ]);
        }

        if (source.Scan is { } scan)
            facts.Add(("Scan", $"{scan.Format}, in {scan.Unit}, {ReportText.Count(scan.Vertices)} vertices, {ReportText.Count(scan.Triangles)} triangles"));
        if (source.Pseudonyms is { } pseudonyms)
        {
            facts.Add(("Study, pseudonym", pseudonyms.Study ?? "-"));
            facts.Add(("Series, pseudonym", pseudonyms.Series ?? "-"));
            facts.Add(("Frame of reference, pseudonym", pseudonyms.FrameOfReference ?? "-"));
            facts.Add(("Patient, pseudonym", pseudonyms.Patient ?? "-"));
            facts.Add(("Patient asked for", askedPatient is null ? "not compared" : askedPatient == pseudonyms.Patient ? "the same" : "ANOTHER"));
        }

        pages.Facts(facts);
    }

    private static void WriteSteps(ReportPages pages, RunFacts facts)
    {
        pages.Section("Steps and what each did");
        pages.Table(
            ["Step", "Stage", "Parameters", "Effect"],
            [0.25f, 0.12f, 0.29f, 0.34f],
            facts.Steps.Select((step, i) => (IReadOnlyList<Cell>)
            [
                new Cell($"{i + 1}. {step.Name}{(step.Structure is { } structure ? $"\n{structure}" : "")}", pages.Strong),
                new Cell(ReportText.Word(step.Stage), pages.Body),
                new Cell(ReportText.Parameters(step.Parameters), pages.Body),
                new Cell(ReportText.Effect(step.Effect), pages.Body),
            ]));
    }

    private static void WriteProgram(ReportPages pages, RunFacts facts)
    {
        var software = facts.Software;
        pages.Section("Program and times");
        pages.Facts(
        [
            ("Program", $"{software.Name} {software.Version}, revision {software.Commit ?? "unknown"}"),
            ("Ran on", $"{software.Runtime}, {software.Os}"),
            ("Libraries", ReportText.Libraries(software.Packages)),
            ("Started", $"{RecordTime.Text(facts.StartedAt)} (clock of the machine)"),
            ("Finished", $"{RecordTime.Text(facts.FinishedAt)} (clock of the machine)"),
        ]);
    }

    private static void WriteSignatures(ReportPages pages, IReadOnlyList<SignaturePlace> places)
    {
        const float headAndText = 85;
        pages.Need(headAndText + (places.Count * ReportPages.SignatureHeight));
        pages.Section("Signatures");
        pages.Paragraph(
            "Before signing, verify the folder of this run. Everything above is also in its record, which is signed by the program "
            + "and names the hash of this report. The code on the first page holds the run id and the hash of all files but report and label: "
            + "verify --code compares it with a folder.",
            pages.Body);
        pages.Space(6);
        foreach (var place in places)
            pages.SignatureBox(place);
    }

    private static void WritePlan(ReportPages pages, PlanFacts plan)
    {
        pages.Section($"Plan {plan.Name}, version {plan.Version}");
        pages.Paragraph($"SHA-256 {plan.Sha256}", pages.Small);
        pages.Space(4);
        pages.Paragraph(plan.Text.TrimEnd('\n'), pages.Mono);
    }

    private static string Capital(string text) => text.Length == 0 ? text : char.ToUpperInvariant(text[0]) + text[1..];
}
