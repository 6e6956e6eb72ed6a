using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Events;

/// <summary>A word under which an event can be found.</summary>
public readonly record struct EventTerm(string Name, string Value);

/// <summary>The words of an event, so that questions need not read every event.</summary>
/// <remarks>A pure function of the event: verifying computes them again and compares.</remarks>
public static class EventTerms
{
    public const string Model = "model";
    public const string Source = "source";
    public const string Plan = "plan";
    public const string PlanSha256 = "planSha256";
    public const string Software = "software";
    public const string Operator = "operator";
    public const string Printer = "printer";
    public const string Lot = "lot";
    public const string Finding = "finding";
    public const string Acknowledged = "acknowledged";
    public const string Run = "run";
    public const string RunFile = "file";
    public const string Replay = "replay";
    public const string Subject = "subject";
    public const string Holder = "holder";
    public const string Failed = "failed";
    public const string Corrects = "corrects";
    public const string What = "what";

    public static IReadOnlyList<EventTerm> Of(LedgerEvent e)
    {
        var terms = new List<EventTerm>();
        foreach (var model in e.ModelsOrNone)
            terms.Add(new(Model, model));
        AddBody(terms, e);
        if (e.Personal is { } sealedText)
            terms.Add(new(Subject, sealedText.Subject));
        return terms.Count == 1 ? terms : terms.Distinct().ToList();
    }

    private static void AddBody(List<EventTerm> terms, LedgerEvent e)
    {
        switch (e.Kind)
        {
            case LedgerEventKind.Request when e.Read<RequestBody>().Subject is { } subject:
                terms.Add(new(Subject, subject));
                break;
            case LedgerEventKind.SourceReceived:
                terms.Add(new(Source, e.Read<SourceReceivedBody>().SourceSha256));
                break;
            case LedgerEventKind.Run:
                AddRun(terms, e.Read<RunBody>());
                break;
            case LedgerEventKind.FindingAcknowledged:
                terms.Add(new(Acknowledged, e.Read<FindingAcknowledgedBody>().Finding));
                break;
            case LedgerEventKind.Print:
                var print = e.Read<PrintBody>();
                terms.Add(new(Printer, print.Printer));
                terms.Add(new(Lot, print.Lot));
                break;
            case LedgerEventKind.PostProcessing when e.Read<PostProcessingBody>().Lot is { } lot:
                terms.Add(new(Lot, lot));
                break;
            case LedgerEventKind.Delivery:
                terms.Add(new(Holder, e.Read<DeliveryBody>().To));
                break;
            case LedgerEventKind.Replay:
                terms.Add(new(Replay, e.Read<ReplayBody>().Run));
                break;
            case LedgerEventKind.Redaction:
                terms.Add(new(Subject, e.Read<RedactionBody>().Subject));
                break;
            case LedgerEventKind.PassphraseFailed:
                terms.Add(new(Failed, e.Read<PassphraseFailedBody>().Person));
                break;
            case LedgerEventKind.ServiceEvent:
                terms.Add(new(What, e.Read<ServiceEventBody>().What));
                break;
            case LedgerEventKind.Correction:
                terms.Add(new(Corrects, e.Read<CorrectionBody>().Event));
                break;
        }
    }

    private static void AddRun(List<EventTerm> terms, RunBody run)
    {
        terms.Add(new(Run, run.Run));
        terms.Add(new(Source, run.SourceSha256));
        terms.Add(new(Plan, run.Plan));
        terms.Add(new(PlanSha256, run.PlanSha256));
        terms.Add(new(Software, run.Software));
        terms.Add(new(Operator, run.Operator));
        foreach (var finding in run.Findings)
            terms.Add(new(Finding, finding.Code));
        foreach (var file in run.Files.Where(f => f.Name != RecordFiles.Run))
            terms.Add(new(RunFile, file.Sha256));
    }
}
