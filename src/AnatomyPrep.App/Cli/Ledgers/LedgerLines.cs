using System.Globalization;
using AnatomyPrep.Records.Ledgers.Questions;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>Answers of the ledger as lines for people: the same whether the ledger is here or on a service.</summary>
internal static class LedgerLines
{
    public static IEnumerable<string> All<T>(IReadOnlyList<T> answers, Func<T, string> line) => answers.Count > 0 ? answers.Select(line) : ["none"];

    public static IEnumerable<string> Of(ModelAnswer answer) =>
    [
        $"{answer.Facts.Model} is {LedgerSession.Word(answer.Facts.Stage.ToString())}{(answer.Facts.Parent is null ? "" : $", a revision of {answer.Facts.Parent}")}",
        .. answer.Facts.OpenCautions.Select(c => $"open caution: {c}"),
        .. answer.Events.Select(Of),
    ];

    public static string Of(string model) => model;

    public static string Of(RecallLine r) => $"{r.Model} ({r.Stage}): {(r.Holders.Count == 0 ? "not handed out" : "with " + string.Join(", ", r.Holders))}";

    public static string Of(AcknowledgementLine a) => $"{a.Model}: {a.Name} at {a.At}: {a.Reason}";

    public static string Of(DriftLine d) => $"{d.Run[..12]} of {string.Join(", ", d.Models)}: {d.RecordedSoftware} -> {d.ReplayedSoftware}, {d.At}";

    public static string Of(DriftSummary d) => string.Create(CultureInfo.InvariantCulture, $"{d.RecordedSoftware} -> {d.ReplayedSoftware}: {d.Differing} of {d.Replayed} differ");

    public static string Of(RetentionLine r) => $"{r.Model} ({r.Stage}): kept until {r.RetainUntil}";

    public static string Of(DifferenceLine d) => $"{d.Where}: {d.Before} -> {d.After}";

    public static string Of(EventLine e) => string.Create(
        CultureInfo.InvariantCulture,
        $"{e.Position,6}  {e.At}  {e.Kind,-20} {e.Meaning} by {e.Name} ({e.Role}){(e.Models.Count == 0 ? "" : " " + string.Join(", ", e.Models))}{(e.Body["what"] is { } what ? $" {what}" : "")}{(e.Reason is null ? "" : $": {e.Reason}")}");
}
