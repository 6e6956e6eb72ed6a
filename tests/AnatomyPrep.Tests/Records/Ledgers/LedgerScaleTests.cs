using System.Diagnostics;
using System.Globalization;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Questions;
using AnatomyPrep.Records.Ledgers.Storage;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>Questions and verification on a large ledger, against a count kept beside it. Prints what docs/performance.md reports.</summary>
/// <remarks>100,000 events; ANATOMYPREP_LEDGER_EVENTS asks for another number, ANATOMYPREP_LEDGER_FOLDER keeps the ledger in a folder.</remarks>
[Trait("Kind", "Slow")]
public sealed class LedgerScaleTests(ITestOutputHelper output) : IDisposable
{
    private const int Lots = 500;
    private const int Batch = 1000;

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    private static int Events { get; } =
        int.Parse(Environment.GetEnvironmentVariable("ANATOMYPREP_LEDGER_EVENTS") ?? "100000", CultureInfo.InvariantCulture);

    private static string? Kept { get; } = Environment.GetEnvironmentVariable("ANATOMYPREP_LEDGER_FOLDER");

    [Fact]
    public void Questions_proofs_and_verification_in_one_file() => Ask(new LedgerPlace(Kept ?? _folder.Path));

    [Fact]
    [Trait("Kind", "Outside")]
    public void Questions_proofs_and_verification_on_a_server()
    {
        using var cluster = new PostgresCluster();
        Ask(new LedgerPlace(_folder.Path, cluster.NewDatabase()));
    }

    private void Ask(LedgerPlace place)
    {
        using var story = LedgerStory.Begin(place);
        story.Clock.Tick = TimeSpan.FromMilliseconds(1);
        var models = Fill(story);
        var size = story.Ledger.Size();
        output.WriteLine($"{size} events of {models} models");
        AskQuestions(story, models);
        MeasureProofs(story.Ledger, size);
        var report = Timed("full verification", () => LedgerChecks.Full(story.Ledger, [], RunContext.Default), 1);
        report.Failures.Should().BeEmpty();
        report.Size.Should().Be(size);
    }

    private void AskQuestions(LedgerStory story, int models)
    {
        var questions = new LedgerQuestions(story.Ledger);
        Timed("everything about a model", () => questions.AboutModel("M-77/1"))!.Events.Should().HaveCount(11);
        var perLot = Enumerable.Range(1, models).Count(m => m % Lots == 7);
        Timed("recall of a lot", () => questions.RecallOf("L-7")).Should().HaveCount(perLot).And.OnlyContain(r => r.Holders.Count == 1);
        Timed("models of a source", () => questions.ModelsBy("source", LedgerStory.Sha("source M-77/1"))).Should().Equal("M-77/1");
        Timed("models of a plan version", () => questions.ModelsBy("planSha256", LedgerStory.Sha("plan plan-7"))).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 100 == 7));
        Timed("models of a software version", () => questions.ModelsBy("software", "AnatomyPrep 0.0.7")).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 50 == 7));
        Timed("models of a printer", () => questions.ModelsBy("printer", "printer-7")).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 20 == 7));
        Timed("models of an operator", () => questions.ModelsBy("operator", "tina")).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 10 == 0));
        Timed("models of a person", () => questions.ModelsBy("person", "quade")).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 10 == 0));
        Timed("models of a key", () => questions.ModelsBy("key", story.Key("quade").KeyId)).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 10 == 0));
        Timed("who acknowledged a finding", () => questions.AcknowledgedBy("finding-7")).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 100 == 7));
        Timed("released without a second person", questions.ReleasedAlone).Should().BeEmpty();
        Timed("replays that differ", questions.Drifted).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 1000 == 500));
        Timed("drift by software version", questions.DriftBySoftware).Should().NotBeEmpty();
        Timed("expiring retention", () => questions.RetentionEnding(new DateOnly(2030, 2, 1))).Should().HaveCount(Enumerable.Range(1, models).Count(m => m % 365 < 31));
        Timed("differences of two revisions", () => questions.Between("M-1/1", "M-2/1")).Should().NotBeEmpty();
        Timed("what a key signed", () => questions.SignedWith(story.Key("tom").KeyId)).Should().HaveCount(1000);
        Timed("export for an inspector", () => AnatomyPrep.Records.Ledgers.Bundles.BundleWriter.Write(story.Ledger, ["M-77/1"], new Dictionary<string, string>())).Should().NotBeEmpty();
    }

    private void MeasureProofs(Ledger ledger, long size)
    {
        var root = ledger.Root(size);
        foreach (var position in new[] { 1L, size / 3, size - 2 })
        {
            var proof = Timed($"inclusion proof of event {position}", () => ledger.InclusionProof(position, size));
            MerkleProof.VerifyInclusion(MerkleHash.Leaf(ledger.Event(position)!.Envelope), position, size, proof, root);
            output.WriteLine($"    {proof.Count} hashes, {proof.Count * MerkleHash.Bytes} bytes");
            var consistency = Timed($"consistency proof from {position}", () => ledger.ConsistencyProof(position, size));
            MerkleProof.VerifyConsistency(position, size, consistency, ledger.Root(position), root);
        }
    }

    private T Timed<T>(string what, Func<T> work, int times = 5)
    {
        var result = times > 1 ? work() : default!;
        var best = double.MaxValue;
        var before = Process.GetCurrentProcess().TotalProcessorTime;
        for (var i = 0; i < times; i++)
        {
            var watch = Stopwatch.StartNew();
            result = work();
            best = Math.Min(best, watch.Elapsed.TotalMilliseconds);
        }

        output.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{what}: {best:0.0} ms ({(Process.GetCurrentProcess().TotalProcessorTime - before).TotalMilliseconds / times:0.0} ms of processor)"));
        return result;
    }

    /// <summary>Models from request to delivery, told in parallel lines of a thousand; gives how many.</summary>
    private int Fill(LedgerStory story)
    {
        var watch = Stopwatch.StartNew();
        var list = new List<SignedEvent>();
        var model = 0;
        while (story.Ledger.Size() + list.Count < Events)
        {
            AddModel(story, list, ++model);
            if (list.Count < Batch)
                continue;
            story.Ledger.Append(list);
            list.Clear();
        }

        story.Ledger.Append(list);
        output.WriteLine(string.Create(CultureInfo.InvariantCulture, $"filled in {watch.Elapsed.TotalSeconds:0} s, in batches of {Batch}"));
        return model;
    }

    private static void AddModel(LedgerStory story, List<SignedEvent> list, int number)
    {
        var model = $"M-{number}/1";
        var run = new RunReferenceBody(LedgerStory.Sha("run " + model), new DateOnly(2030, 1, 1).AddDays(number % 365));
        var (preparer, officer) = number % 10 == 0 ? ("tina", "quade") : ("tom", "quinn");
        var finding = $"finding-{number % 100}";
        Add("cora", LedgerEventKind.Request, LedgerStory.Request());
        Add(preparer, LedgerEventKind.SourceReceived, new SourceReceivedBody(LedgerStory.Sha("source " + model), 100));
        Add(preparer, LedgerEventKind.Run, LedgerStory.Run("run " + model, model, preparer, $"plan-{number % 100}", $"AnatomyPrep 0.0.{number % 50}", LedgerStory.Caution(finding)));
        Add(officer, LedgerEventKind.FindingAcknowledged, new FindingAcknowledgedBody(run.Run, finding), "Looked at.");
        Add(officer, LedgerEventKind.Review, run with { RetainUntil = null });
        Add(officer, LedgerEventKind.Release, run);
        Add("tom", LedgerEventKind.Print, new PrintBody($"printer-{number % 20}", "resin", $"L-{number % Lots}"));
        Add("tom", LedgerEventKind.PostProcessing, new PostProcessingBody("cured"));
        Add("quinn", LedgerEventKind.Inspection, new InspectionBody(true, "caliper", 0.1));
        Add("cora", LedgerEventKind.Delivery, new DeliveryBody($"ward-{number % 30}"));
        Add("cora", LedgerEventKind.Complaint, new ComplaintBody("none"));
        if (number % 100 == 0)
            Add("tina", LedgerEventKind.Replay, new ReplayBody(run.Run, number % 1000 != 500, $"AnatomyPrep 0.0.{number % 50}", "AnatomyPrep 0.1.0"));

        void Add(string person, LedgerEventKind kind, object body, string? reason = null) => list.Add(story.Sign(person, kind, body, model, reason));
    }
}
