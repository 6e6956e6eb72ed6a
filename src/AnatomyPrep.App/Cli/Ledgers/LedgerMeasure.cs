using System.CommandLine;
using System.Diagnostics;
using System.Globalization;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli.Ledgers;

/// <summary>ledger measure FOLDER: how many events a second this disk takes, each on the disk before the next begins.</summary>
/// <remarks>A ledger of its own in that folder, made when it is not there. With --trace it says what it tries and what was acknowledged.</remarks>
internal sealed class LedgerMeasure(LedgerSession session)
{
    private const string Person = "measure";
    private const string Passphrase = "a ledger only for measuring";

    public Command Create()
    {
        var folder = new Argument<string>("FOLDER") { Description = "On the disk to measure" };
        var seconds = new Option<double>("--seconds") { Description = "How long", DefaultValueFactory = _ => 10 };
        var server = new Option<string?>("--postgres") { Description = "Connection string; without it the ledger is one file" };
        var trace = new Option<bool>("--trace") { Description = "A line before and after every event" };
        var command = new Command("measure", "How many events a second this disk takes") { folder, seconds, server, trace };
        command.SetAction((parsed, cancellation) =>
        {
            using var ledger = OpenOrCreate(new LedgerPlace(parsed.GetValue(folder)!, parsed.GetValue(server)));
            var (count, time) = Append(ledger, TimeSpan.FromSeconds(parsed.GetValue(seconds)), parsed.GetValue(trace), cancellation);
            Output.WriteResult(string.Create(CultureInfo.InvariantCulture, $"{count / time.TotalSeconds:0.0} events a second, {time.TotalMilliseconds / Math.Max(1, count):0.00} ms each"));
            return Task.FromResult(ExitCodes.Done);
        });
        return command;
    }

    private Ledger OpenOrCreate(LedgerPlace place)
    {
        var clock = session.Context.Bench.Clock;
        if (File.Exists(place.Database) || File.Exists(Path.Combine(place.Folder, "ledger.json")))
            return Ledger.Open(LedgerPlace.Of(place.Folder), clock);
        var ledger = Ledger.Create(place, "administrator", "Administrator", Passphrase, clock);
        var key = ledger.Keys.Create(Person, Passphrase);
        ledger.Record(new EventDraft(LedgerEventKind.PersonChange, new PersonChangeBody(Person, "Measurement", [Role.Coordinator], PublicKey: key)), "administrator", Passphrase);
        return ledger;
    }

    private static (int Count, TimeSpan Time) Append(Ledger ledger, TimeSpan most, bool trace, CancellationToken cancellation)
    {
        using var key = ledger.OpenKey(Person, Passphrase);
        var body = new RequestBody(new RunRequest(Purpose.Education, "skull", 1));
        var watch = Stopwatch.StartNew();
        var count = 0;
        for (; watch.Elapsed < most && !cancellation.IsCancellationRequested; count++)
        {
            var signed = ledger.Sign(new EventDraft(LedgerEventKind.Request, body, [$"T-{LedgerEvent.NewId()}/1"]), Person, key);
            if (trace)
                Output.WriteResult("try " + Convert.ToBase64String(signed.Envelope));
            var receipt = ledger.Append(signed);
            if (trace)
                Output.WriteResult("kept " + receipt.EventId);
        }

        return (count, watch.Elapsed);
    }
}
