using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>What every kind of database must do alike.</summary>
public abstract class LedgerTests : IDisposable
{
    private readonly TestFolder _folder = new();
    private int _places;

    public void Dispose()
    {
        _folder.Dispose();
        GC.SuppressFinalize(this);
    }

    [Fact]
    public void Every_event_of_a_story_is_there_after_a_restart_and_all_of_it_verifies()
    {
        using var story = LedgerStory.Begin(NewPlace());
        TellAll(story);
        var head = story.Ledger.Head();
        story.Reopen();
        story.Ledger.Head().Should().Be(head);
        var report = LedgerVerifier.Verify(story.Ledger, [], RunContext.Default);
        report.Failures.Should().BeEmpty();
        report.Size.Should().Be(head.Size);
        report.Root.Should().Be(head.Root);
        story.Ledger.Model("M-1/1")!.Stage.Should().Be(ModelStage.Withdrawn);
        story.Ledger.Model("M-1/2")!.Parent.Should().Be("M-1/1");
    }

    [Fact]
    public void Stored_hashes_give_the_proofs_of_the_literal_recursions()
    {
        using var story = LedgerStory.Begin(NewPlace());
        TellAll(story);
        var size = (int)story.Ledger.Size();
        var leaves = Enumerable.Range(0, size).Select(i => story.Ledger.Event(i)!.Envelope).ToList();
        for (var n = 1; n <= size; n++)
        {
            var part = leaves.Take(n).ToList();
            story.Ledger.Root(n).Should().Equal(LiteralMerkle.Hash(part));
            story.Ledger.InclusionProof(n / 2, n).Should().BeEquivalentTo(LiteralMerkle.Path(n / 2, part), o => o.WithStrictOrdering());
            story.Ledger.ConsistencyProof((n + 1) / 2, n).Should().BeEquivalentTo(LiteralMerkle.Proof((n + 1) / 2, part), o => o.WithStrictOrdering());
            MerkleProof.VerifyInclusion(MerkleHash.Leaf(leaves[n / 2]), n / 2, n, story.Ledger.InclusionProof(n / 2, n), story.Ledger.Root(n));
        }
    }

    [Fact]
    public void Same_event_twice_is_taken_once_and_another_with_its_id_is_refused()
    {
        using var story = LedgerStory.Begin(NewPlace());
        var signed = story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        var first = story.Ledger.Append(signed);
        var again = story.Ledger.Append(signed);
        again.Should().Be(first with { WasThere = true });
        var draft = new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), ["M-2/1"], Id: signed.Content.Id);
        Refused(() => story.Ledger.Append(story.Ledger.Sign(draft, "cora", story.Key("cora"))), Refusals.DuplicateId);
        Intact(story, first.Position + 1);
    }

    [Fact]
    public void Clock_set_back_is_refused_until_it_is_right_or_corrected()
    {
        using var story = LedgerStory.Begin(NewPlace());
        var size = story.Ledger.Size();
        var right = story.Clock.Now;
        story.Clock.Now = right.AddHours(-1);
        Refused(() => story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1"), Refusals.ClockSetBack);
        Intact(story, size);
        story.Clock.Now = right.AddYears(10);
        story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        story.Clock.Now = right;
        Refused(() => story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-2/1"), Refusals.ClockSetBack);
        story.Do("ada", LedgerEventKind.ClockCorrection, new ClockCorrectionBody(), reason: "The machine's clock was ten years ahead.");
        story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-2/1");
        Intact(story, size + 3);
    }

    [Fact]
    public void Unknown_key_foreign_key_and_broken_signature_are_refused()
    {
        using var story = LedgerStory.Begin(NewPlace());
        var size = story.Ledger.Size();
        using var stranger = SigningKey.Create();
        var draft = new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), ["M-1/1"]);
        Refused(() => story.Ledger.Append(story.Ledger.Sign(draft, "cora", stranger)), Refusals.UnknownKey);
        Refused(() => story.Ledger.Append(story.Ledger.Sign(draft, "cora", story.Key("tom"))), Refusals.UnknownKey);
        var signed = story.Ledger.Sign(draft, "cora", story.Key("cora"));
        var other = story.Ledger.Sign(draft with { Models = ["M-2/1"] }, "cora", story.Key("cora"));
        var text = System.Text.Encoding.UTF8.GetString(signed.Envelope);
        var forged = text.Replace(Convert.ToBase64String(signed.Signature), Convert.ToBase64String(other.Signature), StringComparison.Ordinal);
        Refused(() => story.Ledger.Append(SignedEvent.Parse(System.Text.Encoding.UTF8.GetBytes(forged))), Refusals.SignatureInvalid);
        Intact(story, size);
    }

    [Fact]
    public void Event_of_another_ledger_is_refused()
    {
        using var story = LedgerStory.Begin(NewPlace());
        using var other = LedgerStory.Begin(NewPlace());
        Refused(() => story.Ledger.Append(other.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1")), Refusals.OtherLedger);
        Intact(story, story.Ledger.Size());
    }

    [Fact]
    public void Refused_event_in_a_list_takes_the_whole_list_with_it()
    {
        using var story = LedgerStory.Begin(NewPlace());
        var size = story.Ledger.Size();
        SignedEvent[] list =
        [
            story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1"),
            story.Sign("tina", LedgerEventKind.Print, new PrintBody("printer-1", "resin", "L-1"), "M-1/1"),
        ];
        Refused(() => story.Ledger.Append(list), Refusals.IllegalMove);
        story.Ledger.Model("M-1/1").Should().BeNull();
        Intact(story, size);
    }

    [Fact]
    public void List_of_events_that_build_on_each_other_is_one_transaction()
    {
        using var story = LedgerStory.Begin(NewPlace());
        var size = story.Ledger.Size();
        SignedEvent[] list =
        [
            story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1"),
            story.Sign("tom", LedgerEventKind.SourceReceived, new SourceReceivedBody(LedgerStory.Sha("source M-1/1"), 3), "M-1/1"),
            story.Sign("tom", LedgerEventKind.Run, LedgerStory.Run("r", "M-1/1", "tom"), "M-1/1"),
        ];
        story.Ledger.Append([.. list, list[0]]).Select(r => r.Position).Should().Equal(size, size + 1, size + 2, size);
        story.Ledger.Model("M-1/1")!.Stage.Should().Be(ModelStage.Prepared);
        Intact(story, size + 3);
    }

    [Fact]
    public async Task Two_writers_at_one_database_make_one_tree()
    {
        var place = NewPlace();
        using var story = LedgerStory.Begin(place);
        var size = story.Ledger.Size();
        story.Clock.Tick = TimeSpan.Zero;
        const int Each = 20;
        var writers = new[] { "cora", "ada" }.Select((who, number) => Task.Run(() =>
        {
            using var ledger = Ledger.Open(place, story.Clock, keyIterations: LedgerStory.KeyIterations);
            using var key = ledger.OpenKey("cora", LedgerStory.Passphrase);
            for (var i = 0; i < Each; i++)
                ledger.Append(ledger.Sign(new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), [$"{who}-{i}/1"]), "cora", key));
        })).ToArray();
        await Task.WhenAll(writers);
        Intact(story, size + (2 * Each));
    }

    [Fact]
    public void Revoked_key_signs_no_more_and_what_it_signed_before_stays()
    {
        using var story = LedgerStory.Begin(NewPlace());
        story.Prepare("M-1/1");
        var old = story.Key("tom").KeyId;
        story.Do("ada", LedgerEventKind.KeyRevocation, new KeyRevocationBody(old, story.Clock.Now.AddMinutes(-1)), reason: "Card lost.");
        Refused(() => story.Do("tom", LedgerEventKind.Run, LedgerStory.Run("again", "M-1/1", "tom"), "M-1/1"), Refusals.KeyRevoked);
        var pem = story.Ledger.Keys.Create("tom", LedgerStory.Passphrase);
        story.Do("ada", LedgerEventKind.KeyChange, new KeyChangeBody("tom", pem));
        story.ForgetKey("tom");
        story.Do("tom", LedgerEventKind.Run, LedgerStory.Run("again", "M-1/1", "tom"), "M-1/1");
        var report = LedgerVerifier.Verify(story.Ledger, [], RunContext.Default);
        report.Failures.Should().BeEmpty();
        report.Notes.Should().ContainSingle().Which.Should().Contain(old);
    }

    [Fact]
    public void Person_changes_their_own_key_but_not_anothers()
    {
        using var story = LedgerStory.Begin(NewPlace());
        var pem = story.Ledger.Keys.Create("tina", LedgerStory.Passphrase);
        Refused(() => story.Do("tom", LedgerEventKind.KeyChange, new KeyChangeBody("tina", pem)), Refusals.RoleNotAllowed);
        story.Do("tina", LedgerEventKind.KeyChange, new KeyChangeBody("tina", pem));
        Refused(() => story.Do("tina", LedgerEventKind.KeyChange, new KeyChangeBody("tina", pem)), Refusals.KeyRevoked);
        story.Reopen();
        story.ForgetKey("tina");
        story.Key("tina").PublicPem.Should().Be(pem);
    }

    [Fact]
    public void Wrong_passphrases_are_logged_and_shut_the_key_for_a_while()
    {
        using var story = LedgerStory.Begin(NewPlace());
        var draft = new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), ["M-1/1"]);
        for (var i = 0; i < 5; i++)
            Refused(() => story.Ledger.Record(draft, "cora", "not the right passphrase"), Refusals.PassphraseWrong);
        story.Reopen();
        Refused(() => story.Ledger.Record(draft, "cora", LedgerStory.Passphrase), Refusals.PassphraseLocked);
        story.Clock.Now += TimeSpan.FromMinutes(16);
        story.Ledger.Record(draft, "cora", LedgerStory.Passphrase);
        Refused(() => story.Ledger.Record(draft with { Models = ["M-2/1"] }, "cora", "wrong once again"), Refusals.PassphraseWrong);
        story.Ledger.Record(draft with { Models = ["M-3/1"] }, "cora", LedgerStory.Passphrase);
        Intact(story, story.Ledger.Size());
    }

    [Fact]
    public void Redaction_destroys_the_words_and_leaves_the_tree()
    {
        var place = NewPlace();
        using var story = LedgerStory.Begin(place);
        story.Do("cora", LedgerEventKind.Request, LedgerStory.Request("S-1"), "M-1/1");
        var words = story.Ledger.Seal("S-1", "Mrs Example called about her jaw");
        var receipt = story.Ledger.Append(story.Ledger.Sign(
            new EventDraft(LedgerEventKind.Correction, new CorrectionBody(story.Ledger.Event(0)!.Content.Id, []), Personal: words), "cora", story.Key("cora")));
        story.Ledger.Unseal(words).Should().Be("Mrs Example called about her jaw");
        var before = story.Ledger.Head();
        story.Do("quinn", LedgerEventKind.Redaction, new RedactionBody("S-1"), reason: "Asked for by the person.");
        story.Ledger.Unseal(story.Ledger.Event(receipt.Position)!.Content.Personal!).Should().BeNull();
        story.Ledger.Root(before.Size).Should().Equal(Convert.FromHexString(before.Root));
        Refused(() => story.Ledger.Seal("S-1", "more"), Refusals.SubjectRedacted);
        Intact(story, before.Size + 1);
    }

    /// <summary>Every kind that a person records, with a revision and a recall.</summary>
    internal static void TellAll(LedgerStory story)
    {
        story.Prepare("M-1/1", LedgerStory.Caution("gantry-tilt"));
        story.Do("tom", LedgerEventKind.FindingAcknowledged, new FindingAcknowledgedBody(LedgerStory.Sha("run M-1/1"), "gantry-tilt"), "M-1/1", "Tilt is corrected by the map.");
        story.Release("M-1/1");
        story.Deliver("M-1/1", "L-7", "ward-3");
        story.Do("cora", LedgerEventKind.Complaint, new ComplaintBody("a crack"), "M-1/1");
        story.Do("tom", LedgerEventKind.Revision, new RevisionBody("M-1/1"), "M-1/2", "Wall thicker.");
        story.Do("tom", LedgerEventKind.Run, LedgerStory.Run("run M-1/2", "M-1/1", "tom", "bone-thick"), "M-1/2");
        story.Release("M-1/2");
        story.Do("quinn", LedgerEventKind.Recall, new RecallBody("L-7"), "M-1/1", "Lot L-7 cracks.");
        story.Prepare("M-2/1");
        story.Do("quinn", LedgerEventKind.Rejection, new RunReferenceBody(LedgerStory.Sha("run M-2/1")), "M-2/1", "Orbit floor missing.");
        story.Do("tina", LedgerEventKind.Replay, new ReplayBody(LedgerStory.Sha("run M-1/2"), false, "AnatomyPrep 0.1.0", "AnatomyPrep 0.2.0"), "M-1/2");
    }

    protected abstract LedgerPlace NewPlace();

    protected string NewFolder() => Directory.CreateDirectory(_folder[$"place{Interlocked.Increment(ref _places)}"]).FullName;

    internal static void Refused(Action act, string code) => act.Should().Throw<LedgerRefusedException>().Which.Code.Should().Be(code);

    internal static void Intact(LedgerStory story, long size)
    {
        var report = LedgerVerifier.Verify(story.Ledger, [], RunContext.Default);
        report.Failures.Should().BeEmpty();
        report.Size.Should().Be(size);
    }
}

/// <summary>The ledger in one file.</summary>
public sealed class SqliteLedgerTests : LedgerTests
{
    protected override LedgerPlace NewPlace() => new(NewFolder());
}

/// <summary>The ledger on a server.</summary>
[Collection("PostgreSQL")]
[Trait("Kind", "Outside")]
public sealed class PostgresLedgerTests(PostgresCluster cluster) : LedgerTests
{
    protected override LedgerPlace NewPlace() => new(NewFolder(), cluster.NewDatabase());
}
