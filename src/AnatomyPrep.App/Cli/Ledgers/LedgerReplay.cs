using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Questions;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>Old runs made again, each outcome an event: drift between software versions shows in the answers.</summary>
internal sealed class LedgerReplay(Workbench bench, Ledger ledger)
{
    /// <summary>A sample that is another every day and the same all day.</summary>
    public static string[] Sample(string[] folders, int count, DateOnly day)
    {
        var shuffled = folders.ToArray();
        new Random(day.DayNumber).Shuffle(shuffled);
        return [.. shuffled.Take(count).Order(StringComparer.Ordinal)];
    }

    /// <exception cref="CheckFailedException">A folder's record does not hold; what came before is recorded.</exception>
    public IReadOnlyList<ReplayBody> Run(IReadOnlyList<string> folders, RunContext run)
    {
        var results = new List<ReplayBody>();
        var parts = new Dictionary<string, string>();
        foreach (var folder in folders)
        {
            var result = new Replay(bench).Run(folder, null, parts, run);
            var id = RecordVerifier.Verify(folder, null, null, run).Statement!.Run.RunId;
            var body = new ReplayBody(id, result.Identical, result.RecordedSoftware, result.ThisSoftware);
            var models = new LedgerQuestions(ledger).ModelsBy(EventTerms.Run, id);
            ledger.RecordAsLedger(new EventDraft(LedgerEventKind.Replay, body, models));
            results.Add(body);
        }

        return results;
    }
}
