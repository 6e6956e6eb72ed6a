using System.Security.Cryptography.X509Certificates;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;

namespace AnatomyPrep.Records.Ledgers.Checks;

/// <summary>Is the ledger whole? The quick answer for every start, the full one for a schedule.</summary>
public static class LedgerChecks
{
    private const int LastEvents = 64;

    /// <summary>Checks everything; see <see cref="LedgerVerifier"/>. Nothing is recorded.</summary>
    /// <param name="authorities">Certificates of time stamp authorities you trust; null to leave them unchecked.</param>
    public static LedgerReport Full(
        Ledger ledger, IReadOnlyList<WitnessedHead> witness, RunContext run, X509Certificate2Collection? authorities = null) =>
        LedgerVerifier.Verify(ledger, witness, run, authorities);

    /// <summary>Checks everything and records the outcome with the ledger's own key.</summary>
    public static LedgerReport FullAndRecord(
        Ledger ledger, IReadOnlyList<WitnessedHead> witness, RunContext run, X509Certificate2Collection? authorities = null)
    {
        var report = Full(ledger, witness, run, authorities);
        ledger.RecordAsLedger(report.Holds
            ? new EventDraft(LedgerEventKind.Verification, new VerificationBody(report.Size, report.Root!))
            : new EventDraft(LedgerEventKind.VerificationFailed, new VerificationFailedBody([.. report.Failures.Select(f => $"{f.Code}: {f.Where}")])));
        return report;
    }

    /// <summary>
    /// What a crash or a careless copy would break: the head is signed and fits the stored tree, no event is beyond it, and the last
    /// events are whole. Some ten milliseconds, whatever the size.
    /// </summary>
    /// <remarks>One committed state is read throughout: another process may append meanwhile.</remarks>
    /// <exception cref="LedgerRefusedException">It does not hold; says what.</exception>
    public static void OnStart(Ledger ledger) => ledger.Locked(store =>
    {
        store.BeginRead();
        try
        {
            CheckEnd(ledger);
            return true;
        }
        finally
        {
            store.Rollback();
        }
    });

    private static void CheckEnd(Ledger ledger)
    {
        try
        {
            var head = ledger.Head();
            if (Convert.ToHexStringLower(ledger.Root(head.Size)) != head.Root || ledger.Event(head.Size) is not null)
                throw new CheckFailedException("head", head.Root, "another root of the stored tree");
            for (var position = Math.Max(0, head.Size - LastEvents); position < head.Size; position++)
                CheckEvent(ledger, position);
        }
        catch (CheckFailedException e)
        {
            throw new LedgerRefusedException(
                Refusals.DatabaseDamaged, $"The check at the start failed: {e.Message}", "Run ledger verify, which names all that differs; restore a backup.", e);
        }
    }

    private static void CheckEvent(Ledger ledger, long position)
    {
        var signed = ledger.Event(position) ?? throw new CheckFailedException("event", $"event {position}", "nothing");
        var leaf = ledger.InclusionProof(position, position + 1);
        MerkleProof.VerifyInclusion(MerkleHash.Leaf(signed.Envelope), position, position + 1, leaf, ledger.Root(position + 1));
        var known = ledger.People.FindKey(signed.KeyId) ?? throw new CheckFailedException("key", "a key of this ledger", signed.KeyId);
        using var key = VerificationKey.FromPem(known.Pem, "key");
        if (!key.Verify(signed.Signed(), signed.Signature))
            throw new CheckFailedException($"signature of event {position}", $"a valid one by key {signed.KeyId}", "none");
    }
}
