using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Events;

namespace AnatomyPrep.Records.Ledgers.Checks;

/// <summary>A head that was copied to another place.</summary>
/// <param name="From">Where it lies, for messages.</param>
public sealed record WitnessedHead(TreeHead Head, byte[] Envelope, string From);

/// <summary>Heads kept where the keeper of the ledger cannot change them: a folder elsewhere, another ledger, paper.</summary>
public static class Witness
{
    /// <summary>Before the base64 of the envelope in a printed code.</summary>
    public const string CodePrefix = "anatomyprep-head:";

    private const string Pattern = "head-*.json";

    /// <summary>Adds the newest head to a folder. Gives the name of the file.</summary>
    public static string CopyTo(Ledger ledger, string folder)
    {
        var envelope = ledger.PublishHead();
        var head = TreeHead.Read(envelope, out _);
        Directory.CreateDirectory(folder);
        var name = $"head-{head.Ledger[..8]}-{head.Size.ToString("D10", CultureInfo.InvariantCulture)}.json";
        var path = Path.Combine(folder, name);
        var isHeld = File.Exists(path) || !NewFile.Write(path, file => file.Write(envelope));
        if (isHeld && TreeHead.Read(File.ReadAllBytes(path), out _).Root != head.Root)
            throw new CheckFailedException("witness", "the head this folder already holds for that size", "another root: a fork");
        return name;
    }

    /// <summary>Text for a printed square code.</summary>
    public static string Code(byte[] envelope) => CodePrefix + Convert.ToBase64String(envelope);

    /// <summary>The heads of a folder, a file with one head, or a file with the text of printed codes.</summary>
    /// <exception cref="BadInputException">Nothing there, or not heads.</exception>
    public static IReadOnlyList<WitnessedHead> Load(string path)
    {
        if (Directory.Exists(path))
            return [.. Directory.GetFiles(path, Pattern).Order(StringComparer.Ordinal).Select(f => Read(File.ReadAllBytes(f), Path.GetFileName(f)))];
        if (!File.Exists(path))
            throw new BadInputException(Path.GetFileName(path), "witness", "not there", "Name the folder or file that holds copied heads.");
        var bytes = File.ReadAllBytes(path);
        var text = Encoding.UTF8.GetString(bytes);
        if (!text.StartsWith(CodePrefix, StringComparison.Ordinal))
            return [Read(bytes, Path.GetFileName(path))];
        return [.. text.Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)
            .Select(line => Read(FromCode(line, Path.GetFileName(path)), Path.GetFileName(path)))];
    }

    /// <summary>Heads of <paramref name="ledger"/> that another ledger holds as events.</summary>
    public static IReadOnlyList<WitnessedHead> FromLedger(Ledger other, string ledger) =>
        [.. other.Locked(s => s.EventsOfKind(nameof(LedgerEventKind.HeadWitnessed), 0))
            .Select(s => SignedEvent.Parse(s.Envelope).Content.Read<HeadWitnessedBody>())
            .Where(b => b.Ledger == ledger)
            .Select(b => Read(Encoding.UTF8.GetBytes(b.Head), $"ledger {other.Id[..8]}"))];

    /// <summary>Takes a head of another ledger into this one.</summary>
    public static LedgerReceipt Record(Ledger into, byte[] envelope)
    {
        var head = TreeHead.Read(envelope, out _);
        return into.RecordAsLedger(new EventDraft(
            LedgerEventKind.HeadWitnessed, new HeadWitnessedBody(head.Ledger, head.Size, head.Root, Encoding.UTF8.GetString(envelope))));
    }

    internal static WitnessedHead Read(byte[] envelope, string from)
    {
        try
        {
            return new WitnessedHead(TreeHead.Read(envelope, out _), envelope, from);
        }
        catch (CheckFailedException e)
        {
            throw new BadInputException(from, "witnessed head", e.Message, "Take the copy as it was written.");
        }
    }

    private static byte[] FromCode(string line, string name)
    {
        try
        {
            return Convert.FromBase64String(line[CodePrefix.Length..]);
        }
        catch (Exception e) when (e is FormatException or ArgumentOutOfRangeException)
        {
            throw new BadInputException(name, "witnessed head", "not the text of a printed head", "Scan the code again.");
        }
    }
}

/// <summary>Whether the ledger is still the one whose heads others hold.</summary>
internal sealed class WitnessCheck(
    string? ledger, VerificationKey? logKey, long size, IReadOnlyDictionary<long, string> roots, Action<string, string, string, string> add)
{
    internal void Check(IReadOnlyList<WitnessedHead> witness)
    {
        foreach (var seen in witness)
            CheckOne(seen);
        foreach (var twice in witness.Where(w => w.Head.Ledger == ledger).GroupBy(w => w.Head.Size).Where(g => g.DistinctBy(w => w.Head.Root).Count() > 1))
            add(LedgerFailures.Fork, $"witnessed heads of {twice.Key}", "one root", string.Join(" and ", twice.Select(w => w.Head.Root).Distinct()));
    }

    private void CheckOne(WitnessedHead seen)
    {
        var where = $"{seen.From}, head of {seen.Head.Size}";
        if (seen.Head.Ledger != ledger)
        {
            add(LedgerFailures.Witness, where, $"ledger {ledger}", seen.Head.Ledger);
            return;
        }

        try
        {
            if (logKey is not null)
                TreeHead.Verify(seen.Envelope, logKey);
        }
        catch (CheckFailedException e)
        {
            add(LedgerFailures.Witness, where, e.Expected, e.Found);
            return;
        }

        if (seen.Head.Size > size)
            add(LedgerFailures.RolledBack, where, $"at least {seen.Head.Size} events, as the witness saw", $"{size}");
        else if (seen.Head.Size > 0 && roots.GetValueOrDefault(seen.Head.Size) != seen.Head.Root)
            add(LedgerFailures.Rewritten, where, seen.Head.Root, roots.GetValueOrDefault(seen.Head.Size) ?? "none");
    }
}
