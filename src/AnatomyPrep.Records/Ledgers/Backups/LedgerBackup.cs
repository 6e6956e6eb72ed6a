using System.Security.Cryptography;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.Records.Ledgers.Backups;

/// <summary>A whole ledger in one text file, the same from SQLite and PostgreSQL, so that it also moves a ledger from one to the other.</summary>
/// <remarks>
/// Lines: the signed head; every event's envelope, in order; then the keys of subjects. Private keys of people and of the ledger are
///   not in it: copy the key folder by itself, to another place.
/// Whoever holds the file can open what is sealed in it; a backup older than a redaction still holds that subject's key.
/// Memory: one page of events.
/// </remarks>
public static class LedgerBackup
{
    private const int PageEvents = 2048;

    /// <summary>Writes the file, flushes it to the disk, and records the backup with the ledger's own key.</summary>
    /// <exception cref="IOException">A file of that name is there already; it stays as it is.</exception>
    public static TreeHead Write(Ledger ledger, string path)
    {
        var envelope = ledger.PublishHead();
        var head = TreeHead.Read(envelope, out _);
        if (!NewFile.Write(path, file => WriteAll(ledger, envelope, head.Size, file)))
            throw new IOException($"The file {Path.GetFileName(path)} is there already.");
        ledger.RecordAsLedger(new EventDraft(LedgerEventKind.Backup, new BackupBody(Hash(path), head.Size, head.Root)));
        return head;
    }

    /// <summary>Makes a ledger from a backup: every event is checked again as if it were new, and the root must come out the same.</summary>
    /// <param name="place">Empty, but for the key folder with the ledger's own key.</param>
    /// <param name="administrator">Who restores; recorded as the next event.</param>
    /// <exception cref="LedgerRefusedException">The place is not empty, or an event does not hold.</exception>
    /// <exception cref="CheckFailedException">The file is not a whole backup.</exception>
    public static Ledger Restore(LedgerPlace place, string path, string administrator, string passphrase, TimeProvider clock, int keyIterations = People.PersonKeys.DefaultIterations)
    {
        using var lines = File.ReadLines(path).GetEnumerator();
        var headEnvelope = System.Text.Encoding.UTF8.GetBytes(Next(lines));
        var head = TreeHead.Read(headEnvelope, out _);
        Directory.CreateDirectory(place.Folder);
        var ledger = Ledger.Empty(place, head.Ledger, clock, keyIterations);
        try
        {
            for (long from = 0; from < head.Size;)
            {
                var page = new List<SignedEvent>();
                for (; page.Count < PageEvents && from < head.Size; from++)
                    page.Add(SignedEvent.Parse(System.Text.Encoding.UTF8.GetBytes(Next(lines))));
                ledger.AppendRestored(page);
            }

            var root = Convert.ToHexStringLower(ledger.Root(head.Size));
            if (root != head.Root)
                throw new CheckFailedException("backup root", head.Root, root);
            using (var key = VerificationKey.FromPem(ledger.People.FindKey(ledger.People.LogKeyId!)!.Pem, "ledger key"))
                TreeHead.Verify(headEnvelope, key);
            RestoreSubjects(ledger, lines);
            place.Save();
            ledger.Record(new EventDraft(LedgerEventKind.BackupRestored, new BackupRestoredBody(Hash(path), head.Size, head.Root)), administrator, passphrase);
            return ledger;
        }
        catch
        {
            ledger.Dispose();
            throw;
        }
    }

    private static void WriteAll(Ledger ledger, byte[] envelope, long size, FileStream file)
    {
        WriteLine(file, envelope);
        for (long from = 0; from < size;)
        {
            var page = ledger.Locked(s => s.EventsFrom(from, (int)Math.Min(PageEvents, size - from)));
            if (page.Count == 0)
                throw new LedgerRefusedException(Refusals.DatabaseDamaged, $"Event {from} is missing.", "Run ledger verify.");
            foreach (var e in page)
                WriteLine(file, e.Envelope);
            from += page.Count;
        }

        foreach (var (subject, key) in ledger.Locked(s => s.Subjects()))
            WriteLine(file, CanonicalJson.Write(new JsonObject { ["key"] = Convert.ToBase64String(key), ["subject"] = subject }));
    }

    private static void RestoreSubjects(Ledger ledger, IEnumerator<string> lines)
    {
        while (lines.MoveNext())
        {
            var fields = JsonNode.Parse(lines.Current) as JsonObject ?? throw new CheckFailedException("backup", "a subject's key", "something else");
            var subject = fields["subject"]!.GetValue<string>();
            ledger.Locked(s =>
            {
                // Redacted stays redacted, however old the backup is.
                if (!s.EventsWith(EventTerms.Subject, subject).Any(e => e.Kind == nameof(LedgerEventKind.Redaction)))
                    s.PutSubjectKey(subject, Convert.FromBase64String(fields["key"]!.GetValue<string>()));
                return 0;
            });
        }
    }

    private static string Next(IEnumerator<string> lines) =>
        lines.MoveNext() ? lines.Current : throw new CheckFailedException("backup", "every event up to its head", "an earlier end of the file");

    private static void WriteLine(FileStream file, byte[] line)
    {
        file.Write(line);
        file.WriteByte((byte)'\n');
    }

    private static string Hash(string path)
    {
        using var file = File.OpenRead(path);
        return Convert.ToHexStringLower(SHA256.HashData(file));
    }
}
