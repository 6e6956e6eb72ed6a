using System.Globalization;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.Records.Ledgers.People;

/// <summary>How often a passphrase may be tried.</summary>
/// <remarks>Counts the failures in the ledger since the person last signed. Common practice, no source: five, then 15 minutes.</remarks>
internal static class PassphraseGuard
{
    public const int MostFailures = 5;
    public static readonly TimeSpan Pause = TimeSpan.FromMinutes(15);

    /// <exception cref="LedgerRefusedException">Too many failures, too lately.</exception>
    public static void RequireOpen(LedgerStore store, string person, DateTimeOffset now)
    {
        var since = store.LastPositionOf(person);
        var failures = store.EventsWith(EventTerms.Failed, person)
            .Where(e => e.Position > since)
            .Select(e => DateTimeOffset.Parse(e.At, CultureInfo.InvariantCulture, DateTimeStyles.AdjustToUniversal))
            .ToList();
        if (failures.Count < MostFailures)
            return;
        var opens = failures[^1] + Pause;
        // After a pause one more try is free; failing it shuts the key again.
        if (now < opens)
            throw new LedgerRefusedException(
                Refusals.PassphraseLocked,
                $"The passphrase of {person} was wrong {failures.Count} times.",
                $"Wait until {opens:u}; if it was not you, tell an administrator.");
    }
}
