using System.CommandLine;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Backups;
using AnatomyPrep.Records.Ledgers.Bundles;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>Beginning, people, keys, checking, proofs, bundles, backups, witnesses.</summary>
internal sealed class LedgerKeeping(LedgerSession session)
{
    public IEnumerable<Command> All() =>
    [
        Begin(), Person(), Key(), People(), Verify(), Head(), Proof(), Bundle(), WriteBackup(), Restore(), Upgrade(), Witnessing(), Stamping(), Replay(), FixClock(),
    ];

    private Command Command(string name, string description, bool signs, Symbol[] symbols, Func<ParseResult, CancellationToken, int> run)
    {
        var command = new Command(name, description);
        command.AddAll(symbols);
        session.AddTo(command, signs);
        command.SetAction((parsed, cancellation) => Task.FromResult(run(parsed, cancellation)));
        return command;
    }

    private Command Begin()
    {
        var name = new Option<string>("--name") { Description = "Printed name of the first administrator (who acts: --as)", Required = true };
        var server = new Option<string?>("--postgres") { Description = "Connection string; without it the ledger is one file" };
        return Command("init", "Begin a ledger", signs: true, [name, server], (p, _) =>
        {
            var person = session.Person(p);
            var place = new LedgerPlace(session.FolderOf(p), p.GetValue(server));
            using var ledger = Ledger.Create(place, person, p.GetValue(name)!, session.Passphrase(p, person), session.Context.Bench.Clock);
            if (p.GetValue(session.Json))
                Output.WriteJson(new { ledger.Id, LogKey = ledger.People.LogKeyId, Administrator = person });
            else
                Output.WriteResult($"ledger {ledger.Id} begun; its key has the fingerprint {ledger.People.LogKeyId}");
            session.Context.Output.Say("Write the fingerprint down in another place: it shows later that this is still the same ledger.");
            return ExitCodes.Done;
        });
    }

    private Command Person()
    {
        var person = new Argument<string>("PERSON") { Description = "Id: letters, digits, '-', '.'" };
        var name = new Option<string>("--name") { Description = "Printed with every signature", Required = true };
        var roles = new Option<Role[]>("--role") { Description = "technician, coordinator, qualityOfficer, administrator, service", Required = true, AllowMultipleArgumentsPerToken = true };
        var newPassphrase = new Option<string>("--new-passphrase-file") { Description = "File with the new person's passphrase", Required = true };
        var inactive = new Option<bool>("--inactive") { Description = "The person signs no more" };
        var add = Command("add", "A person joins; their key is made", signs: true, [person, name, roles, newPassphrase], (p, _) =>
        {
            using var ledger = session.Open(p);
            var pem = ledger.Keys.Create(p.GetValue(person)!, File.ReadAllText(p.GetValue(newPassphrase)!).TrimEnd('\n', '\r'));
            return session.Record(p, ledger, new EventDraft(
                LedgerEventKind.PersonChange, new PersonChangeBody(p.GetValue(person)!, p.GetValue(name)!, p.GetValue(roles)!, PublicKey: pem)));
        });
        var change = Command("change", "A person's name, roles or activity change", signs: true, [person, name, roles, inactive], (p, _) => session.Record(p, new EventDraft(
            LedgerEventKind.PersonChange, new PersonChangeBody(p.GetValue(person)!, p.GetValue(name)!, p.GetValue(roles)!, !p.GetValue(inactive)))));
        return new Command("person", "Who may sign") { add, change };
    }

    private Command Key()
    {
        var person = new Argument<string>("PERSON") { Description = "Whose key" };
        var newPassphrase = new Option<string>("--new-passphrase-file") { Description = "File with the passphrase of the new key", Required = true };
        var key = new Argument<string>("FINGERPRINT") { Description = "Of the key" };
        var since = new Option<DateTimeOffset?>("--doubtful-since") { Description = "When others may have got it" };
        var reason = new Option<string>("--reason") { Description = "Why", Required = true };
        var change = Command("change", "A new key in place of the old", signs: true, [person, newPassphrase], (p, _) =>
        {
            using var ledger = session.Open(p);
            var pem = ledger.Keys.Create(p.GetValue(person)!, File.ReadAllText(p.GetValue(newPassphrase)!).TrimEnd('\n', '\r'));
            return session.Record(p, ledger, new EventDraft(LedgerEventKind.KeyChange, new KeyChangeBody(p.GetValue(person)!, pem)));
        });
        var revoke = Command("revoke", "A key signs no more; what it signed before stays", signs: true, [key, since, reason], (p, _) => session.Record(p, new EventDraft(
            LedgerEventKind.KeyRevocation, new KeyRevocationBody(p.GetValue(key)!, p.GetValue(since)), Reason: p.GetValue(reason))));
        return new Command("key", "Keys of people") { change, revoke };
    }

    private Command People() => Command("people", "People, roles and keys", signs: false, [], (p, _) =>
    {
        using var ledger = session.Open(p);
        var keys = ledger.People.Keys.ToList();
        if (p.GetValue(session.Json))
        {
            Output.WriteJson(new { People = ledger.People.People, Keys = keys.Select(k => new { k.KeyId, k.Person, k.From, k.Until, k.DoubtfulSince }) });
            return ExitCodes.Done;
        }

        foreach (var person in ledger.People.People)
        {
            Output.WriteResult($"{person.Id}  {person.Name}  {string.Join(", ", person.Roles.Select(r => LedgerSession.Word(r.ToString())))}{(person.Active ? "" : "  not active")}");
            foreach (var k in keys.Where(k => k.Person == person.Id))
                Output.WriteResult($"    {k.KeyId}  from event {k.From}{(k.Until is { } until ? $" until event {until}" : "")}");
        }

        return ExitCodes.Done;
    });

    private Command Verify()
    {
        var witness = new Option<string?>("--witness") { Description = "Folder or file of copied heads, or folder of a ledger that holds them" };
        var key = new Option<string?>("--key") { Description = "Fingerprint the ledger's key must have" };
        var record = new Option<bool>("--record") { Description = "Record the outcome as an event" };
        var authority = new Option<string?>("--authority") { Description = "Certificates (PEM) of time stamp authorities you trust" };
        return Command("verify", "Check every event, signature, hash and derived row", signs: false, [witness, key, record, authority], (p, cancellation) =>
        {
            using var ledger = session.Open(p);
            var heads = p.GetValue(witness) is { } place ? WitnessFrom(place, ledger) : [];
            var trusted = p.GetValue(authority) is { } pem ? Certificates(pem) : null;
            var report = session.Context.Run(
                run => p.GetValue(record) ? LedgerChecks.FullAndRecord(ledger, heads, run, trusted) : LedgerChecks.Full(ledger, heads, run, trusted), cancellation);
            if (p.GetValue(key) is { } fingerprint && fingerprint != report.LogKeyId)
                report = report with { Holds = false, Failures = [.. report.Failures, new("identity", "key of the ledger", fingerprint, report.LogKeyId ?? "none")] };
            return Show(p, report);
        });
    }

    private static X509Certificate2Collection Certificates(string path)
    {
        var certificates = new X509Certificate2Collection();
        certificates.ImportFromPemFile(path);
        return certificates;
    }

    private IReadOnlyList<WitnessedHead> WitnessFrom(string place, Ledger ledger)
    {
        if (!File.Exists(Path.Combine(place, LedgerPlace.DatabaseFile)))
            return Witness.Load(place);
        using var other = Ledger.Open(LedgerPlace.Of(place), session.Context.Bench.Clock);
        return Witness.FromLedger(other, ledger.Id);
    }

    /// <summary>What a verification found, of a ledger or of a bundle.</summary>
    public static int Show(bool json, Output output, LedgerReport report)
    {
        if (json)
            Output.WriteJson(report);
        else
        {
            foreach (var f in report.Failures)
                Output.WriteResult($"DIFFERS  {f.Code}: {f.Where}: expected {f.Expected}, found {f.Found}");
            foreach (var note in report.Notes)
                output.Say(note);
            Output.WriteResult(report.Holds
                ? $"holds: {report.Size} events, root {report.Root}, ledger {report.Ledger}, key {report.LogKeyId}"
                : $"does NOT hold: {report.Failures.Count} differences");
        }

        return report.Holds ? ExitCodes.Done : ExitCodes.CheckFailed;
    }

    private int Show(ParseResult p, LedgerReport report) => Show(p.GetValue(session.Json), session.Context.Output, report);

    private Command Head() => Command("head", "The newest signed head", signs: false, [], (p, _) =>
    {
        using var ledger = session.Open(p);
        var head = ledger.Head();
        if (p.GetValue(session.Json))
            Output.WriteJson(head);
        else
            Output.WriteResult($"{head.Size} events, root {head.Root}, at {Records.Statements.RecordTime.Text(head.At)}");
        return ExitCodes.Done;
    });

    private Command Proof()
    {
        var position = new Argument<long>("POSITION") { Description = "Of the event" };
        var from = new Option<long?>("--from-size") { Description = "Instead: that the tree of this size is the beginning of the present one" };
        return Command("proof", "Hashes that show an event to be in the tree", signs: false, [position, from], (p, _) =>
        {
            using var ledger = session.Open(p);
            var head = ledger.Head();
            var at = p.GetValue(position);
            if (at < 0 || at >= head.Size || p.GetValue(from) > head.Size)
                throw new BadInputException("ledger", "position", $"{at}", $"The ledger holds events 0 to {head.Size - 1}.");
            var hashes = p.GetValue(from) is { } size ? ledger.ConsistencyProof(size, head.Size) : ledger.InclusionProof(at, head.Size);
            if (p.GetValue(session.Json))
                Output.WriteJson(new { Position = at, FromSize = p.GetValue(from), head.Size, head.Root, Hashes = hashes.Select(Convert.ToHexStringLower) });
            else
                foreach (var hash in hashes)
                    Output.WriteResult(Convert.ToHexStringLower(hash));
            return ExitCodes.Done;
        });
    }

    private Command Bundle()
    {
        var file = new Argument<string>("FILE") { Description = "Where to write it" };
        var models = new Option<string[]>("--model") { Description = "Revisions; their parents come along", Required = true, AllowMultipleArgumentsPerToken = true };
        var runs = new Option<string[]>("--run") { Description = "MODEL=DIR: the folder of the finished run, to be in it", AllowMultipleArgumentsPerToken = true };
        return Command("bundle", "One file for an inspector: models, records, proofs, keys, guide", signs: true, [file, models, runs], (p, _) =>
        {
            using var ledger = session.Open(p);
            var folders = (p.GetValue(runs) ?? []).Select(r => r.Split('=', 2)).ToDictionary(r => r[0], r => r[^1], StringComparer.Ordinal);
            var zip = BundleWriter.Write(ledger, p.GetValue(models)!, folders);
            var size = ledger.Size();
            // The event stands before the file is there: nothing leaves the house unrecorded.
            var result = session.Record(p, ledger, new EventDraft(
                LedgerEventKind.Export, new ExportBody(Convert.ToHexStringLower(SHA256.HashData(zip)), size), p.GetValue(models)));
            using var stream = new FileStream(p.GetValue(file)!, FileMode.CreateNew, FileAccess.Write);
            stream.Write(zip);
            stream.Flush(flushToDisk: true);
            return result;
        });
    }

    private Command WriteBackup()
    {
        var file = new Argument<string>("FILE") { Description = "Where to write it" };
        return Command("backup", "The whole ledger in one file; keys are not in it", signs: false, [file], (p, _) =>
        {
            using var ledger = session.Open(p);
            var head = LedgerBackup.Write(ledger, p.GetValue(file)!);
            session.Context.Output.Say($"Copy the folder {ledger.Place.Keys} too, to another place.");
            Output.WriteResult($"{head.Size} events, root {head.Root}");
            return ExitCodes.Done;
        });
    }

    private Command Restore()
    {
        var file = new Argument<string>("FILE") { Description = "A backup" };
        var server = new Option<string?>("--postgres") { Description = "Connection string; without it the ledger is one file" };
        return Command("restore", "Make a ledger from a backup, into a folder that holds only the keys", signs: true, [file, server], (p, _) =>
        {
            var person = session.Person(p);
            using var ledger = LedgerBackup.Restore(
                new LedgerPlace(session.FolderOf(p), p.GetValue(server)), p.GetValue(file)!, person, session.Passphrase(p, person), session.Context.Bench.Clock);
            Output.WriteResult($"restored: {ledger.Size()} events, ledger {ledger.Id}");
            return ExitCodes.Done;
        });
    }

    private Command Upgrade() => Command("upgrade", "Take an older ledger to this program's schema", signs: true, [], (p, _) =>
    {
        var person = session.Person(p);
        using var ledger = Ledger.Upgrade(session.Place(p), person, session.Passphrase(p, person), session.Context.Bench.Clock);
        Output.WriteResult($"upgraded; {ledger.Size()} events");
        return ExitCodes.Done;
    });

    private Command Witnessing()
    {
        var folder = new Argument<string>("FOLDER") { Description = "A place the keeper of the ledger cannot change, or a file name ending in .png for a printed code" };
        var head = new Argument<string>("HEAD") { Description = "A copied head of another ledger" };
        var copy = Command("copy", "Copy the newest head to another place", signs: false, [folder], (p, _) =>
        {
            using var ledger = session.Open(p);
            var to = p.GetValue(folder)!;
            if (to.EndsWith(".png", StringComparison.Ordinal))
                File.WriteAllBytes(to, HeadCode.Png(Witness.Code(ledger.PublishHead())));
            else
                to = Witness.CopyTo(ledger, to);
            Output.WriteResult(to);
            return ExitCodes.Done;
        });
        var record = Command("record", "Take the head of another ledger into this one", signs: false, [head], (p, _) =>
        {
            using var ledger = session.Open(p);
            return session.Show(p, ledger, Witness.Record(ledger, Witness.Load(p.GetValue(head)!)[0].Envelope));
        });
        return new Command("witness", "Heads kept elsewhere show a rewritten or rolled back history") { copy, record };
    }

    private Command Stamping()
    {
        var file = new Argument<string>("FILE") { Description = "Where to write the request (RFC 3161), for a time stamp authority" };
        var answer = new Argument<string>("FILE") { Description = "The authority's answer" };
        var request = Command("request", "Ask for a time stamp of the newest head", signs: false, [file], (p, _) =>
        {
            using var ledger = session.Open(p);
            var (bytes, size) = HeadStamps.Request(ledger);
            File.WriteAllBytes(p.GetValue(file)!, bytes);
            Output.WriteResult($"request for the head of {size}");
            return ExitCodes.Done;
        });
        var add = Command("add", "Keep a time stamp", signs: false, [answer], (p, _) =>
        {
            using var ledger = session.Open(p);
            var (at, size) = HeadStamps.Add(ledger, File.ReadAllBytes(p.GetValue(answer)!));
            Output.WriteResult($"the head of {size} existed at {Records.Statements.RecordTime.Text(at)}");
            return ExitCodes.Done;
        });
        return new Command("stamp", "Time stamps of heads by an outside authority") { request, add };
    }

    private Command Replay()
    {
        var folders = new Argument<string[]>("DIR") { Description = "Folders of finished runs", Arity = ArgumentArity.OneOrMore };
        var sample = new Option<int?>("--sample") { Description = "Only so many, drawn by the day's date" };
        return Command("replay", "Make recorded models again and record whether the bytes are the same", signs: false, [folders, sample], (p, cancellation) =>
        {
            using var ledger = session.Open(p);
            var all = p.GetValue(folders)!.Order(StringComparer.Ordinal).ToArray();
            if (p.GetValue(sample) is { } count)
                all = LedgerReplay.Sample(all, count, DateOnly.FromDateTime(session.Context.Bench.Clock.GetUtcNow().UtcDateTime));
            var results = session.Context.Run(run => new LedgerReplay(session.Context.Bench, ledger).Run(all, run), cancellation);
            if (p.GetValue(session.Json))
                Output.WriteJson(results);
            else
                foreach (var r in results)
                    Output.WriteResult($"{(r.Identical ? "identical" : "DIFFERS")}  {r.Run[..12]}  {r.RecordedSoftware} -> {r.ReplayedSoftware}");
            return results.All(r => r.Identical) ? ExitCodes.Done : ExitCodes.CheckFailed;
        });
    }

    private Command FixClock()
    {
        var reason = new Option<string>("--reason") { Description = "What was wrong with it", Required = true };
        return Command("clock-corrected", "The machine's clock was ahead and is right now", signs: true, [reason], (p, _) => session.Record(p, new EventDraft(
            LedgerEventKind.ClockCorrection, new ClockCorrectionBody(), Reason: p.GetValue(reason))));
    }
}
