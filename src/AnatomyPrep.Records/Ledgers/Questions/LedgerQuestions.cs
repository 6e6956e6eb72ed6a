using System.Globalization;
using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Questions;

/// <summary>One event as an answer shows it.</summary>
public sealed record EventLine(
    long Position, string Id, string Kind, string At, string Person, string Name, string Role, string Meaning, IReadOnlyList<string> Models, string? Reason,
    JsonObject Body);

/// <summary>Everything about a revision.</summary>
public sealed record ModelAnswer(ModelFacts Facts, IReadOnlyList<EventLine> Events);

/// <summary>What a recall of a lot would touch.</summary>
/// <param name="Holders">Who has a copy.</param>
public sealed record RecallLine(string Model, string Stage, IReadOnlyList<string> Holders);

public sealed record AcknowledgementLine(string Model, string Person, string Name, string At, string Reason, long Position);

public sealed record RetentionLine(string Model, string RetainUntil, string Stage);

/// <summary>A run whose latest replay gave other bytes.</summary>
public sealed record DriftLine(string Run, IReadOnlyList<string> Models, string RecordedSoftware, string ReplayedSoftware, string At);

public sealed record DriftSummary(string RecordedSoftware, string ReplayedSoftware, int Replayed, int Differing);

public sealed record DifferenceLine(string Where, string Before, string After);

/// <summary>The questions a quality officer asks; each goes through an index, none reads the whole ledger.</summary>
/// <remarks>
/// Answers come from derived rows where a question spans many models; verifying shows that those say what the events say. Where
/// one model is asked for, its events are folded anew. Cost: proportional to the answer.
/// </remarks>
public sealed class LedgerQuestions(Ledger ledger)
{
    private static readonly string[] s_finders =
        [EventTerms.Source, EventTerms.Plan, EventTerms.PlanSha256, EventTerms.Software, EventTerms.Operator, EventTerms.Printer, EventTerms.Lot, EventTerms.Run];

    /// <summary>By what models can be found.</summary>
    public static IReadOnlyList<string> Finders { get; } = [.. s_finders, "person", "key"];

    /// <summary>State and history; null for a model that was never requested.</summary>
    public ModelAnswer? AboutModel(string model) =>
        ledger.Model(model) is { } facts ? new ModelAnswer(facts, [.. ledger.EventsOf(model).Select(e => Line(e.Position, e.Event))]) : null;

    /// <summary>Models from a source, plan (name or hash), software version, operator, printer, lot, or signed by a person or key.</summary>
    public IReadOnlyList<string> ModelsBy(string what, string value) => ledger.Locked(s => what is "person" or "key"
        ? s.ModelsOfEvents(what, value)
        : s_finders.Contains(what)
            ? s.TermsBeside(what, value, EventTerms.Model)
            : throw new ArgumentOutOfRangeException(nameof(what), what, $"Known are {string.Join(", ", Finders)}."));

    /// <summary>Everything that was printed or finished with a lot, and who has it.</summary>
    public IReadOnlyList<RecallLine> RecallOf(string lot) => ledger.Locked(s =>
        s.ModelsNamed(s.TermsBeside(EventTerms.Lot, lot, EventTerms.Model))
            .Select(m => new RecallLine(m.Model, Word(m.Stage), FactsOf(m).Holders)).ToList());

    /// <summary>Who acknowledged a finding, and why.</summary>
    public IReadOnlyList<AcknowledgementLine> AcknowledgedBy(string finding, string? model = null) => ledger.Locked(s =>
        s.EventsWith(EventTerms.Acknowledged, finding)
            .Select(e => (e.Position, SignedEvent.Parse(e.Envelope).Content))
            .Where(e => model is null || e.Content.ModelsOrNone.Contains(model))
            .Select(e => new AcknowledgementLine(
                e.Content.ModelsOrNone[0], e.Content.By.Person, e.Content.By.Name, RecordTime.Text(e.Content.At), e.Content.Reason ?? "", e.Position))
            .ToList());

    /// <summary>Models that one person both prepared and released. There must be none.</summary>
    public IReadOnlyList<string> ReleasedAlone() => ledger.Locked(s => s.ModelsReleasedAlone().Select(m => m.Model).ToList());

    /// <summary>Runs whose latest replay differs.</summary>
    public IReadOnlyList<DriftLine> Drifted() =>
        [.. LatestReplays().Where(r => !r.Body.Identical)
            .Select(r => new DriftLine(r.Body.Run, r.Models, r.Body.RecordedSoftware, r.Body.ReplayedSoftware, RecordTime.Text(r.At)))];

    /// <summary>Replays by software version.</summary>
    public IReadOnlyList<DriftSummary> DriftBySoftware() =>
        [.. LatestReplays()
            .GroupBy(r => (r.Body.RecordedSoftware, r.Body.ReplayedSoftware))
            .OrderBy(g => g.Key.RecordedSoftware, StringComparer.Ordinal).ThenBy(g => g.Key.ReplayedSoftware, StringComparer.Ordinal)
            .Select(g => new DriftSummary(g.Key.RecordedSoftware, g.Key.ReplayedSoftware, g.Count(), g.Count(r => !r.Body.Identical)))];

    /// <summary>Models whose retention ends before a day.</summary>
    public IReadOnlyList<RetentionLine> RetentionEnding(DateOnly before) => ledger.Locked(s =>
        s.ModelsExpiring(before.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture))
            .Select(m => new RetentionLine(m.Model, m.RetainUntil!, Word(m.Stage))).ToList());

    /// <summary>What the runs of two revisions say differently, field by field.</summary>
    public IReadOnlyList<DifferenceLine> Between(string first, string second)
    {
        var (a, b) = (RunOf(first), RunOf(second));
        var lines = new List<DifferenceLine>();
        foreach (var name in a.Concat(b).Select(f => f.Key).Distinct().Order(StringComparer.Ordinal))
            if (JsonDifference.First(a[name], b[name]) is not null)
                lines.Add(new DifferenceLine(name, Text(a[name]), Text(b[name])));
        return lines;
    }

    /// <summary>Everything a key signed, oldest first; of a doubtful key, what is in doubt.</summary>
    public IReadOnlyList<EventLine> SignedWith(string keyId, int most = 1000) =>
        ledger.Locked(s => s.EventsBy("key", keyId, most).Select(e => Line(e.Position, SignedEvent.Parse(e.Envelope))).ToList());

    /// <summary>Models in the order of their names, after one.</summary>
    public IReadOnlyList<ModelFacts> Models(string after, int most) => ledger.Locked(s => s.ModelsAfter(after, most).Select(FactsOf).ToList());

    /// <summary>Events from a position on.</summary>
    public IReadOnlyList<EventLine> From(long position, int most) =>
        ledger.Locked(s => s.EventsFrom(position, most).Select(e => Line(e.Position, SignedEvent.Parse(e.Envelope))).ToList());

    /// <summary>All events of a kind, oldest first.</summary>
    public IReadOnlyList<EventLine> OfKind(LedgerEventKind kind, long from = 0, int most = int.MaxValue) =>
        ledger.Locked(s => s.EventsOfKind(kind.ToString(), from, most).Select(e => Line(e.Position, SignedEvent.Parse(e.Envelope))).ToList());

    public static EventLine Line(long position, SignedEvent signed)
    {
        var e = signed.Content;
        return new EventLine(
            position, e.Id, Word(e.Kind.ToString()), RecordTime.Text(e.At), e.By.Person, e.By.Name, Word(e.By.Role.ToString()), Word(e.Meaning.ToString()),
            e.ModelsOrNone, e.Reason, e.Body);
    }

    private List<(ReplayBody Body, IReadOnlyList<string> Models, DateTimeOffset At)> LatestReplays() => ledger.Locked(s =>
        s.EventsOfKind(nameof(LedgerEventKind.Replay), 0)
            .Select(e => SignedEvent.Parse(e.Envelope).Content)
            .GroupBy(e => e.Read<ReplayBody>().Run)
            .Select(g => g.Last())
            .Select(e => (e.Read<ReplayBody>(), e.ModelsOrNone, e.At))
            .ToList());

    private JsonObject RunOf(string model) =>
        ledger.EventsOf(model).LastOrDefault(e => e.Event.Content.Kind == LedgerEventKind.Run).Event?.Content.Body
        ?? throw new LedgerRefusedException(Refusals.IllegalMove, $"{model} has no run.", "Name revisions that were prepared.");

    private static ModelFacts FactsOf(StoredModel row) => JsonSerializer.Deserialize<ModelFacts>(row.Facts, RecordJson.Options)!;

    private static string Text(JsonNode? node) => node is null ? "nothing" : System.Text.Encoding.UTF8.GetString(CanonicalJson.Write(node));

    private static string Word(string name) => JsonNamingPolicy.CamelCase.ConvertName(name);
}
