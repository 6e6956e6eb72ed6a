using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>Two nodes with one PostgreSQL database.</summary>
[Collection("PostgreSQL")]
[Trait("Kind", "Outside")]
[Trait("Kind", "Slow")]
public sealed class PostgresNodesTests(PostgresCluster cluster, ITestOutputHelper output) : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task Two_nodes_appending_for_a_minute_make_one_tree_without_a_gap()
    {
        var place = new LedgerPlace(_folder.Path, cluster.NewDatabase());
        using var story = LedgerStory.Begin(place);
        var begun = story.Ledger.Size();
        var until = TimeProvider.System.GetTimestamp() + (60 * TimeProvider.System.TimestampFrequency);
        story.Clock.Tick = TimeSpan.Zero;
        var nodes = new[] { "a", "b" }.Select(node => Task.Factory.StartNew(() => Append(place, story.Clock, node, until), TaskCreationOptions.LongRunning)).ToArray();
        var done = await Task.WhenAll(nodes);
        var ids = done.SelectMany(n => n).ToList();
        output.WriteLine($"{done[0].Count} and {done[1].Count} events in 60 s");
        var report = LedgerChecks.Full(story.Ledger, [], RunContext.Default);
        report.Failures.Should().BeEmpty();
        report.Size.Should().Be(begun + ids.Count);
        ids.Should().OnlyHaveUniqueItems();
        foreach (var (id, position) in ids)
            story.Ledger.EventById(id)!.Value.Position.Should().Be(position);
        ids.Select(i => i.Position).Order().Should().Equal(Enumerable.Range(0, ids.Count).Select(i => begun + i));
    }

    private static List<(string Id, long Position)> Append(LedgerPlace place, TestClock clock, string node, long until)
    {
        using var ledger = Ledger.Open(place, clock, keyIterations: LedgerStory.KeyIterations);
        using var key = ledger.OpenKey("cora", LedgerStory.Passphrase);
        var done = new List<(string, long)>();
        while (TimeProvider.System.GetTimestamp() < until)
        {
            var receipt = ledger.Append(ledger.Sign(new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), [$"{node}-{done.Count}/1"]), "cora", key));
            done.Add((receipt.EventId, receipt.Position));
        }

        return done;
    }
}
