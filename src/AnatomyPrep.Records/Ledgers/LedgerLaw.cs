using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.People;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>Whether an event may follow those before it. Appending and verifying ask the same law.</summary>
/// <remarks>It does not check signatures or ids: appending does that one by one, verifying on several threads.</remarks>
internal sealed class LedgerLaw(string ledger, PeopleDirectory people, Func<string, ModelFacts?> findModel, Func<string, bool> isKnownEvent)
{
    /// <summary>Clocks of several nodes differ, and signing comes before appending.</summary>
    public static readonly TimeSpan ClockTolerance = TimeSpan.FromMinutes(1);

    private static readonly LedgerEventKind[] s_manyModels = [LedgerEventKind.Recall, LedgerEventKind.RetentionSet, LedgerEventKind.Disposal];

    /// <summary>Time of the latest event; null when there is none, or when an administrator has just set the clock right.</summary>
    public DateTimeOffset? Latest { get; set; }

    /// <summary>Takes the event in and gives the facts of the models it changed.</summary>
    /// <exception cref="LedgerRefusedException">It may not follow.</exception>
    public IReadOnlyList<ModelFacts> Admit(SignedEvent signed, long position)
    {
        var e = signed.Content;
        if (e.Ledger != ledger)
            throw new LedgerRefusedException(Refusals.OtherLedger, "The event was made for another ledger.", "Make it for this one.");
        if ((position == 0) != (e.Kind == LedgerEventKind.LedgerOpened))
            throw new LedgerRefusedException(Refusals.EventForm, "A ledger begins with its opening, and only there.", "Begin with ledger init.");
        RequireTime(e);
        people.Admit(e, signed.KeyId, position);
        if (e.Kind == LedgerEventKind.Correction && !isKnownEvent(e.Read<CorrectionBody>().Event))
            throw new LedgerRefusedException(Refusals.EventForm, "The event to be corrected is not in this ledger.", "Name it by its id.");
        var models = Models(e, position);
        Latest = e.Kind == LedgerEventKind.ClockCorrection ? null : Latest is { } latest && latest > e.At ? latest : e.At;
        return models;
    }

    private void RequireTime(LedgerEvent e)
    {
        if (e.Kind == LedgerEventKind.ClockCorrection)
        {
            if (string.IsNullOrWhiteSpace(e.Reason))
                throw new LedgerRefusedException(Refusals.IllegalMove, "A clock correction takes a reason.", "Say why.");
            return;
        }

        if (Latest is { } latest && e.At < latest - ClockTolerance)
            throw new LedgerRefusedException(
                Refusals.ClockSetBack,
                $"The event says {e.At:u}, but the ledger already holds one of {latest:u}.",
                "Set this machine's clock; if an earlier event was made with a clock ahead, an administrator records a clock correction.");
    }

    private List<ModelFacts> Models(LedgerEvent e, long position)
    {
        var names = e.ModelsOrNone;
        if (names.Distinct().Count() != names.Count)
            throw new LedgerRefusedException(Refusals.EventForm, "A model is named twice.", "Name it once.");
        if (!ModelFacts.Concerns(e.Kind))
        {
            foreach (var name in names)
                _ = findModel(name) ?? throw new LedgerRefusedException(Refusals.IllegalMove, $"{name} is not known.", "Name a model of this ledger.");
            return [];
        }

        if (names.Count == 0 || (names.Count > 1 && !s_manyModels.Contains(e.Kind)))
            throw new LedgerRefusedException(Refusals.EventForm, $"{e.Kind} is about {names.Count} models.", "Name one.");
        return [.. names.Select(name => ModelFacts.After(findModel(name), name, e, position, findModel))];
    }
}
